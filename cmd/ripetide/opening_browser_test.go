package main

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// A day is advised on the page, decided on it, told in the words for the public,
// and taken back; the sheet for those who tell people fits one page of paper.
func TestOpeningIsDecidedOnThePage(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	farm := s.json(200, "GET", "/v1/farms/lanternfen", "")
	delete(farm, "farm")
	opening, _ := farm["opening"].(map[string]any)
	if opening == nil {
		opening = map[string]any{}
	}
	opening["channels"] = []any{map[string]any{"name": "Sign at the road", "notice_days": 0}, map[string]any{"name": "Weekly paper", "notice_days": 5}}
	farm["opening"] = opening
	farm["holidays"] = []any{map[string]any{"name": "Father's Day", "rule": "third Sunday of June"}}
	s.json(200, "PUT", "/v1/farms/lanternfen", jsonOf(t, farm))
	s.json(201, "POST", "/v1/farms/lanternfen/forecasts", "")
	b := newBrowser(t, s)
	look := func(name string) {
		if *pagesFolder == "" {
			return
		}
		for _, dark := range []bool{false, true} {
			for _, width := range []int64{1200, 360} {
				b.size(width, 900, dark)
				eval[bool](b, drawn)
				b.shot(filepath.Join(*pagesFolder, fmt.Sprintf("%s-%d-%t.png", name, width, dark)))
			}
		}
		b.size(1200, 900, false)
	}
	b.signIn(s, "Noor", "owner")
	b.open("/f/lanternfen/opening")
	if got := b.text(".big"); !strings.HasPrefix(got, "Advised: ") {
		t.Errorf("the answer is %q", got)
	}
	look("opening-advised")
	advised := eval[string](b, `document.querySelector("#d-opening").value`)
	if got := s.json(200, "GET", openingPath, "")["advice"].(map[string]any)["opening"].(map[string]any)["day"]; got != advised {
		t.Errorf("%q is chosen at first, and %v is advised", advised, got)
	}
	b.fill("#n-opening", "the school comes")
	b.click("#decide form button")
	b.wait(`document.querySelector("[role=status].note")?.textContent === "It is on record."`)
	if got := b.text(".big"); !strings.HasPrefix(got, "You open on ") && got != "You are open" {
		t.Errorf("decided, the answer is %q", got)
	}
	eval[bool](b, `document.querySelector("#decide details").open = true`)
	if got := b.text("#decide details"); !strings.Contains(got, "Noor") || !strings.Contains(got, "the school comes") {
		t.Errorf("how it came to be: %q", got)
	}
	look("opening-decided")
	words := s.json(200, "GET", openingPath, "")["public"].(map[string]any)["texts"].(map[string]any)["sign"].(string)
	if got := eval[string](b, `document.querySelector(".ready").textContent`); got != words {
		t.Errorf("the sign reads %q on the page and %q by the API", got, words)
	}

	b.open("/f/lanternfen/opening/sheet")
	look("opening-sheet")
	ours := true
	r, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &ours})
	if err != nil {
		b.fatal(err)
	}
	if n := len(pdfPage.FindAll(r.Data, -1)); n != 1 {
		t.Errorf("the sheet takes %d pages", n)
	}

	// The farm's own words; bad ones are told and kept in the form.
	b.open("/f/lanternfen/opening/words")
	look("opening-words")
	eval[bool](b, `document.querySelector("form.asks details").open = true`)
	sign := func(text string) { // An area that is empty has nothing to clear.
		eval[string](b, fmt.Sprintf(`document.querySelector("#f-text_sign").value = %q`, text))
	}
	sign("{farm} opens {day}")
	b.click("form.asks .deed button")
	b.wait(`document.querySelector("#faults") !== null`)
	if got := b.text("#faults"); !strings.Contains(got, "{day}") {
		t.Errorf("the fault is told as %q", got)
	}
	sign("{farm} opens {when}")
	b.click("form.asks .deed button")
	b.wait(`location.pathname === "/f/lanternfen/opening"`)
	if got := eval[string](b, `document.querySelector(".ready").textContent`); !strings.HasPrefix(got, "Lanternfen Farm opens ") {
		t.Errorf("the sign reads %q", got)
	}

	// An address to subscribe to is shown once, works, and is revoked.
	b.open("/f/lanternfen/opening/addresses")
	b.fill("#f-name", "Ilse's telephone")
	b.click("form.asks button")
	b.wait(`document.querySelector("#calendar") !== null`)
	look("opening-addresses")
	path := eval[string](b, `new URL(document.querySelector("#calendar").value).pathname`)
	if res, body := s.plain("GET", path, "", nil); res.StatusCode != http.StatusOK || !strings.Contains(string(body), "BEGIN:VCALENDAR") {
		t.Errorf("%s: %s %.200s", path, res.Status, body)
	}
	b.open("/f/lanternfen/opening/addresses")
	if got := b.text("main"); strings.Contains(got, "shown this once") || !strings.Contains(got, "Ilse's telephone") {
		t.Errorf("looked at again, the page says %q", got)
	}
	b.click("td.deeds button")
	b.wait(`document.querySelector("main details") !== null`)
	if res, _ := s.plain("GET", path, "", nil); res.StatusCode != http.StatusNotFound {
		t.Errorf("revoked, %s: %s", path, res.Status)
	}
	b.open("/f/lanternfen/opening")

	b.click("#decide form:nth-of-type(2) button")
	b.wait(`document.querySelector("[role=status].note")?.textContent === "It was taken back."`)
	if got := b.text(".big"); !strings.HasPrefix(got, "Advised: ") {
		t.Errorf("taken back, the answer is %q", got)
	}
	b.signIn(s, "Ilse", "reader")
	b.open("/f/lanternfen/opening")
	if n := eval[int](b, `document.querySelectorAll("main form").length`); n != 0 {
		t.Errorf("a reader is shown %d forms", n)
	}
	for _, m := range b.console() {
		if !strings.Contains(m, "422") { // The bad words.
			t.Errorf("the pages said %q", m)
		}
	}
}
