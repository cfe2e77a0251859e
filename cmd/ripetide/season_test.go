package main

import (
	"encoding/json"
	"html"
	"regexp"
	"slices"
	"strings"
	"testing"

	"ripetide/forecast"
)

// Chart, table and summary of a season come from one forecast and say the same.
func TestSeasonPageAgreesWithTheChart(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	reader := signedIn(s, "reader")
	page, _ := reader.do(200, "GET", "/f/lanternfen/season/2018")
	text := plainText(page)
	var o struct {
		Forecast, Description string
		Plantings             []forecast.PlantingDates
		Gaps                  []forecast.Gap
	}
	if err := json.Unmarshal(s.call(200, "GET", "/v1/farms/lanternfen/seasons/2018/overlap.json", "", ""), &o); err != nil {
		t.Fatal(err)
	}
	says(t, text, o.Description)
	says(t, page, "/v1/farms/lanternfen/seasons/2018/overlap.svg?forecast="+o.Forecast+"&amp;theme=light&amp;width=390")
	says(t, text, "as of the morning of Mon Jun 11, 2018, today", "weather observed through Sun Jun 10", "no outlook", "estimate: walk the field", "As issued on", "Before: Sun Jun 10")
	if n := strings.Count(page, `<td role="cell" class="number nr">`); n != len(o.Plantings) || n < 5 {
		t.Errorf("%d rows for %d plantings", n, len(o.Plantings))
	}
	for _, p := range o.Plantings {
		says(t, page, `href="/f/lanternfen/season/2018/planting/`+p.Planting+`"`)
		if p.Stages == nil {
			continue
		}
		for _, r := range []forecast.DateRange{p.Stages.FirstRipe, p.Stages.Peak, p.Stages.LastPick} {
			said := "seen " + r.P50.Time().Format("Mon Jan 2")
			if r.Seen == nil {
				said = r.P50.Time().Format("Mon Jan 2")
			}
			says(t, text, said)
		}
	}
	if len(o.Gaps) == 0 {
		t.Fatal("the demo has no gap")
	}
	says(t, text, "Nothing ripe 8 in 10 after ")
	for _, path := range []string{"/f/lanternfen/season/soon", "/f/lanternfen/season/12", "/f/lanternfen/season/2018?forecast=none", "/f/lanternfen/season/2017?forecast=" + o.Forecast, "/f/fen/season/2018"} {
		reader.do(404, "GET", path)
	}
	page, _ = reader.do(200, "GET", "/f/lanternfen/season/2015")
	says(t, page, "No forecast of season 2015 was kept")

	// A hindcast is called one, and does not take the place of forecasts.
	f := s.json(201, "POST", "/v1/farms/lanternfen/forecasts?as_of=2017-06-12", "")
	page, _ = reader.do(200, "GET", "/f/lanternfen/season/2017")
	says(t, plainText(page), "Season 2017 Hindcast", "Made afterwards, on Mon Jun 11, 2018", "from what was on record and dated up to the morning of Mon Jun 12, 2017", "2017 (hindcast)")
	page, _ = reader.do(200, "GET", "/f/lanternfen/season/2018")
	says(t, page, `<a href="/f/lanternfen/season/2017">2017 (hindcast)</a>`)
	planting := f["plantings"].([]any)[0].(map[string]any)["planting"].(string)
	page, _ = reader.do(200, "GET", "/f/lanternfen/season/2017/planting/"+planting)
	says(t, plainText(page), "This is the hindcast ", "One forecast, as of the morning of Mon Jun 12, 2017")
}

// A story tells of the degree-days, of what was seen and moved, and of every
// forecast of the season.
func TestStoryOfAPlanting(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	reader := signedIn(s, "reader")
	var f forecast.Forecast
	if err := json.Unmarshal(s.call(200, "GET", "/v1/farms/lanternfen/forecasts/latest", "", ""), &f); err != nil {
		t.Fatal(err)
	}
	// One that was seen to bloom, is not ripe yet, and has moved.
	p := f.Plantings[slices.IndexFunc(f.Plantings, func(p forecast.PlantingDates) bool {
		return p.Bloom.From == forecast.BloomSighted && p.Stages.FirstRipe.Seen == nil && p.Moved != nil && p.Moved.Days != 0
	})]
	base := "/f/lanternfen/season/2018/planting/" + p.Planting
	page, _ := reader.do(200, "GET", base)
	text := plainText(page)
	says(t, text, p.Block, "as of the morning of Mon Jun 11, 2018, today", "It bloomed on "+p.Bloom.Date.Time().Format("Mon Jan 2"),
		"First ripe fruit takes about", "°F·d from bloom (8 in 10:", "still to come", "past years is played on",
		"Bloom seen", "has moved since the forecast of Sun Jun 10", "by what was seen in the field",
		"11 forecasts, as of the mornings from Mon May 14 to Mon Jun 11, 2018, each as it was issued.",
		"Usual for its class", "Now", "8 in 10 within", "ripe stages of", "differs by about", "it is the same to the last byte.")
	says(t, page, "/v1/farms/lanternfen/forecasts/"+*f.ID+"/plantings/"+p.Planting+".svg?theme=light", base+"/narrowing.svg?forecast="+*f.ID)
	if strings.Contains(text, "°C") {
		t.Error("°C at a farm that reads °F")
	}
	if n := strings.Count(page, base+"?forecast="); n != 11 {
		t.Errorf("%d links to forecasts of 11", n)
	}

	// As issued three weeks before.
	list := regexp.MustCompile(`<a href="([^"]*)">Mon May 21</a>`).FindStringSubmatch(page)
	if list == nil {
		t.Fatal("no link to the forecast of May 21")
	}
	page, _ = reader.do(200, "GET", html.UnescapeString(list[1]))
	says(t, plainText(page), "as of the morning of Mon May 21, 2018, 21 days ago", "No ripe fruit has been seen this season, so it has taught nothing yet.", "Mon May 21 this one")

	svg, _ := reader.do(200, "GET", base+"/narrowing.svg?theme=dark&width=390")
	says(t, svg, "<svg", "First ripe", "this forecast, Mon Jun 11", "#1b1614")
	for _, path := range []string{
		"/f/lanternfen/season/2018/planting/nowhere", "/f/lanternfen/season/2015/planting/nowhere", "/f/lanternfen/season/2018/planting/nowhere/narrowing.svg",
		base + "/narrowing.svg?width=9", base + "/narrowing.svg?theme=pink", "/f/fen/season/2018/planting/" + p.Planting,
	} {
		reader.do(404, "GET", path)
	}
	page, _ = reader.do(200, "GET", "/f/lanternfen/season/2015/planting/"+p.Planting)
	says(t, page, "No forecast of season 2015 was kept")

	// In the book, but of no forecast: planted this spring.
	for _, q := range s.json(200, "GET", "/v1/farms/lanternfen/plantings", "")["plantings"].([]any) {
		q := q.(map[string]any)
		if strings.HasPrefix(q["planted_on"].(string), "2018") {
			page, _ = reader.do(200, "GET", "/f/lanternfen/season/2018/planting/"+q["planting"].(string))
			says(t, page, "does not tell of this planting")
			return
		}
	}
	t.Error("the demo planted nothing in 2018")
}
