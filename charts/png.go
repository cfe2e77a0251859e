package charts

import (
	"fmt"
	"image/png"
	"io"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// WritePNG draws the season as a PNG image of [Options.Width] times
// [Options.Scale] pixels across. It is the same drawing as the SVG, with
// Liberation Sans built in.
//
// The error wraps [ErrInvalidSeason] or [ErrInvalidOptions], also when the
// image would have more than 60 million pixels, or comes from w.
func (s Season) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, s.lay)
}

// writePNG lays a chart out and draws it as an image.
func writePNG(w io.Writer, opt Options, lay func(Options) (drawing, error)) error {
	opt, err := opt.withDefaults("chart")
	if err != nil {
		return err
	}
	d, err := lay(opt)
	if err != nil {
		return err
	}
	b := d.on()
	dpi := math.Round(72 * opt.Scale)
	if n := b.w * b.h * (dpi / 72) * (dpi / 72); n > maxPixels {
		return fmt.Errorf("%w: %.0f million pixels are more than %.0f million", ErrInvalidOptions, n/1e6, maxPixels/1e6)
	}
	c := vgimg.NewWith(
		vgimg.UseWH(vg.Length(b.w), vg.Length(b.h)),
		vgimg.UseDPI(int(dpi)),
		vgimg.UseBackgroundColor(b.pal.paper),
	)
	d.draw(c)
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	return enc.Encode(w, c.Image())
}
