package api

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/forecast/memo"
)

// drawingsKept is how many charts are kept as they were drawn.
const drawingsKept = 64

// drawable is a chart.
type drawable interface {
	WriteSVG(w io.Writer, o charts.Options) error
	WritePNG(w io.Writer, o charts.Options) error
}

// drawingKey names a chart as it is drawn.
type drawingKey struct {
	of        any    // The very forecast or explanation, by its address: neither is ever changed.
	around    string // What else is in the chart, see [around].
	mediaType string
	opt       charts.Options
}

// around writes what charts take from a farm and its varieties, which change,
// unlike what is frozen; of the farm all of it, so that nothing is forgotten.
func around(farm forecast.Farm, varieties []forecast.Variety) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%+v", farm)
	for _, v := range varieties {
		fmt.Fprintf(&b, " %s %q %s", v.ID, v.Name, v.Ripens)
	}
	return b.String()
}

// drawings keeps charts as they were drawn.
type drawings struct {
	memo.Cache[drawingKey, Drawing]
}

// draw returns a chart as a picture. The same is asked for by everybody who
// opens a page, so it is drawn once.
func (s *Server) draw(ctx context.Context, key drawingKey, chart func() drawable) (*frozenBody, error) {
	d, err := s.drawings.Get(ctx, key, func(context.Context) (Drawing, bool, error) {
		var out bytes.Buffer
		write := chart().WriteSVG
		if key.mediaType == pictureTypes["png"] {
			write = chart().WritePNG
		}
		err := write(&out, key.opt)
		return NewDrawing(out.Bytes()), true, err
	})
	if err != nil {
		return nil, err
	}
	return &frozenBody{Status: http.StatusOK, ContentType: key.mediaType, ETag: d.Tag, Body: d.Body}, nil
}

// pictureOptions are those that an address may name.
func pictureOptions(theme string, width int) charts.Options {
	opt := charts.Options{Width: width}
	if theme == "dark" {
		opt.Theme = charts.Dark
	}
	return opt
}
