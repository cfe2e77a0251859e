package pages

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"

	"ripetide/api"
	"ripetide/charts"
)

// drawable is a chart whose exported fields are all that is in it.
type drawable interface {
	WriteSVG(w io.Writer, opt charts.Options) error
}

// chartOptions reads how a chart is to be drawn; what no picture on our pages
// asks for is no page.
func chartOptions(v *visit) (opt charts.Options, err error) {
	switch v.QueryParam("theme") {
	case "", "light":
	case "dark":
		opt.Theme = charts.Dark
	default:
		return opt, errNoPage
	}
	if w := v.QueryParam("width"); w != "" {
		if opt.Width, err = strconv.Atoi(w); err != nil || opt.Width == 0 {
			return opt, errNoPage
		}
	}
	return opt, nil
}

// drawnOnce draws a chart that many look at once. All that is in it names it, so
// other data are another chart.
func (p *Pages) drawnOnce(ctx context.Context, c drawable, opt charts.Options) (api.Drawing, error) {
	data, err := json.Marshal(c)
	if err != nil {
		return api.Drawing{}, fmt.Errorf("name a chart: %w", err)
	}
	return p.kept.charted.Get(ctx, fmt.Sprintf("%T %s %+v", c, data, opt), func(context.Context) (api.Drawing, bool, error) {
		var out bytes.Buffer
		err := c.WriteSVG(&out, opt)
		return api.NewDrawing(out.Bytes()), true, err
	})
}

// answerChart answers with a chart as it is asked for.
func (p *Pages) answerChart(v *visit, c drawable) error {
	opt, err := chartOptions(v)
	if err != nil {
		return err
	}
	d, err := p.drawnOnce(v.Request().Context(), c, opt)
	switch {
	case errors.Is(err, charts.ErrInvalidOptions), errors.Is(err, charts.ErrInvalidChart): // A chart without anything in it.
		return errNoPage
	case err != nil:
		return err
	}
	return svg(v, d)
}
