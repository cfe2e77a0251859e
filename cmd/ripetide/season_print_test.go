package main

import (
	"bytes"
	"compress/zlib"
	"io"
	"regexp"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

var (
	pdfPage   = regexp.MustCompile(`/Type\s*/Page\b`)
	pdfSize   = regexp.MustCompile(`/MediaBox \[0 0 (\d+) (\d+)\]`)
	pdfStream = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\nendstream`)
	// Paper of the charts in both themes, fffefb and 1b1614, as a PDF fills with
	// it.
	pdfLight = regexp.MustCompile(`1 \.9961 \.9843 rg`)
	pdfDark  = regexp.MustCompile(`\.1059 \.0863 \.0784 rg`)
)

// A season goes on two sheets in landscape, light whatever the theme: the chart,
// and the same as a table.
func TestPrintedSeason(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	b := newBrowser(t, s)
	b.signIn(s, "Noor", "reader")
	b.size(1200, 900, true)
	b.open("/f/lanternfen/season/2018")
	eval[bool](b, drawn)
	ours := true
	r, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &ours})
	if err != nil {
		b.fatal(err)
	}
	if n := len(pdfPage.FindAll(r.Data, -1)); n != 2 {
		t.Errorf("%d sheets, want the chart and the table", n)
	}
	if m := pdfSize.FindSubmatch(r.Data); m == nil || len(m[1]) != len(m[2]) || string(m[1]) <= string(m[2]) {
		t.Errorf("a sheet is %s", m)
	}
	light := 0
	for _, m := range pdfStream.FindAllSubmatch(r.Data, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue // Not packed.
		}
		text, err := io.ReadAll(z)
		if err != nil {
			t.Fatal(err)
		}
		if pdfLight.Match(text) {
			light++
		}
		if pdfDark.Match(text) {
			t.Error("a dark chart on paper")
		}
	}
	if light != 1 {
		t.Errorf("%d light charts on paper", light)
	}
}
