// Package charts draws the picking season of a strawberry farm: which variety
// can be picked when, how sure that is, on which days nothing is ripe, and how
// much ripe fruit stands in the field on each of them. Others say when to open
// ([Readiness]), how far such forecasts may be trusted and where they come from
// ([LeadError], [Reliability], [BaseProfile], [Story], [Narrowing]), and what is
// on record of the weather ([Record]).
//
// # The season
//
// A [Season] holds plain dates and numbers; it is drawn with
// [Season.WriteSVG] and [Season.WritePNG], and said in words by
// [Season.Title] and [Season.Description].
//
// Every planting is a wire with a string of beads on it, one bead for each day
// on which it may be picked. The height of a bead is the chance that its day
// lies in the picking window, drawn from one in ten to nine in ten: strings
// swell where picking begins and thin out where it ends, and ranges that touch
// or cross just make a string slimmer. Beads between the median of first ripe
// and the median of last pick are filled, so that they can be counted; beads
// beyond are open. Days on which the planting is known to have been picked
// are in full colour: the chart fills from the left as the season goes by. The
// peak is a dot, hollow while it is a forecast, with a line over its range.
//
// Below, on the same date axis, stands the ripe fruit of each day. The top of
// the coloured steps is the median of the total, shared out among the
// plantings in proportion to their own figures; the steps therefore stay under
// the farm's minimum on exactly those days on which too little fruit is more
// likely than not. Up to the 0.1 quantile the steps are in full colour, up to
// the median in a tint, and a pale cap reaches the 0.9 quantile.
//
// Gaps and thin stretches run through both panels as columns and are named in
// words above the rows. No meaning hangs on colour alone: plantings carry
// numbers, the three tones of the supply differ in lightness, gaps are hatched,
// thin stretches dotted, seen dates bold.
//
// Charts under 960 px are the same drawing with each row's words above its
// beads in place of columns at the sides.
//
// # The other charts
//
// They are of the same hand: what is known or forecast is in the colour of
// fruit, what it is held against in blue; full means seen, hollow or pale means
// not sure. A range is a pill or a ribbon, a day a bead, a date to come a hollow
// dot with a line over its range. Lines carry a dash and a mark of their own and
// their name at the end where there is room for it, else in the key. A figure
// that is missing is not drawn; a loss is drawn from nought, so that a small gain
// looks small.
//
// # Drawing
//
// A chart is a board with its texts set, and on it layers, each a gonum
// plot.Plotter on a plot without axes; layout is plain arithmetic on text widths
// and done before. SVG is written by a canvas of this package, because the chart
// must be usable inside a page with a strict content security policy
// (presentation attributes, no style attributes), with any sans-serif font
// (every text states the width that was planned for it), by a screen reader
// (title and description) and under a pointer (a title for every row). The same
// content and options give the same bytes.
package charts
