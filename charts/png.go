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
	opt, err := opt.withDefaults()
	if err != nil {
		return err
	}
	m, err := s.model()
	if err != nil {
		return err
	}
	sh := newSheet(m, opt)
	dpi := math.Round(72 * opt.Scale)
	if n := sh.w * sh.h * (dpi / 72) * (dpi / 72); n > maxPixels {
		return fmt.Errorf("%w: %.0f million pixels are more than %.0f million", ErrInvalidOptions, n/1e6, maxPixels/1e6)
	}
	c := vgimg.NewWith(
		vgimg.UseWH(vg.Length(sh.w), vg.Length(sh.h)),
		vgimg.UseDPI(int(dpi)),
		vgimg.UseBackgroundColor(sh.pal.paper),
	)
	sh.draw(c)
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	return enc.Encode(w, c.Image())
}
