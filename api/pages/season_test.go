package pages_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ripetide/api/pages"
	"ripetide/forecast"
	"ripetide/weather"
)

var june = func(d int) weather.Date { return weather.DateOf(2018, time.June, d) }

// frozenOf is a forecast of a season as it lies in the store.
func frozenOf(id string, season int, asOf weather.Date, hindcast bool) forecast.Frozen {
	return forecast.Frozen{ID: id, Season: season, AsOf: asOf, Hindcast: hindcast, MadeAt: asOf.Time().Add(9 * time.Hour)}
}

// seasonPage is the season 2018 by f on the morning of today.
func seasonPage(f *forecast.Forecast, farm forecast.Farm, today weather.Date, all ...forecast.Frozen) pages.SeasonPage {
	if len(all) == 0 {
		all = []forecast.Frozen{frozenOf("now", 2018, f.AsOf, f.Hindcast)}
	}
	z := all[0]
	for _, a := range all {
		if a.AsOf == f.AsOf {
			z = a
		}
	}
	vs := []forecast.Variety{{ID: "w", Name: "Wrenlight"}, {ID: "c", Name: "Corduroy"}}
	return pages.NewSeason(&farm, f, z, today, vs, all)
}

func american() forecast.Farm {
	f := patch()
	f.Units = forecast.US
	return f
}

