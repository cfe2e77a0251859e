package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"ripetide/forecast"
	"ripetide/weather"
)

// hands do in a browser what a person does, and count it.
type hands struct {
	*browser
	clicks, keys, pages int
}

// click clicks on what says some words: a link, a button, a summary or a label.
func (h *hands) click(says string) {
	h.t.Helper()
	h.clicks++
	h.find(says)
	h.do(chromedp.Click(chromedp.CSS("[data-hands]")))
}

// find marks what can be clicked, can be seen, and says some words.
func (h *hands) find(says string) {
	h.t.Helper()
	h.wait(fmt.Sprintf(`document.readyState === "complete" && (() => {
		document.querySelector("[data-hands]")?.removeAttribute("data-hands");
		const e = [...document.querySelectorAll("a, button, summary, label")]
			.find(e => e.checkVisibility() && e.innerText.replace(/\s+/g, " ").trim().startsWith(%q));
		e?.setAttribute("data-hands", "");
		return e !== undefined;
	})()`, says))
}

// fill clicks into the field with a label and types; in a list of choices that
// chooses the one that begins so.
func (h *hands) fill(label, text string) {
	h.t.Helper()
	h.clicks++
	h.keys += len([]rune(text))
	h.find(label)
	id := eval[string](h.browser, `document.querySelector("[data-hands]").htmlFor`)
	h.do(chromedp.SendKeys(chromedp.CSS("#"+id), text))
}

// arrives waits for the next page, by its main heading.
func (h *hands) arrives(heading string) {
	h.t.Helper()
	h.pages++
	h.wait(fmt.Sprintf(`window.arrived === undefined && document.readyState === "complete" && document.querySelector("h1")?.innerText.startsWith(%q)`, heading))
	eval[bool](h.browser, "window.arrived = true")
}

// shows fails unless the page shows all of want.
func (h *hands) shows(want ...string) {
	h.t.Helper()
	text := strings.Join(strings.Fields(h.text("main")), " ")
	for _, w := range want {
		if !strings.Contains(text, w) {
			h.t.Errorf("at %q the page does not show %q:\n%s", h.text("h1"), w, text)
		}
	}
}

// picture keeps pictures of the page, wide and narrow, if the folder for
// pictures is given.
func (h *hands) picture(name string) {
	h.t.Helper()
	if *pagesFolder == "" {
		return
	}
	h.size(390, 844, false)
	eval[bool](h.browser, drawn)
	h.shot(filepath.Join(*pagesFolder, "first-run", name+"-390.png"))
	h.size(1200, 900, false)
	eval[bool](h.browser, drawn)
	h.shot(filepath.Join(*pagesFolder, "first-run", name+"-1200.png"))
}

// takes is how long an unhurried person takes for what was done. By the
// keystroke-level model (Card, Moran and Newell 1980, Communications of the ACM
// 23(7), 396-410) a click is a thought (1.35 s), a hand that goes to the mouse
// (0.4 s), pointing (1.1 s) and the button (0.2 s); a key is taken at the 0.5 s
// of random letters, not at the 0.28 s of an average typist. The five seconds to
// take in each new page are not of the model.
func (h *hands) takes() time.Duration {
	return time.Duration(h.clicks)*3050*time.Millisecond + time.Duration(h.keys)*500*time.Millisecond + time.Duration(h.pages)*5*time.Second
}

// inBloom is a morning of 2018 on which early varieties bloom at Ann Arbor.
func inBloom() time.Time { return time.Date(2018, 5, 10, 10, 15, 0, 0, time.UTC) }

// recordFile is the real record of Ann Arbor as it stood on a morning.
func recordFile(t *testing.T, before string) string {
	t.Helper()
	b, err := os.ReadFile("../../testdata/weather/ann_arbor_1976_2018.csv")
	if err != nil {
		t.Fatal(err)
	}
	text, _, ok := strings.Cut(string(b), "\n"+before)
	if !ok {
		t.Fatalf("no day %s in the record", before)
	}
	return text + "\n"
}

