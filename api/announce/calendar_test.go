package announce_test

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/google/go-cmp/cmp"

	"ripetide/api/announce"
	"ripetide/forecast"
	"ripetide/weather"
)

// noon is an instant in spring and summer of 2018.
func noon(month time.Month, day int) time.Time {
	return time.Date(2018, month, day, 12, 0, 0, 0, time.UTC)
}

// decided is one version of a decision; day 0 takes it back.
func decided(kind forecast.DecisionKind, version int, at time.Time, day weather.Date) forecast.Decision {
	d := forecast.Decision{Season: 2018, Kind: kind, Version: version, DecidedAt: at, DecidedBy: "key Noor", Note: "the school comes", Forecast: "f"}
	if day != 0 {
		d.Day = &day
	}
	return d
}

// farmTold is an invented farm that tells nothing yet.
func farmTold() *announce.Told {
	return &announce.Told{
		Farm:      forecast.Farm{ID: "hill-farm", Name: "Hill, Dale; & Söhne", Latitude: 48, TimeZone: "Europe/Berlin", Units: forecast.Metric},
		Varieties: map[string]string{"a": "Wrenlight, the early", "b": "Orla"},
	}
}

// forecastOf is a forecast of two varieties, the first in two blocks.
func forecastOf() *forecast.Forecast {
	r := func(p10, p50, p90 int) forecast.DateRange {
		return forecast.DateRange{P10: june(p10), P50: june(p50), P90: june(p90)}
	}
	seen := june(8)
	first := forecast.DateRange{P10: seen, P50: seen, P90: seen, Seen: &seen}
	return &forecast.Forecast{
		Season: 2018, AsOf: june(10), Plantings: []forecast.PlantingDates{
			{Planting: "a-hill", Variety: "a", Stages: &forecast.StageDates{FirstRipe: first, Peak: r(12, 13, 15), LastPick: r(18, 19, 21)}},
			{Planting: "a-dale", Variety: "a", Stages: &forecast.StageDates{FirstRipe: r(12, 13, 14), Peak: r(16, 17, 18), LastPick: r(22, 24, 27)}},
			{Planting: "b-hill", Variety: "b", Stages: &forecast.StageDates{FirstRipe: r(17, 18, 20), Peak: r(22, 23, 24), LastPick: r(29, 30, 30)}},
			{Planting: "c-hill", Variety: "c"},
		},
	}
}