func TestADateStandsWithItsRange(t *testing.T) {
	t.Parallel()
	farm, us := patch(), american()
	seen := june(5)
	for _, tt := range []struct {
		name string
		farm *forecast.Farm
		r    forecast.DateRange
		want pages.DateCell
	}{
		{"within a month", &farm, forecast.DateRange{P10: june(4), P50: june(5), P90: june(8)}, pages.DateCell{Date: "Tue 5 Jun", Range: "Mon 4 to Fri 8 Jun"}},
		{"over the end of a month", &farm, forecast.DateRange{P10: june(0), P50: june(2), P90: june(8)}, pages.DateCell{Date: "Sat 2 Jun", Range: "Thu 31 May to Fri 8 Jun"}},
		{"in the US", &us, forecast.DateRange{P10: june(4), P50: june(5), P90: june(31)}, pages.DateCell{Date: "Tue Jun 5", Range: "Mon Jun 4 to Sun Jul 1"}},
		{"all but sure", &farm, forecast.DateRange{P10: june(5), P50: june(5), P90: june(5)}, pages.DateCell{Date: "Tue 5 Jun"}},
		{"seen", &farm, forecast.DateRange{P10: seen, P50: seen, P90: seen, Seen: &seen}, pages.DateCell{Date: "Tue 5 Jun", How: "seen"}},
	} {
		if got := pages.DateOf(tt.farm, tt.r); got != tt.want {
			t.Errorf("%s: got %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

func TestTheTableSaysWhatTheChartSays(t *testing.T) {
	t.Parallel()
	f := thisMorning(dated("w1", "w", "East", june(9), june(16)), dated("c1", "c", "Long Rows", june(20), june(30)))
	from, to := june(3), june(9)
	f.Plantings[1].Bloom = &forecast.Bloom{Date: june(6), From: forecast.BloomForecast, P10: &from, P90: &to}
	f.Plantings[0].PickingWindowDays = &forecast.DayCounts{P10: 7, P50: 8, P90: 10}
	f.Plantings = append(f.Plantings, forecast.PlantingDates{Planting: "x", Variety: "gone", Block: "Hill"})
	after, before := "w1", "c1"
	f.Gaps = []forecast.Gap{
		{From: june(17), To: june(18), Kind: forecast.KindGap, Probability: 0.62, After: &after, Before: &before, PastYears: 21},
		{From: june(19), To: june(19), Kind: forecast.KindThin, Probability: 0.97, Before: &before, PastYears: 40},
	}
	f.Method.Traces = 41
	f.SeasonSpan = &forecast.Span{}
	f.Notes = []forecast.Note{
		{Kind: forecast.NoteNoBloom, Planting: "x", Text: "Bloom is not entered."}, {Kind: forecast.NoteEstimate, Text: "An estimate."},
	}
	p := seasonPage(f, patch(), mon11)
	var got []string
	for _, r := range p.Rows {
		line := fmt.Sprintf("%d %s, %s:", r.Number, r.Name, r.Block)
		for _, c := range []pages.DateCell{r.Bloom, r.First, r.Peak, r.Last} {
			line += fmt.Sprintf(" %s[%s]%s", c.Date, c.Range, c.How)
		}
		got = append(got, line+" "+r.Days+" "+r.DaysRange+r.None)
	}
	want := []string{
		"1 Wrenlight, East: Thu 10 May[]seen Sat 9 Jun[Fri 8 to Sun 10 Jun] Tue 12 Jun[Mon 11 to Wed 13 Jun] Sat 16 Jun[Fri 15 to Sun 17 Jun] 8 days 7 to 10",
		"2 Corduroy, Long Rows: Wed 6 Jun[Sun 3 to Sat 9 Jun] Wed 20 Jun[Tue 19 to Thu 21 Jun] Mon 25 Jun[Sun 24 to Tue 26 Jun] Sat 30 Jun[Fri 29 Jun to Sun 1 Jul]  ",
		"3 gone, Hill: [] [] [] []  bloom not entered yet",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	// The same words in the chart's description.
	for _, s := range []string{
		"1. Wrenlight (East): first ripe about Sat 9 Jun (8 in 10: Fri 8 – Sun 10 Jun)", "Nothing ripe Sun 17 – Mon 18 Jun (chance 6 in 10).",
		"Thin Tue 19 Jun (chance over 9 in 10).", "3. gone (Hill): no forecast, bloom not entered yet.",
	} {
		if !strings.Contains(p.Words, s) {
			t.Errorf("%q is not in %s", s, p.Words)
		}
	}
	if got, want := fmt.Sprint(p.Lacks), "[{Nothing ripe Sun 17 to Mon 18 Jun 6 in 10 after Wrenlight (East), before Corduroy (Long Rows) 21 of 41} {Thin Tue 19 Jun over 9 in 10 before Corduroy (Long Rows) 40 of 41}]"; got != want {
		t.Errorf("gaps\n%s, want\n%s", got, want)
	}
	if got := strings.Join(p.Notes, "|"); got != "gone (Hill): Bloom is not entered." {
		t.Errorf("notes %q", got)
	}
	if got := p.Rows[0].Href; got != "/f/hill/season/2018/planting/w1" {
		t.Errorf("the story is at %s", got)
	}
}

func TestWhatWasSoHasNoChance(t *testing.T) {
	t.Parallel()
	f := thisMorning(dated("w1", "w", "East", june(1), june(5)))
	f.Method.Traces = 30
	f.Gaps = []forecast.Gap{{From: june(6), To: june(8), Kind: forecast.KindGap, Probability: 1, PastYears: 30}}
	p := seasonPage(f, patch(), mon11)
	if l := p.Lacks[0]; l.Chance != "it was so" || l.Years != "" || p.PastYears || strings.Contains(p.Words, "chance") || !strings.Contains(strings.ReplaceAll(p.Words, "\u00a0", " "), "Nothing ripe Wed 6") {
		t.Errorf("%+v; %t; %s", l, p.PastYears, p.Words)
	}
	f.Gaps[0].To = mon11
	if l := seasonPage(f, patch(), mon11).Lacks[0]; l.Chance != "over 9 in 10" || l.Years != "30 of 30" {
		t.Errorf("on the morning itself %+v", l)
	}
}

func TestTwoOfAVarietyInABlockAreToldApart(t *testing.T) {
	t.Parallel()
	p := seasonPage(thisMorning(dated("w1", "w", "East", june(9), june(16)), dated("w2", "w", "East", june(10), june(18))), patch(), mon11)
	if p.Rows[0].Block != "East, w1" || p.Rows[1].Block != "East, w2" || !strings.Contains(p.Words, "Wrenlight (East, w2)") {
		t.Errorf("%q and %q; %s", p.Rows[0].Block, p.Rows[1].Block, p.Words)
	}
}

func TestASeasonSaysWhatItRestsOn(t *testing.T) {
	t.Parallel()
	base := func() *forecast.Forecast { return thisMorning(dated("w1", "w", "East", june(9), june(16))) }
	for _, tt := range []struct {
		name  string
		f     func() *forecast.Forecast
		today weather.Date
		want  string
	}{
		{"this morning", base, mon11, "as of the morning of Mon 11 Jun 2018, today; weather observed through Sun 10 Jun; outlook of Mon 11 Jun 2018 05:30, fresh then; estimate: walk the field"},
		{"a day later", base, mon11 + 1, "as of the morning of Mon 11 Jun 2018, 1 day ago;"},
		{"in another season", base, mon11 + 900, "as of the morning of Mon 11 Jun 2018; weather"},
		{"days are missing", func() *forecast.Forecast {
			f := base()
			*f.WeatherThrough -= 3
			return f
		}, mon11, "weather observed through Thu 7 Jun, 3 days missing;"},
		{"no weather and no outlook", func() *forecast.Forecast {
			f := base()
			f.WeatherThrough, f.OutlookIssuedAt = nil, nil
			return f
		}, mon11, "no weather observed; no outlook; estimate"},
		{"after the last pick", func() *forecast.Forecast {
			f := base()
			f.Method.Traces = 30
			f.SeasonSpan = &forecast.Span{Last: forecast.SpanEnd{P90: mon11 - 1}}
			return f
		}, mon11, "fresh then; the season was over"},
		{"an old outlook", func() *forecast.Forecast {
			f := base()
			f.OutlookIssuedAt = ptr(f.OutlookIssuedAt.Add(-51 * time.Hour))
			f.Method.Traces = 1
			return f
		}, mon11, "outlook of Sat 9 Jun 2018 02:30, 2 days old then; days ahead by 1 past year of weather;"},
	} {
		p := seasonPage(tt.f(), patch(), tt.today, frozenOf("now", 2018, mon11, false))
		if got := strings.Join(p.Facts, "; "); !strings.Contains(got, tt.want) {
			t.Errorf("%s: got  %s\nwant %s", tt.name, got, tt.want)
		}
	}
}

func ptr[T any](v T) *T { return &v }

func TestOtherForecastsOfTheSeason(t *testing.T) {
	t.Parallel()
	f := thisMorning(dated("w1", "w", "East", june(9), june(16)))
	f.AsOf = mon11 - 7
	all := []forecast.Frozen{
		frozenOf("h", 2018, mon11+5, true), frozenOf("new", 2018, mon11, false), frozenOf("week", 2018, mon11-7, false),
		frozenOf("first", 2018, mon11-28, false), frozenOf("old", 2016, mon11-700, true), frozenOf("old17", 2017, mon11-365, false),
	}
	p := seasonPage(f, patch(), mon11+6, all...)
	var got []string
	for _, c := range p.Issued {
		got = append(got, fmt.Sprint(c.ID, " ", c.Text, " ", c.Chosen))
	}
	if want := "h Sat 16 Jun (hindcast) false, new Mon 11 Jun false, week Mon 4 Jun true, first Mon 14 May false"; strings.Join(got, ", ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, ", "), want)
	}
	if p.Earlier.Href != "/f/hill/season/2018?forecast=first" || p.Later.Href != "/f/hill/season/2018?forecast=new" {
		t.Errorf("before it %v, after it %v", p.Earlier, p.Later)
	}
	if !strings.Contains(p.Other, "The newest is of Mon 11 Jun.") || p.Newest != "/f/hill/season/2018" {
		t.Errorf("%q, at %s", p.Other, p.Newest)
	}
	if got, want := fmt.Sprint(p.Years), "[{2018 /f/hill/season/2018 true} {2017 /f/hill/season/2017 false} {2016 (hindcast) /f/hill/season/2016 false}]"; got != want {
		t.Errorf("seasons %s, want %s", got, want)
	}

	f.AsOf = mon11
	if p := seasonPage(f, patch(), mon11, all...); p.Other != "" {
		t.Errorf("of the newest itself: %s", p.Other)
	}
	// A forecast and a hindcast of one morning are told apart without it.
	both := append([]forecast.Frozen{frozenOf("h11", 2018, mon11, true)}, all...)
	if p := seasonPage(f, patch(), mon11, both...); p.Issued[0].Text != "Mon 11 Jun (hindcast)" || p.Issued[2].Text != "Mon 11 Jun" {
		t.Errorf("%q and %q of one morning", p.Issued[0].Text, p.Issued[2].Text)
	}
	// Two of one morning are told apart by when they were made.
	twice := append([]forecast.Frozen{frozenOf("again", 2018, mon11, false)}, all...)
	twice[0].MadeAt = twice[0].MadeAt.Add(time.Hour)
	if got := seasonPage(f, patch(), mon11, twice...).Issued[0].Text; got != "Mon 11 Jun, made Mon 11 Jun 2018 06:00" {
		t.Errorf("two of one morning: %q", got)
	}
}

func TestAHindcastIsCalledOne(t *testing.T) {
	t.Parallel()
	f := thisMorning(dated("w1", "w", "East", june(9), june(16)))
	f.Hindcast = true
	z := frozenOf("h", 2018, mon11, true)
	z.MadeAt = time.Date(2026, 11, 26, 15, 4, 0, 0, time.UTC)
	p := seasonPage(f, patch(), june(30)+3000, z)
	if want := "Made afterwards, on Thu 26 Nov 2026 10:04, from what was on record and dated up to the morning of Mon 11 Jun 2018."; !strings.Contains(p.Hindcast, want) {
		t.Errorf("got %q, want %q", p.Hindcast, want)
	}
	if !strings.Contains(p.Chart.Alt, "(hindcast)") {
		t.Errorf("the chart is called %q", p.Chart.Alt)
	}
}

func TestASeasonWithoutAForecastSaysSo(t *testing.T) {
	t.Parallel()
	farm, south := patch(), patch()
	south.Latitude = -38
	for _, tt := range []struct {
		farm  forecast.Farm
		year  int
		today weather.Date
		want  string
	}{
		{farm, 2018, mon11, "There is no forecast of season 2018 yet."},
		{farm, 2012, mon11, "No forecast of season 2012 was kept, so there is nothing to show."},
		{farm, 2019, mon11, "Season 2019 has not begun: there is no forecast of it."},
		{south, 2019, weather.DateOf(2018, 11, 1), "There is no forecast of season 2019 yet."},
	} {
		if got := pages.NoForecast(&tt.farm, tt.year, tt.today); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	p := seasonPage(thisMorning(), patch(), mon11)
	if p.NoLacks != "No planting bears this season." || len(p.Rows) != 0 {
		t.Errorf("without plantings: %q, %d rows", p.NoLacks, len(p.Rows))
	}
	p = seasonPage(thisMorning(forecast.PlantingDates{Planting: "w1", Variety: "w", Block: "East"}), patch(), mon11)
	if p.NoLacks != "Too early to say: no planting has dates yet." {
		t.Errorf("without dates: %q", p.NoLacks)
	}
}

func TestPicturesAreLightInPrintAndFitTheWindow(t *testing.T) {
	t.Parallel()
	p := seasonPage(thisMorning(dated("w1", "w", "East", june(9), june(16))), patch(), mon11)
	if s := p.Chart.Print; !strings.Contains(s, "theme=light&width=1184") {
		t.Errorf("print is %s", s)
	}
	var medias []string
	for _, s := range p.Chart.Sources {
		if strings.Contains(s.Media, "dark") != strings.Contains(s.Src, "theme=dark") {
			t.Errorf("%s shows %s", s.Media, s.Src)
		}
		if !strings.Contains(s.Src, "forecast=now") {
			t.Errorf("%s is of another forecast", s.Src)
		}
		medias = append(medias, s.Media)
	}
	if want := "(min-width: 1200px) and (prefers-color-scheme: dark), (min-width: 1200px), (min-width: 900px) and (prefers-color-scheme: dark), (min-width: 900px), (min-width: 560px) and (prefers-color-scheme: dark), (min-width: 560px), (prefers-color-scheme: dark)"; strings.Join(medias, ", ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(medias, ", "), want)
	}
	if !strings.Contains(p.Chart.Src, "theme=light&width=390") {
		t.Errorf("on a phone %s", p.Chart.Src)
	}
}