// TestFirstRunToFirstForecastInABrowser goes the whole way as somebody would who
// has just installed the program: from the link that it prints to the first
// forecast and its chart, by what can be seen and nothing else, in less than five
// minutes.
func TestFirstRunToFirstForecastInABrowser(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := &service{t: t, now: inBloom}
	printed, _ := bare(t, s)
	link := regexp.MustCompile(`First run: open http://[^/]+(/sign-in/\w+) `).FindStringSubmatch(printed)
	if link == nil {
		t.Fatalf("it printed %q", printed)
	}
	b := newBrowser(t, s)
	b.size(1200, 900, false)
	if _, err := chromedp.Call(b.ctx, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "America/Detroit"}); err != nil {
		t.Fatal(err)
	}
	h := &hands{browser: b}

	h.clicks++ // The link, in the terminal.
	b.open(link[1])
	h.arrives("Sign in")
	h.picture("01-link")
	h.click("Sign in as me")

	h.arrives("Set up your farm")
	h.picture("02-farm")
	h.fill("Name", "Hill Farm")
	h.fill("Latitude", "42.3, -83.7")
	h.fill("Units", "°F")
	h.picture("03-farm-filled")
	h.click("Set up the farm")

	h.arrives("Set up Hill Farm")
	h.picture("04-steps")
	h.shows("What is done, what is still missing, and how much it matters.",
		"A station missing Needed.", "Its weather missing Needed: highest and lowest temperature of each day, 5 past years at least",
		"Varieties missing Needed.", "Plantings missing Needed.", "Bloom in 2018 missing Needed for dates:", "Past seasons' dates would help Not needed, but",
		"It still needs: a station its weather a variety a planting that bears in 2018")
	h.click("Add the station")
	h.arrives("Add a station")
	h.picture("05-station")
	h.fill("Name", "Post")
	h.fill("Above the sea", "900")
	h.click("Add the station")

	// A variety and its planting by the forms, the others as a list.
	h.arrives("Set up Hill Farm")
	h.picture("06-steps")
	h.click("Add a variety")
	h.arrives("Add a variety")
	h.picture("07-variety")
	h.fill("Name", "Annapolis")
	h.fill("Ripens", "Early")
	h.click("Add the variety")
	h.arrives("Set up Hill Farm")
	h.click("Paste or upload a list")
	h.arrives("Varieties and plantings from a list")
	h.picture("08-list")
	h.fill("Type or paste it here", "Honeoye; early mid; Hill; 2016; 0.4\nJewel; late mid; Hill; 2014; 13,000 sq ft")
	h.click("Look at it first")
	h.arrives("Varieties and plantings from a list")
	h.picture("09-looked")
	h.shows("2 lines are good. Nothing is entered yet. New: Honeoye, Jewel.")
	h.click("Enter 2 lines")
	h.arrives("Set up Hill Farm")
	h.picture("10-steps")
	h.click("Add a planting")
	h.arrives("Add a planting")
	h.picture("11-planting")
	h.fill("Variety", "Annapolis")
	h.fill("Block", "Home")
	h.fill("Planted on", "04202015")
	h.fill("Area", "0.2")
	h.picture("12-planting-filled")
	h.click("Add the planting")
	h.arrives("Set up Hill Farm")
	h.shows("3 plantings stand, 3 of them with a crop in 2018.", "It still needs: 5 past years of weather")
	h.click("Weather of Post")
	h.arrives("Post")
	h.picture("13-weather")

	// The record of a public station, as a file.
	eval[bool](b, watchProgress)
	h.clicks += 2 // The button that asks for a file, and the file.
	b.chooseFile(t, "ann_arbor.csv", recordFile(t, "2018-05-10"))
	if got := b.result("What is in ann_arbor.csv"); !strings.Contains(got, "15,441 days, from Thu Jan 1, 1976 to Wed May 9, 2018, read in °C.") || !strings.Contains(got, "would add 15,441 days") {
		t.Errorf("the preview: %s", got)
	}
	h.picture("14-preview")
	h.click("Keep these days")
	if got := b.result("Kept: ann_arbor.csv"); !strings.Contains(got, "15,441 days were added.") {
		t.Errorf("kept: %s", got)
	}
	h.picture("15-kept")
	if text := b.text("main"); strings.Contains(text, "on record yet") || strings.Contains(text, "No day is on record") {
		t.Errorf("the page still says that nothing is on record: %s", text)
	}
	told := strings.Join(eval[[]string](b, "said"), "\n")
	if strings.Count(told, "Sending") < 2 || strings.Count(told, "Sent. It is being read") < 2 {
		t.Errorf("of the way of the file was told\n%s", told)
	}

	// Without bloom a forecast could be made; the page says what it would lack.
	h.click("Morning")
	h.arrives("Morning of Thu May 10")
	h.picture("16-morning")
	h.shows("There is no forecast yet. One can be made now; 2 things would make it surer.",
		"No bloom of this season is entered Bloom starts the clock. It matters most:", "No past season is entered It matters much:")
	h.click("In the row")
	h.arrives("In the row")
	h.picture("17-row")
	h.shows("There is no forecast of 2018 yet, so no dates are shown.")
	h.click("Annapolis")
	h.arrives("Annapolis")
	h.picture("18-planting")
	h.click("Seen today")
	b.says("#last", "Annapolis, Home: bloom seen Thu May 10: sent")
	b.says("#record", "Bloom seen, Thu May 10")
	b.wait(`document.querySelector(".which .wire").getAttribute("aria-label") === "Stages seen: bloom"`)
	h.picture("19-seen")

	// The first forecast: from one bloom it has dates for all three.
	h.click("Morning")
	h.arrives("Morning of Thu May 10")
	h.shows("Bloom of this season is not entered for 2 plantings")
	h.click("Make the first forecast")
	h.arrives("Morning of Thu May 10")
	h.picture("20-forecast")
	f := eval[forecast.Forecast](b, `fetch("/v1/farms/hill-farm/forecasts/latest").then(r => r.json())`)
	if len(f.Plantings) != 3 || f.Plantings[0].Planting != "annapolis-home" || f.Plantings[0].Stages == nil {
		t.Fatalf("the forecast is of %+v", f.Plantings)
	}
	first := f.Plantings[0].Stages.FirstRipe
	h.shows("Nothing is ripe yet; 1 thing needs doing.", "Next ripe: Annapolis (Home), about "+first.P50.Time().Format("Mon Jan 2"),
		"Bloom is not entered: Honeoye (Hill) and Jewel (Hill) Expected", "ranges are wider until then", "no outlook", "estimate: walk the field")
	h.click("Season")
	h.arrives("Season 2018")
	b.wait(`document.querySelector("figure picture img")?.naturalWidth > 0`)
	h.picture("21-season")
	h.shows("Honeoye", "Jewel", "No past season of this variety is on record: its range rests on its ripening class and is wide.",
		"Bloom is not entered for 2 of the plantings: it is forecast from the warmth of the spring, and their ranges are wider for it.")
	drawn := strings.Join(eval[[]string](b, drawnTexts), "\n")
	for _, p := range f.Plantings {
		if p.Stages == nil {
			t.Errorf("%s has no dates", p.Planting)
			continue
		}
		for _, d := range []weather.Date{p.Stages.FirstRipe.P50, p.Stages.Peak.P50, p.Stages.LastPick.P50} {
			day := d.Time().Format("Mon Jan 2")
			h.shows(day)
			if !strings.Contains(drawn, day) {
				t.Errorf("the chart does not show %s of %s: %q", day, p.Planting, drawn)
			}
		}
	}
	if said := b.console(); len(said) > 0 {
		t.Errorf("the pages said %q", said)
	}
	t.Logf("%d clicks and %d keys on %d pages take %s", h.clicks, h.keys, h.pages, h.takes().Round(time.Second))
	if h.takes() > 5*time.Minute {
		t.Errorf("the first run takes %s", h.takes())
	}
}

// watchProgress gathers in "said" what a page tells while a file is on its way.
const watchProgress = `window.said = []; new MutationObserver(() => {
	const e = document.querySelector("#sending");
	if (e.checkVisibility()) said.push(e.innerText);
}).observe(document.querySelector("#sending"), {subtree: true, childList: true, attributes: true, characterData: true}); true`
