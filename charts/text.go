package charts

import (
	"sort"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// style is a size in px and a weight of the one typeface.
type style struct {
	size float64
	bold bool
}

var (
	titleStyle   = style{23, true}
	titleNarrow  = style{19, true}
	findingStyle = style{15, false}
	badgeStyle   = style{12, true}
	nameStyle    = style{13, true}
	subStyle     = style{12, false}
	cellStyle    = style{12.5, false}
	seenStyle    = style{12.5, true}
	headStyle    = style{12, false}
	noteStyle    = style{12, false}
	monthStyle   = style{12.5, true}
	tickStyle    = style{12, false}
	gapStyle     = style{13, true}
	flagStyle    = style{12.5, false}
	numberStyle  = style{11, true}
)

// Part of the size above and below the baseline that letters with accents and
// descenders take.
const (
	ascent  = 0.93
	descent = 0.22
)

// face returns the font of s: regular or bold Liberation Sans, whose widths
// Arial and Helvetica share. The plot package fills the cache when it is loaded.
func (s style) face() font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if s.bold {
		f.Weight = boldWeight
	}
	return font.DefaultCache.Lookup(f, vg.Length(s.size))
}

// boldWeight is the weight "bold" of golang.org/x/image/font, which is not
// imported for a single number.
const boldWeight = 3

// width returns the width of t in px.
func (s style) width(t string) float64 {
	f := s.face()
	return float64(f.Width(t))
}

// fit returns t, or its start with an ellipsis, so that it is at most w px
// wide. It returns the empty string when not even one letter fits.
func (s style) fit(t string, w float64) string {
	if s.width(t) <= w {
		return t
	}
	r := []rune(t)
	lo, hi := 0, len(r) // r[:lo] fits with an ellipsis, r[:hi] does not.
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		if s.width(strings.TrimRight(string(r[:mid]), " ,")+"…") <= w {
			lo = mid
		} else {
			hi = mid
		}
	}
	if lo == 0 {
		return ""
	}
	return strings.TrimRight(string(r[:lo]), " ,") + "…"
}

// wrap breaks t into at most n lines of at most w px; what does not fit into
// them ends in an ellipsis. A word wider than a line is broken; no-break spaces
// belong to words.
func (s style) wrap(t string, w float64, n int) []string {
	var lines []string
	words := strings.FieldsFunc(t, func(r rune) bool { return r == ' ' })
	for len(words) > 0 {
		if len(lines) == n-1 {
			return append(lines, s.fit(strings.Join(words, " "), w))
		}
		k := 1
		for k < len(words) && s.width(strings.Join(words[:k+1], " ")) <= w {
			k++
		}
		line := strings.Join(words[:k], " ")
		words = words[k:]
		if s.width(line) > w { // A single long word: break it.
			r := []rune(line)
			i := max(1, sort.Search(len(r), func(i int) bool { return s.width(string(r[:i+1])) > w }))
			line, words = string(r[:i]), append([]string{string(r[i:])}, words...)
		}
		lines = append(lines, line)
	}
	return lines
}
