package main

import (
	"os"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// A season goes on two sheets in landscape, light whatever the theme: the chart,
// and the same as a table.
func TestPrintedSeason(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	b := newBrowser(t, s)
	b.signIn(s, "Noor", "reader")
	b.size(1200, 900, true)
	b.open("/f/lanternfen/season/2018")
	eval[bool](b, drawn)
	r, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: ptrOf(true)})
	if err != nil {
		b.fatal(err)
	}
	if err := os.WriteFile("/tmp/season.pdf", r.Data, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
		b.fatal(err)
	}
	b.size2(1047, 720)
	eval[bool](b, drawn)
	b.shot("/tmp/season-print.png")
	t.Log(eval[string](b, `document.querySelector("img").currentSrc`))
}

func ptrOf[T any](v T) *T { return &v }

func (b *browser) size2(w, h int64) {
	if _, err := chromedp.Call(b.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: w, Height: h, DeviceScaleFactor: 1}); err != nil {
		b.fatal(err)
	}
}
