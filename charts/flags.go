package charts

import (
	"image/color"
)

// flag is a text over the rows that names a date or a stretch, on a pole at x.
type flag struct {
	x       float64
	text    string
	style   style
	ink     color.Color
	left, w float64
	lane    int // from 1, the lowest
	dotted  bool
	stretch bool // its pole ends where the rows begin
}

// bunting is the flags over a panel that begins at foot.
//
// A text hangs at the right of its pole; where the chart ends it moves left and
// sits on top of the pole. A flag whose text would hide the pole of another
// stands above it, so poles cross no text; texts in one lane keep their
// distance. Where two texts hide each other's poles, the pole of the upper one
// goes behind the text of the lower.
type bunting struct {
	flags []flag
	foot  float64
}

const laneHeight = 20

// hang adds a flag between lo and hi.
func (b *bunting) hang(lo, hi float64, f flag) {
	const off = 5
	f.text = f.style.fit(f.text, hi-lo)
	f.w = f.style.width(f.text)
	f.left = max(lo, min(f.x+off, hi-f.w))
	b.flags = append(b.flags, f)
}

// settleAll gives every flag its lane and returns the height they take.
func (b *bunting) settleAll() float64 {
	lanes := 0
	for range b.flags {
		i := b.nextFlag()
		lanes = max(lanes, b.settle(i))
	}
	return 10 + laneHeight*float64(lanes)
}

// writeFlags writes the words of the flags.
func (b *bunting) writeFlags(p pen) {
	for _, f := range b.flags {
		p.text(f.left, b.flagBase(f.lane), f.style, left, f.ink, f.text)
	}
}

// placeFlags sets the flags of a season and returns the height they take.
func (s *sheet) placeFlags() float64 {
	m := s.m
	add := func(f flag) { s.hang(s.x0+2, s.x1-2, f) }
	if m.lo <= m.asOf && m.asOf < m.hi {
		add(flag{x: s.x(m.asOf), text: asOfWords(m.asOf, m.hindcast, m.units), style: gapStyle, ink: s.pal.ink})
	}
	for _, g := range m.stretches {
		st := gapStyle
		if g.kind == Thin {
			st = flagStyle
		}
		add(flag{x: (s.x(g.from) + s.x(g.to+1)) / 2, text: g.words(m.units), style: st, ink: s.pal.slate, stretch: true})
	}
	for _, k := range m.marks {
		if m.lo <= k.date && k.date < m.hi {
			add(flag{x: s.x(k.date) + s.px/2, text: k.label + ", " + m.units.date(k.date), style: flagStyle, ink: s.pal.soft, dotted: true})
		}
	}
	return s.settleAll()
}

// asOfWords names the as-of date on a flag.
func asOfWords(d day, hindcast bool, u Units) string {
	if hindcast {
		return "as known on " + u.date(d)
	}
	return "today, " + u.date(d)
}

// hides reports whether the text of f covers the pole of g.
func (f flag) hides(g flag) bool {
	return f.left-4 < g.x && g.x < f.left+f.w+4
}

// onTop reports whether f's text sits on top of its pole.
func (f flag) onTop() bool { return f.left < f.x && f.x < f.left+f.w }

// nextFlag returns the unset flag that waits for the fewest others; of equals
// the one furthest right.
func (b *bunting) nextFlag() int {
	best, waits := -1, 0
	for i, f := range b.flags {
		if f.lane != 0 {
			continue
		}
		n := 0
		for j, g := range b.flags {
			if j != i && g.lane == 0 && f.hides(g) {
				n++
			}
		}
		if best < 0 || n < waits || n == waits && f.x > b.flags[best].x {
			best, waits = i, n
		}
	}
	return best
}

// settle gives flag i the lowest lane that is free and above every pole it
// would hide.
func (b *bunting) settle(i int) int {
	f := &b.flags[i]
	lane := 1
	for _, g := range b.flags {
		if g.lane != 0 && f.hides(g) {
			lane = max(lane, g.lane+1)
		}
	}
	for free := false; !free; {
		free = true
		for _, g := range b.flags {
			if g.lane == lane && f.left < g.left+g.w+10 && g.left < f.left+f.w+10 {
				free = false
				lane++
				break
			}
		}
	}
	f.lane = lane
	return lane
}

// flagBase returns the baseline of a lane.
func (b *bunting) flagBase(lane int) float64 {
	return b.foot - 8 - laneHeight*float64(lane-1)
}
