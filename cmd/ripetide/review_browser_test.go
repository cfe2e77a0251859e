package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// newReviewedService serves the gallery's farm whose season is over.
func newReviewedService(t *testing.T) *service {
	t.Helper()
	farms := galleryFarms(t)
	f := &farms[slices.IndexFunc(farms, func(f galleryFarm) bool { return f.Farm.ID == "finished" })]
	s := newServiceAt(t, func() time.Time { return f.at })
	o, err := open(t.Context(), &config{DatabaseURL: s.env["DATABASE_URL"], Data: s.env["RIPETIDE_DATA"]}, mainDatabase, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer o.close(t.Context())
	f.enter(t, o)
	return s
}

// A season looked back at goes on two sheets of paper.
func TestPrintedReview(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newReviewedService(t)
	b := newBrowser(t, s)
	b.signIn(s, "Noor", "reader")
	for _, x := range []struct {
		name          string
		width, height int64
		dark          bool
	}{{"wide", 1280, 900, false}, {"wide-dark", 1280, 900, true}, {"phone", 390, 844, false}, {"phone-dark", 390, 844, true}} {
		b.size(x.width, x.height, x.dark)
		b.open("/f/finished/review/2018")
		eval[bool](b, drawn)
		if *pagesFolder != "" {
			b.shot(filepath.Join(*pagesFolder, "review-"+x.name+".png"))
		}
	}
	b.size(1200, 900, true)
	b.open("/f/finished/review/2018")
	eval[bool](b, drawn)
	ours := true
	r, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &ours})
	if err != nil {
		b.fatal(err)
	}
	if n := len(pdfPage.FindAll(r.Data, -1)); n != 2 {
		t.Errorf("%d sheets", n)
	}
	if *pagesFolder != "" {
		if err := os.WriteFile(filepath.Join(*pagesFolder, "review.pdf"), r.Data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"Looking back at 2018", "days late", "Announced: Sat", "this is one season and not as many tries", "The weather"} {
		if got := b.text("main"); !strings.Contains(got, want) {
			t.Errorf("the page does not say %q:\n%s", want, got)
		}
	}
}
