package charts

import (
	"errors"
	"fmt"
)

// ErrInvalidOptions is wrapped by every error about [Options].
var ErrInvalidOptions = errors.New("charts: invalid options")

// Theme is a set of colours.
type Theme int

const (
	// Light is dark ink on warm white. It survives a grey printer.
	Light Theme = iota
	// Dark is light ink on warm black, for dark pages.
	Dark
)

// Options says how a chart is drawn. The zero value is good: a light chart
// 1200 px wide.
type Options struct {
	// Width of the chart in CSS px, 320 to 2400; 0 stands for 1200. Under 960
	// the rows of a season carry their text above their beads in place of
	// columns at the sides, and keys stand below; 390 is good for a phone held
	// upright. The height follows from the content.
	Width int

	Theme Theme

	// Scale is the number of image pixels per px in a PNG, 0.5 to 4; 0 stands
	// for 1.5, and 2 is good for print. It is rounded to whole dots per inch (72 times the scale). SVG
	// has no pixels and takes no notice.
	Scale float64

	// ID starts the ids in an SVG; two charts on one page need two. ASCII
	// letters, digits and hyphens, a letter first; empty stands for the kind of
	// chart: "season", "lead", "reliability", "base", "story",
	// "narrowing", "ripe" and so on.
	ID string

	// Fixed writes the SVG's size in px instead of width="100%", for use as a
	// file of its own or in an img element without a width.
	Fixed bool
}

const (
	defaultWidth = 1200
	compactUnder = 960
	maxPixels    = 60e6 // of a PNG; 240 MB while it is drawn
)

// withDefaults returns o with its zero fields filled in, the ID with id, or an
// error that wraps ErrInvalidOptions.
func (o Options) withDefaults(id string) (Options, error) {
	if o.Width == 0 {
		o.Width = defaultWidth
	}
	if o.Scale == 0 {
		o.Scale = 1.5
	}
	if o.ID == "" {
		o.ID = id
	}
	switch {
	case o.Width < 320 || 2400 < o.Width:
		return o, fmt.Errorf("%w: width %d is not 320 to 2400", ErrInvalidOptions, o.Width)
	case !(0.5 <= o.Scale && o.Scale <= 4):
		return o, fmt.Errorf("%w: scale %v is not 0.5 to 4", ErrInvalidOptions, o.Scale)
	case o.Theme != Light && o.Theme != Dark:
		return o, fmt.Errorf("%w: theme %d is unknown", ErrInvalidOptions, o.Theme)
	case !isID(o.ID):
		return o, fmt.Errorf("%w: id %q is not made of letters, digits and hyphens after a letter", ErrInvalidOptions, o.ID)
	}
	return o, nil
}

func isID(s string) bool {
	for i, r := range s {
		letter := 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z'
		later := '0' <= r && r <= '9' || r == '-'
		if !letter && (i == 0 || !later) {
			return false
		}
	}
	return len(s) <= 64
}
