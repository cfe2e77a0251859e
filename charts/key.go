package charts

// keyItem is one line of the key: a sign of at most keySign px and its meaning.
type keyItem struct {
	y, x  float64 // top left
	lines []string
	draw  func(p pen, x, y float64) // y is the middle
}

const (
	keySign = 52
	keyLine = 16
)

// placeKey sets the meanings of signs, w px wide from x, y; it returns the
// bottom.
func (b *board) placeKey(x, y, w float64, items []keyItem) float64 {
	for _, it := range items {
		it.lines = noteStyle.wrap(it.lines[0], w-keySign-12, 3)
		it.x, it.y = x, y
		for i, l := range it.lines {
			b.say(x+keySign+12, y+13+float64(i)*keyLine, noteStyle, left, b.pal.ink, l)
		}
		y += keyLine*float64(len(it.lines)) + 7
		b.key = append(b.key, it)
	}
	return y
}

// keyItems lists what this chart shows and nothing else.
func (s *sheet) keyItems() []keyItem {
	var out []keyItem
	add := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	forecast, seen := false, false
	for _, r := range s.m.rows {
		if r.none != "" {
			continue
		}
		forecast = forecast || !r.seenFirst || !r.seenLast
		seen = seen || r.seenFirst || r.seenLast
	}
	// Beads of 6.5 px for a made-up planting of eight days.
	sample := func(p pen, x, y float64, r row) {
		p.line([]point{{x - 2, y}, {x + 54, y}}, p.pal.wire, 1)
		p.beads(r, 0, y, 15, func(v float64) float64 { return x + 6.5*v })
	}
	if forecast {
		add("a bead is a day, its height the chance of picking; filled if likely, open if just possible", func(p pen, x, y float64) {
			sample(p, x, y, row{first: span{0, 1, 3}, peak: span{3, 3, 3}, last: span{4, 6, 7}})
		})
	}
	if seen {
		add("seen in the field, with dates in bold", func(p pen, x, y float64) {
			sample(p, x, y, row{
				first: span{1, 1, 1}, peak: span{3, 3, 3}, last: span{6, 6, 6},
				seenFirst: true, seenPeak: true, seenLast: true,
			})
		})
	}
	if forecast {
		add("peak day, 8 chances in 10 along the line", func(p pen, x, y float64) {
			p.peak(row{peak: span{2, 3, 5}}, y, 15, func(v float64) float64 { return x + 6.5*v })
		})
	}
	kinds := map[StretchKind]bool{}
	for _, g := range s.m.stretches {
		kinds[g.kind] = true
	}
	if kinds[Gap] {
		add("nothing ripe", func(p pen, x, y float64) { p.stretch(Gap, x+10, y-7, x+42, y+8) })
	}
	if kinds[Thin] {
		add("thin: less than the farm's minimum", func(p pen, x, y float64) { p.stretch(Thin, x+10, y-7, x+42, y+8) })
	}
	if s.yMax > 0 {
		add("ripe fruit by planting number", func(p pen, x, y float64) {
			for i := range 3 {
				fill, ink := p.pal.tone(i + 1)
				at := x + 1 + 17*float64(i)
				p.c.SetColor(fill)
				p.c.Fill(p.pill(at, y-7.5, at+16, y+7.5))
				p.text(at+8, y+4, numberStyle, centre, ink, string(rune('1'+i)))
			}
		})
		add("9 chances in 10 of at least the full colour, 1 in 10 of more than the pale top", func(p pen, x, y float64) {
			p.rect(x+10, y-9, x+42, y-3, p.pal.blush)
			p.line([]point{{x + 10, y - 3}, {x + 10, y - 9}, {x + 42, y - 9}, {x + 42, y - 3}}, p.pal.berry, 1)
			p.rect(x+10, y-3, x+42, y+3, p.pal.tints[1])
			p.rect(x+10, y+3, x+42, y+9, p.pal.layers[1])
		})
	}
	if s.yMax > 0 && s.m.minimum > 0 {
		add("the farm's minimum", func(p pen, x, y float64) {
			p.line([]point{{x, y}, {x + 51, y}}, p.pal.ink, 1.4, 6, 3)
		})
	}
	add("Saturday and Sunday", func(p pen, x, y float64) { p.rect(x+10, y-7, x+42, y+8, p.pal.weekend) })
	return out
}