// Every octet of a calendar, worked out by hand from RFC 5545.
func TestCalendarByHand(t *testing.T) {
	t.Parallel()
	told := farmTold()
	told.Announcing = forecast.Announcing{Language: "en-GB", Hours: "Daily 8 to 12, not on Mondays", Where: "Mill Lane; first gate", Phone: "555 0100", Website: "https://hill.example/a"}
	told.Decisions = []forecast.Decision{
		decided(forecast.DecideOpening, 1, noon(time.May, 28), june(15)),
		decided(forecast.DecideOpening, 2, noon(time.June, 4), june(16)),
		decided(forecast.DecidePeakWeek, 1, noon(time.June, 5), june(18)),
		decided(forecast.DecidePeakWeek, 2, noon(time.June, 6), 0),
	}
	got, err := told.Calendar()
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Join([]string{
		"BEGIN:VCALENDAR",
		"VERSION:2.0",
		"PRODID:-//ripetide//en-GB",
		"METHOD:PUBLISH",
		"CALSCALE:GREGORIAN",
		`NAME:Hill\, Dale\; & Söhne: strawberries`,
		`X-WR-CALNAME:Hill\, Dale\; & Söhne: strawberries`,
		"REFRESH-INTERVAL;VALUE=DURATION:PT4H",
		"X-PUBLISHED-TTL:PT4H",
		"BEGIN:VEVENT",
		"UID:2018-opening.hill-farm@ripetide",
		"DTSTART;VALUE=DATE:20180616",
		"DTEND;VALUE=DATE:20180617",
		"TRANSP:TRANSPARENT",
		"CREATED:20180528T120000Z",
		"DTSTAMP:20180604T120000Z",
		"LAST-MODIFIED:20180604T120000Z",
		"SEQUENCE:1",
		`SUMMARY:Hill\, Dale\; & Söhne: opening day`,
		"STATUS:CONFIRMED",
		`DESCRIPTION:Daily 8 to 12\, not on Mondays.\n555 0100\nDates depend on the`,
		"  weather: please ask or look here before you drive.",
		`LOCATION:Mill Lane\; first gate`,
		"URL:https://hill.example/a",
		"END:VEVENT",
		"BEGIN:VEVENT",
		"UID:2018-peak-week.hill-farm@ripetide",
		"DTSTART;VALUE=DATE:20180618",
		"DTEND;VALUE=DATE:20180625",
		"TRANSP:TRANSPARENT",
		"CREATED:20180605T120000Z",
		"DTSTAMP:20180606T120000Z",
		"LAST-MODIFIED:20180606T120000Z",
		"SEQUENCE:1",
		`SUMMARY:Hill\, Dale\; & Söhne: week with the most fruit`,
		"STATUS:CANCELLED",
		"DESCRIPTION:This was taken back: it no longer holds.",
		"END:VEVENT",
		"END:VCALENDAR", "",
	}, "\r\n")
	if diff := cmp.Diff(want, string(got)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// event is an event as another program reads it.
type event struct {
	UID, Summary, Description, Location, Status, Transp, Start, End, Sequence string
}

// read parses a calendar by a parser that is not the writer's.
func read(t *testing.T, raw []byte) (name string, out map[string]event) {
	t.Helper()
	for line := range strings.SplitSeq(strings.TrimSuffix(string(raw), "\r\n"), "\r\n") {
		if len(line) > 75 || !utf8.ValidString(line) || strings.ContainsAny(line, "\r\n") {
			t.Errorf("a line of %d octets, or one that breaks a letter: %q", len(line), line)
		}
	}
	c, err := ical.NewDecoder(bytes.NewReader(raw)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, raw)
	}
	text := func(p ical.Props, name string) string {
		s, err := p.Text(name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		return s
	}
	out = map[string]event{}
	for _, e := range c.Events() {
		x := event{UID: text(e.Props, "UID"), Summary: text(e.Props, "SUMMARY"), Description: text(e.Props, "DESCRIPTION"), Location: text(e.Props, "LOCATION"), Status: text(e.Props, "STATUS"), Transp: text(e.Props, "TRANSP")}
		for name, to := range map[string]*string{"DTSTART": &x.Start, "DTEND": &x.End} {
			p := e.Props.Get(name)
			if p == nil || p.ValueType() != ical.ValueDate {
				t.Fatalf("%s: %s is no civil date", x.UID, name)
			}
			*to = p.Value
		}
		for _, name := range []string{"DTSTAMP", "LAST-MODIFIED"} {
			if _, err := e.Props.DateTime(name, time.UTC); err != nil || e.Props.Get(name) == nil {
				t.Errorf("%s: %s: %v", x.UID, name, err)
			}
		}
		x.Sequence = e.Props.Get("SEQUENCE").Value
		if _, twice := out[x.UID]; twice {
			t.Errorf("%s is there twice", x.UID)
		}
		out[x.UID] = x
	}
	return text(c.Props, "NAME"), out
}

func TestCalendarShowsWindowsIfWished(t *testing.T) {
	t.Parallel()
	told := farmTold()
	told.Forecast, told.MadeAt = forecastOf(), noon(time.June, 10)
	opening := decided(forecast.DecideOpening, 1, noon(time.May, 28), june(15))
	told.Decisions = []forecast.Decision{opening}
	calendar := func() map[string]event {
		t.Helper()
		raw, err := told.Calendar()
		if err != nil {
			t.Fatal(err)
		}
		_, events := read(t, raw)
		return events
	}
	if got := calendar(); len(got) != 1 {
		t.Errorf("not wished: %v", got)
	}
	told.Announcing.Windows = true
	first := calendar()
	caution := "Dates depend on the weather: please ask or look here before you drive."
	want := map[string]event{
		"2018-opening.hill-farm@ripetide": {
			UID: "2018-opening.hill-farm@ripetide", Summary: "Hill, Dale; & Söhne: opening day", Description: caution, Status: "CONFIRMED", Transp: "TRANSPARENT",
			Start: "20180615", End: "20180616", Sequence: "0",
		},
		"2018-window-a.hill-farm@ripetide": {
			UID: "2018-window-a.hill-farm@ripetide", Summary: "Wrenlight, the early ripe (estimate)", Status: "TENTATIVE", Transp: "TRANSPARENT",
			Description: "An estimate as of Sunday 10 June, and no announcement.\nFirst ripe fruit was seen on Friday 8 June.\n" +
				"Last picking about Sunday 24 June, probably between Friday 22 June and Wednesday 27 June.\n" + caution,
			Start: "20180608", End: "20180625",
		},
		"2018-window-b.hill-farm@ripetide": {
			UID: "2018-window-b.hill-farm@ripetide", Summary: "Orla ripe (estimate)", Status: "TENTATIVE", Transp: "TRANSPARENT",
			Description: "An estimate as of Sunday 10 June, and no announcement.\nFirst ripe fruit about Monday 18 June, probably between Sunday 17 June and Wednesday 20 June.\n" +
				"Last picking about Saturday 30 June, probably between Friday 29 June and Saturday 30 June.\n" + caution,
			Start: "20180618", End: "20180701",
		},
	}
	plain := func(events map[string]event) map[string]event {
		out := map[string]event{}
		for id, e := range events {
			if strings.Contains(id, "window") {
				e.Sequence = ""
			}
			out[id] = e
		}
		return out
	}
	if diff := cmp.Diff(want, plain(first)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	// The next forecast moves the windows and counts them up; not the decision.
	told.Forecast.Plantings[2].Stages.FirstRipe.P50++
	told.MadeAt = told.MadeAt.Add(24 * time.Hour)
	next := calendar()
	for id, e := range next {
		moved := strings.Contains(id, "window")
		if (e.Sequence != first[id].Sequence) != moved || moved && !(len(e.Sequence) == len(first[id].Sequence) && e.Sequence > first[id].Sequence) {
			t.Errorf("%s: sequence %s after %s", id, e.Sequence, first[id].Sequence)
		}
	}
	if next["2018-window-b.hill-farm@ripetide"].Start != "20180619" {
		t.Errorf("moved: %v", next)
	}
}

// What was decided of past seasons stays, whatever is decided of this one, and a
// day that was taken back and told again is one event all the time.
func TestCalendarKeepsWhatWasDecided(t *testing.T) {
	t.Parallel()
	told := farmTold()
	old := decided(forecast.DecideOpening, 1, noon(time.June, 1).AddDate(-1, 0, 0), weather.DateOf(2017, time.June, 10))
	old.Season = 2017
	told.Decisions = []forecast.Decision{old}
	uid := "2018-opening.hill-farm@ripetide"
	for i, step := range []struct {
		day                          weather.Date
		start, end, status, sequence string
	}{
		{june(15), "20180615", "20180616", "CONFIRMED", "0"},
		{0, "20180615", "20180616", "CANCELLED", "1"},
		{june(30), "20180630", "20180701", "CONFIRMED", "2"},
		{0, "20180630", "20180701", "CANCELLED", "3"},
	} {
		told.Decisions = append(told.Decisions, decided(forecast.DecideOpening, i+1, noon(time.June, i+1), step.day))
		raw, err := told.Calendar()
		if err != nil {
			t.Fatal(err)
		}
		_, got := read(t, raw)
		e := got[uid]
		if len(got) != 2 || e.Start != step.start || e.End != step.end || e.Status != step.status || e.Sequence != step.sequence {
			t.Errorf("step %d: %v, want %v", i, got, step)
		}
		if got["2017-opening.hill-farm@ripetide"].Start != "20170610" {
			t.Errorf("step %d: last year is %v", i, got)
		}
		for _, secret := range []string{"school", "Noor", "key"} {
			if bytes.Contains(raw, []byte(secret)) {
				t.Errorf("step %d: the calendar tells %q", i, secret)
			}
		}
	}
}

// Whatever a farm is called and writes, other programs read it as it was
// written, and a farm that tells nothing has a calendar that is one.
func TestCalendarOfAnyNames(t *testing.T) {
	t.Parallel()
	told := farmTold()
	told.Announcing.Windows = true
	raw, err := told.Calendar()
	if err != nil {
		t.Fatal(err)
	}
	if _, events := read(t, raw); len(events) != 0 || !bytes.Contains(raw, []byte("BEGIN:VTIMEZONE")) {
		t.Errorf("of nothing: %v\n%s", events, raw)
	}
	told.Decisions = []forecast.Decision{decided(forecast.DecideOpening, 1, noon(time.June, 1), june(15))}
	told.Forecast, told.MadeAt = forecastOf(), noon(time.June, 10)
	for _, name := range []string{
		`\n is no line; "C:\fields", a\,b\;`, strings.Repeat("Erdbeerselbstpflückparadies ", 6), strings.Repeat("ü", 120),
		strings.Repeat("いちご狩り", 30), "🍓🍓🍓" + strings.Repeat("🍓", 40), "<a> <b>" + strings.Repeat("<c>d", 40), " : = ; ,",
		"BEGIN:VEVENT\nEND:VCALENDAR",
	} {
		told.Farm.Name, told.Announcing.Where, told.Varieties["a"] = name, name, name
		for _, tag := range forecast.Languages {
			told.Announcing.Language = tag
			raw, err := told.Calendar()
			if err != nil {
				t.Fatal(err)
			}
			calendar, events := read(t, raw)
			e := events["2018-opening.hill-farm@ripetide"]
			if len(events) != 3 || e.Location != name || !strings.Contains(e.Summary, name) || !strings.Contains(calendar, name) {
				t.Errorf("%q, %s: %q, %v", name, tag, calendar, events)
			}
			if w := events["2018-window-a.hill-farm@ripetide"]; !strings.Contains(w.Summary, name) {
				t.Errorf("%q, %s: %v", name, tag, w)
			}
		}
	}
	// What is no address is not told as one.
	told.Announcing.Website = "http://"
	if raw, err = told.Calendar(); err != nil || bytes.Contains(raw, []byte("\nURL")) {
		t.Errorf("%v\n%s", err, raw)
	}
}
