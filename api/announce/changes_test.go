package announce_test

import (
	"encoding/xml"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/api/announce"
	"ripetide/forecast"
	"ripetide/weather"
)

func TestEveryLanguageTellsEverything(t *testing.T) {
	t.Parallel()
	for _, missing := range announce.MissingTelling() {
		t.Error(missing)
	}
}

// feed is a feed as another program reads it.
type feed struct {
	XMLName xml.Name `xml:"http://www.w3.org/2005/Atom feed"`
	ID      string   `xml:"id"`
	Title   string   `xml:"title"`
	Updated string   `xml:"updated"`
	Author  string   `xml:"author>name"`
	Links   []struct {
		Href string `xml:"href,attr"`
		Rel  string `xml:"rel,attr"`
	} `xml:"link"`
	Entries []struct {
		ID      string `xml:"id"`
		Title   string `xml:"title"`
		Updated string `xml:"updated"`
		Content struct {
			Type string `xml:"type,attr"`
			Text string `xml:",chardata"`
		} `xml:"content"`
	} `xml:"entry"`
}

var uuid = regexp.MustCompile(`^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)

// changes reads the feed of a farm and checks what RFC 4287 asks of any.
func changes(t *testing.T, told *announce.Told, now time.Time, page string) feed {
	t.Helper()
	raw, err := told.Changes(now, page)
	if err != nil {
		t.Fatal(err)
	}
	var f feed
	if err := xml.Unmarshal(raw, &f); err != nil {
		t.Fatalf("%v in\n%s", err, raw)
	}
	seen := map[string]bool{}
	for _, e := range f.Entries {
		if !uuid.MatchString(e.ID) || seen[e.ID] || e.ID == f.ID || e.Content.Type != "text" || e.Title == "" || e.Content.Text == "" {
			t.Errorf("entry %+v", e)
		}
		seen[e.ID] = true
		if _, err := time.Parse(time.RFC3339, e.Updated); err != nil || e.Updated > f.Updated {
			t.Errorf("updated %s, the feed %s: %v", e.Updated, f.Updated, err)
		}
	}
	if !uuid.MatchString(f.ID) || f.Title == "" || f.Author != told.Farm.Name {
		t.Errorf("feed %+v", f)
	}
	return f
}

// told lists the entries in words.
func (f feed) told() (out []string) {
	for _, e := range f.Entries {
		out = append(out, e.Updated[:10]+" "+e.Title+": "+e.Content.Text)
	}
	return out
}

func TestChangesAreToldAsTheyCouldBeTold(t *testing.T) {
	t.Parallel()
	told := farmTold()
	told.Announcing.Language = "en-GB"
	caution := " Dates depend on the weather: please ask or look here before you drive."
	far := decided(forecast.DecideOpening, 1, noon(time.May, 20), june(15))
	moved := decided(forecast.DecideOpening, 2, noon(time.June, 4), june(16))
	told.Decisions = []forecast.Decision{
		far, moved,
		decided(forecast.DecidePeakWeek, 1, noon(time.June, 5), june(18)),
		decided(forecast.DecidePeakWeek, 2, noon(time.June, 6), 0),
		decided(forecast.DecideClosing, 1, noon(time.June, 16), june(30)),
	}
	all := []string{
		"2018-06-22 Our last day: Our last day of picking is Saturday 30 June.",
		"2018-06-16 When we close: Our last day of picking lies in the week from Monday 25 June to Sunday 1 July.",
		// Near from the beginning of the ninth at the farm, which is the eighth in UTC.
		"2018-06-08 Our opening day: We plan to open on Saturday 16 June." + caution,
		"2018-06-06 The week with the most fruit is undecided again: The week that we told no longer holds. We will tell you as soon as we know more.",
		"2018-06-05 Week with the most fruit: We expect the most fruit in the week from Monday 18 June to Sunday 24 June." + caution,
		"2018-06-04 Our opening has moved: We plan to open in the week from Monday 11 June to Sunday 17 June." + caution,
		"2018-05-20 When we open: We expect our first strawberries in mid-June." + caution,
	}
	f := changes(t, told, noon(time.July, 1), "/at/hill-farm")
	if diff := cmp.Diff(all, f.told()); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if len(f.Links) != 1 || f.Links[0].Href != "/at/hill-farm" || f.Links[0].Rel != "alternate" || f.Updated != "2018-06-22T22:00:00Z" {
		t.Errorf("links %v, updated %s", f.Links, f.Updated)
	}
	// Earlier, less could be told, and what was told is the same for ever.
	for day := 1; day <= 30; day++ {
		early := changes(t, told, noon(time.June, day), "")
		for _, e := range early.Entries {
			for _, late := range f.Entries {
				if e.ID == late.ID && e != late {
					t.Errorf("on 1 June + %d: %v became %v", day, e, late)
				}
			}
		}
		want := 7
		if day < 9 {
			want--
		}
		if day < 23 {
			want--
		}
		if len(early.Entries) != want || len(early.Links) != 0 {
			t.Errorf("on 1 June + %d there are %d entries, want %d; links %v", day, len(early.Entries), want, early.Links)
		}
	}
	// Taken back before it was near, a day is never named.
	told.Decisions = []forecast.Decision{far, decided(forecast.DecideOpening, 2, noon(time.June, 4), 0), decided(forecast.DecideOpening, 3, noon(time.June, 5), june(10))}
	want := []string{
		"2018-06-05 When we open: We plan to open on Sunday 10 June." + caution,
		"2018-06-04 Our opening day no longer holds: The day that we told no longer holds. We will tell you as soon as we know more.",
		all[6],
	}
	if diff := cmp.Diff(want, changes(t, told, noon(time.July, 1), "").told()); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// Whatever is decided and when, no entry names a single day that lay more than a
// week ahead when it was told, a probability or heat, nor who decided.
func TestChangesPromiseNothingFarOff(t *testing.T) {
	t.Parallel()
	single, ranges := 0, 0
	for _, tag := range forecast.Languages {
		for _, kind := range forecast.DecisionKinds {
			for ahead := -3; ahead <= 40; ahead++ {
				told := farmTold()
				told.Announcing.Language = tag
				at := noon(time.June, 1)
				told.Decisions = []forecast.Decision{decided(kind, 1, at, june(1)+weather.Date(ahead))}
				for _, e := range changes(t, told, at.AddDate(0, 3, 0), "").Entries {
					words := e.Title + ". " + e.Content.Text
					updated, err := time.Parse(time.RFC3339, e.Updated)
					if err != nil {
						t.Fatal(err)
					}
					then := weather.DateIn(updated.In(berlin(t)))
					ds := datesIn(t, words)
					switch {
					case len(ds) == 1 && ds[0]-then > announce.Near:
						t.Errorf("%s, %s: %q names a day %d days ahead", tag, then, words, ds[0]-then)
					case len(ds) == 1:
						single++
					case len(ds) == 2 && ds[0] < ds[1]:
						ranges++
					case len(ds) != 0:
						t.Errorf("%s, %s: %q", tag, then, words)
					}
					for _, bad := range []string{"%", "°", "degree", "{", "}", "Noor", "school", "key "} {
						if strings.Contains(words, bad) {
							t.Errorf("%s: %q", tag, words)
						}
					}
				}
			}
		}
	}
	if single < 100 || ranges < 100 {
		t.Errorf("%d single days and %d ranges: the test sees too little", single, ranges)
	}
}

// How a day is told hangs on how far off it is, and a day that can be named at
// once needs no second entry.
func TestChangesByHowFarOffTheyAre(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		kind    forecast.DecisionKind
		ahead   weather.Date
		entries int
		want    string
	}{
		{forecast.DecideOpening, 7, 1, "We plan to open on Friday 8 June."},
		{forecast.DecideOpening, 8, 2, "We plan to open in the week from Monday 4 June to Sunday 10 June."},
		{forecast.DecideOpening, 15, 2, "We expect our first strawberries in mid-June."},
		{forecast.DecideClosing, -1, 1, "Our last day of picking was Thursday 31 May."},
		{forecast.DecideClosing, 0, 1, "Our last day of picking is Friday 1 June."},
		{forecast.DecideClosing, 7, 1, "Our last day of picking is Friday 8 June."},
		{forecast.DecideClosing, 8, 2, "Our last day of picking lies in the week from Monday 4 June to Sunday 10 June."},
		{forecast.DecideClosing, 14, 2, "Our last day of picking lies in the week from Monday 11 June to Sunday 17 June."},
		{forecast.DecideClosing, 15, 2, "We expect to close in mid-June."},
		{forecast.DecidePeakWeek, 30, 1, "We expect the most fruit in the week from Sunday 1 July to Saturday 7 July."},
	} {
		told := farmTold()
		told.Announcing.Language = "en-GB"
		told.Decisions = []forecast.Decision{decided(tt.kind, 1, noon(time.June, 1), june(1)+tt.ahead)}
		f := changes(t, told, noon(time.August, 1), "")
		if n := len(f.Entries); n != tt.entries || !strings.HasPrefix(f.Entries[n-1].Content.Text, tt.want) {
			t.Errorf("%s %d days ahead: %q, want %d entries, the first %q", tt.kind, tt.ahead, f.told(), tt.entries, tt.want)
		}
	}
}

// A farm that decides on the same day again, for another reason or on a newer
// forecast, has moved nothing.
func TestTheSameDayAgainIsNoChange(t *testing.T) {
	t.Parallel()
	told := farmTold()
	told.Announcing.Language = "en-GB"
	first, again := decided(forecast.DecideOpening, 1, noon(time.May, 20), june(15)), decided(forecast.DecideOpening, 2, noon(time.June, 2), june(15))
	told.Decisions = []forecast.Decision{first}
	want := changes(t, told, noon(time.July, 1), "")
	again.Note = "the school comes"
	told.Decisions = append(told.Decisions, again)
	if diff := cmp.Diff(want, changes(t, told, noon(time.July, 1), "")); diff != "" || len(want.Entries) != 2 {
		t.Errorf("%d entries (-want +got)\n%s", len(want.Entries), diff)
	}
}

func berlin(t *testing.T) *time.Location {
	t.Helper()
	l, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestFeedTellsTheLatestChanges(t *testing.T) {
	t.Parallel()
	told := farmTold()
	if f := changes(t, told, noon(time.June, 1), ""); len(f.Entries) != 0 || f.Updated != "1970-01-01T00:00:00Z" {
		t.Errorf("of nothing: %+v", f)
	}
	told.MadeAt = noon(time.May, 1)
	if f := changes(t, told, noon(time.June, 1), ""); f.Updated != "2018-05-01T12:00:00Z" {
		t.Errorf("of a forecast alone: %+v", f)
	}
	told.Farm.Name = `<b>R&D "farm"</b>`
	for n := range 60 {
		told.Decisions = append(told.Decisions, decided(forecast.DecideOpening, n+1, noon(time.June, 1).Add(time.Duration(n)*time.Minute), june(3+n%2)))
	}
	f := changes(t, told, noon(time.July, 1), "")
	if len(f.Entries) != 50 || f.Entries[0].Updated != "2018-06-01T12:59:00Z" || f.Updated != f.Entries[0].Updated || !strings.Contains(f.Title, told.Farm.Name) {
		t.Errorf("%d entries, the first %v, title %q", len(f.Entries), f.Entries[0], f.Title)
	}
	// Another farm's feed and entries have names of their own.
	other := *told
	other.Farm.ID = "dale"
	if g := changes(t, &other, noon(time.July, 1), ""); g.ID == f.ID || g.Entries[0].ID == f.Entries[0].ID {
		t.Error("two farms share identifiers")
	}
}

func TestEverybodySeesWhatTheFarmAllows(t *testing.T) {
	t.Parallel()
	told := farmTold()
	told.Forecast, told.MadeAt = forecastOf(), noon(time.June, 10)
	told.Forecast.SeasonSpan = &forecast.Span{Last: forecast.SpanEnd{P10: june(29), P50: june(30), P90: june(30)}}
	told.Announcing.Hours, told.Announcing.Phone = "Daily 8 to 12", "555 0100"
	see := func(today weather.Date, varieties, ahead bool) string {
		t.Helper()
		told.Announcing.Public = forecast.PublicPage{On: true, Varieties: varieties, Ahead: ahead}
		p := told.Public(today)
		var ripe []string
		for _, r := range p.Ripe {
			on := ""
			for _, yes := range r.On {
				on += map[bool]string{true: "o", false: "-"}[yes]
			}
			ripe = append(ripe, r.Name+" "+on)
		}
		if len(p.Ripe) > 0 && (len(p.Days) != 7 || p.Days[0].Date != today) {
			t.Errorf("days %v", p.Days)
		}
		return fmt.Sprint(p.Opening, ripe, p.Next, p.Peak)
	}
	told.Decisions = []forecast.Decision{decided(forecast.DecideOpening, 1, noon(time.June, 1), june(11))}
	for _, tt := range []struct {
		today            weather.Date
		varieties, ahead bool
		want             string
	}{
		{june(10), true, true, "We plan to open on Monday 11 June.[] []"}, // Closed: nothing is ripe for anybody.
		{june(11), false, false, "We are open for picking.[] []"},
		{june(11), true, false, "We are open for picking.[Wrenlight, the early ooooooo] []"},
		{june(11), true, true, "We are open for picking.[Wrenlight, the early ooooooo] [Orla]"},
		{june(11), false, true, "We are open for picking.[] []"},
		{june(16), true, false, "We are open for picking.[Wrenlight, the early ooooooo Orla --ooooo] []"},
		{june(22), true, false, "We are open for picking.[Wrenlight, the early ooo---- Orla ooooooo] []"},
		// Nobody has told a last day: two weeks after the last fruit it was one.
		{june(30) + 14, true, true, "We are open for picking.[] []"},
		{june(30) + 15, true, true, "Our season is over. Thank you for picking with us.[] []"},
		// Of the next season nothing is known from this one's forecast.
		{weather.DateOf(2019, time.March, 1), true, true, "It is too soon to say when our strawberries will be ripe.[] []"},
	} {
		if got := see(tt.today, tt.varieties, tt.ahead); got != tt.want {
			t.Errorf("%s, varieties %v, ahead %v: %q, want %q", tt.today, tt.varieties, tt.ahead, got, tt.want)
		}
	}
	// A week that is only advised is something to come.
	from, to := june(11), june(17)
	told.Forecast.Plantings[0].Bloom = &forecast.Bloom{Date: june(1) - 20, From: forecast.BloomSighted}
	told.Forecast.Advice = &forecast.Advice{
		Opening: forecast.DayAdvice{Range: &forecast.SpanEnd{P10: june(10), P50: june(11), P90: june(12)}}, PeakWeek: forecast.WeekAdvice{From: &from, To: &to, Sure: true},
	}
	advised := "We expect the most fruit in the week from Monday 11 June to Sunday 17 June."
	if got, hidden := see(june(11), false, true), see(june(11), true, false); !strings.HasSuffix(got, advised) || strings.Contains(hidden, "the most fruit") {
		t.Errorf("a week that was advised: %q, and hidden %q", got, hidden)
	}
	told.Decisions = append(told.Decisions, decided(forecast.DecidePeakWeek, 1, noon(time.June, 1), june(18)))
	if got := see(june(11), false, false); !strings.HasSuffix(got, "We expect the most fruit in the week from Monday 18 June to Sunday 24 June.") {
		t.Errorf("a week that was decided: %q", got)
	}
	told.Decisions = append(told.Decisions, decided(forecast.DecideClosing, 1, noon(time.June, 11), june(12)))
	if got := see(june(13), true, true); got != "Our season is over. Thank you for picking with us.[] []" {
		t.Errorf("after the last day: %q", got)
	}
	if p := told.Public(june(13)); p.Hours != "" || p.Caution != "" {
		t.Errorf("hours of a season that is over: %+v", p)
	}
	for tag, want := range map[string]string{"en-GB": "Mon 11", "en-US": "Mon 11", "de": "Mo 11", "fr": "lun 11"} {
		if name, number := announce.LanguageOf(tag).Short(june(11)); name+" "+number != want {
			t.Errorf("%s: %s %s, want %s", tag, name, number, want)
		}
	}
	// Without a forecast there is a page all the same.
	told.Forecast, told.Decisions = nil, nil
	p := told.Public(june(11))
	if p.Opening != "It is too soon to say when our strawberries will be ripe." || p.AsOf != "As of Monday 11 June." || p.Hours != "Daily 8 to 12." || p.Language != "en-GB" {
		t.Errorf("without a forecast: %+v", p)
	}
}
