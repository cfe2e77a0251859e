package announce_test

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"ripetide/api/announce"
	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

func june(d int) weather.Date { return weather.DateOf(2018, time.June, d) }

// told returns a state with an opening range and, if asked, what was seen.
func told(asOf weather.Date, from, to weather.Date, bloom, ripe bool) announce.State {
	early := forecast.PlantingDates{Planting: "a-hill", Variety: "a", Stages: &forecast.StageDates{
		FirstRipe: forecast.DateRange{P10: from, P50: (from + to) / 2, P90: to},
		Peak:      forecast.DateRange{P50: (from+to)/2 + 4}, LastPick: forecast.DateRange{P50: (from+to)/2 + 9},
	}}
	if bloom {
		early.Bloom = &forecast.Bloom{Date: asOf - 20, From: forecast.BloomSighted}
	} else {
		early.Bloom = &forecast.Bloom{Date: asOf + 5, From: forecast.BloomForecast}
	}
	if ripe {
		seen := asOf
		early.Stages.FirstRipe.Seen = &seen
	}
	return announce.State{
		Farm: forecast.Farm{Name: "Hill Farm"}, Today: asOf, Varieties: map[string]string{"a": "Wrenlight"},
		Forecast: &forecast.Forecast{
			Season: 2018, AsOf: asOf, Plantings: []forecast.PlantingDates{early},
			Advice: &forecast.Advice{Opening: forecast.DayAdvice{Range: &forecast.SpanEnd{P10: from, P50: (from + to) / 2, P90: to}}},
		},
	}
}

// enough makes a state have enough ripe fruit today.
func enough(s announce.State) announce.State {
	s.Forecast.Days = []forecast.DaySupply{{Date: s.Today, Ready: 0.95}}
	return s
}

// past ends the season of a state so long before its today that it is over.
func past(s announce.State) announce.State {
	s.Forecast.SeasonSpan = &forecast.Span{Last: forecast.SpanEnd{P90: s.Today - 15}}
	return s
}

func decide(s announce.State, kind forecast.DecisionKind, d weather.Date) announce.State {
	s.Decisions = append(s.Decisions, forecast.Decision{Season: 2018, Kind: kind, Day: &d, Version: len(s.Decisions) + 1})
	return s
}

func TestCertaintyFollowsTheFieldAndTheSpread(t *testing.T) {
	t.Parallel()
	ready := enough(told(june(8), june(8), june(9), true, true))
	unready := told(june(8), june(10), june(12), true, true)
	unready.Forecast.Days = []forecast.DaySupply{{Date: june(8), Ready: 0.4}}
	for _, tt := range []struct {
		name string
		s    announce.State
		want announce.Certainty
	}{
		{"nothing has bloomed, however narrow", told(june(1), june(20), june(20), false, false), announce.Guess},
		{"bloom and a wide range", told(june(1), june(10), june(18), true, false), announce.Season},
		{"bloom and a week", told(june(1), june(10), june(17), true, false), announce.Week},
		{"bloom and a day, but nothing ripe seen", told(june(1), june(10), june(11), true, false), announce.Week},
		{"ripe fruit seen, and still a wide range", told(june(1), june(4), june(14), true, true), announce.Season},
		{"ripe fruit seen, and a narrow range", unready, announce.Day},
		{"ripe fruit seen, and enough today", ready, announce.Ripe},
	} {
		if got := tt.s.Certainty(); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

func TestOpeningSentences(t *testing.T) {
	t.Parallel()
	base := told(june(1), june(10), june(14), true, false) // A Friday.
	for _, tt := range []struct {
		name     string
		tag      string
		s        announce.State
		want     string
		wantSign string
	}{
		{"before bloom", "en-GB", told(june(1), june(20), june(25), false, false), "It is too soon to say when our strawberries will be ripe.", "later this season"},
		{"a part of the season", "en-GB", told(weather.DateOf(2018, time.May, 10), weather.DateOf(2018, time.May, 29), june(15), true, false), "We expect our first strawberries between late May and mid-June.", "between late May and mid-June"},
		{"a part of the season", "de", told(weather.DateOf(2018, time.May, 10), june(1), june(10), true, false), "Die ersten Erdbeeren erwarten wir Anfang Juni.", "Anfang Juni"},
		{"a week", "en-GB", base, "We expect to open between Sunday 10 June and Thursday 14 June.", "Sunday 10 June to Thursday 14 June"},
		{"a week", "en-US", base, "We expect to open between Sunday, June 10 and Thursday, June 14.", "Sunday, June 10 to Thursday, June 14"},
		{"a week", "fr", base, "Nous pensons ouvrir entre le dimanche 10 juin et le jeudi 14 juin.", "du dimanche 10 juin au jeudi 14 juin"},
		{"one day, undecided", "en-GB", told(june(1), june(12), june(12), true, false), "We expect to open between Monday 11 June and Wednesday 13 June.", "Monday 11 June to Wednesday 13 June"},
		{"decided, three weeks ahead", "en-GB", decide(base, forecast.DecideOpening, june(23)), "We expect our first strawberries in late June.", "in late June"},
		{"decided, eight days ahead", "de", decide(base, forecast.DecideOpening, june(9)), "Wir wollen in der Woche von Montag, 4. Juni bis Sonntag, 10. Juni öffnen.", "Montag, 4. Juni bis Sonntag, 10. Juni"},
		{"decided, a week ahead", "fr", decide(base, forecast.DecideOpening, june(8)), "Nous prévoyons d’ouvrir le vendredi 8 juin.", "à partir du vendredi 8 juin"},
		{"the first in French", "fr", decide(told(weather.DateOf(2018, time.May, 28), june(1), june(4), true, false), forecast.DecideOpening, june(1)), "Nous prévoyons d’ouvrir le vendredi 1er juin.", "à partir du vendredi 1er juin"},
		{"open", "en-US", decide(base, forecast.DecideOpening, june(1)), "We are open for picking.", "open now"},
		{"open, and closing far off", "en-GB", decide(decide(base, forecast.DecideOpening, june(1)), forecast.DecideClosing, june(9)), "We are open for picking.", "open now"},
		{"open, and closing near", "en-GB", decide(decide(base, forecast.DecideOpening, june(1)), forecast.DecideClosing, june(8)), "We are open for picking until Friday 8 June.", "open now"},
		{"the range has passed, enough is ripe, and nothing is decided", "en-GB", enough(told(june(8), june(4), june(7), true, true)), "The first strawberries are ripe, and we will tell you any day now when we open.", "any day now"},
		{"the range has passed, ripe fruit was seen, and nothing is decided", "de", told(june(8), june(4), june(7), true, true), "Die ersten Erdbeeren sind reif; wann wir öffnen, sagen wir in den nächsten Tagen.", "in den nächsten Tagen"},
		{"the range has passed, and nobody has seen anything ripe", "en-GB", told(june(8), june(4), june(7), true, false), "It is too soon to say when our strawberries will be ripe.", "later this season"},
		{"over, and never decided", "en-GB", past(told(june(30), june(1), june(3), true, true)), "Our season is over. Thank you for picking with us.", "over for this year"},
		{"over", "de", decide(decide(base, forecast.DecideOpening, june(1)), forecast.DecideClosing, june(1)-1), "Die Saison ist zu Ende. Danke, dass Sie bei uns gepflückt haben.", "für dieses Jahr vorbei"},
	} {
		l := announce.LanguageOf(tt.tag)
		if got := l.Opening(tt.s); got != tt.want {
			t.Errorf("%s, %s: %q, want %q", tt.name, tt.tag, got, tt.want)
		}
		if got := l.When(tt.s); got != tt.wantSign {
			t.Errorf("%s, %s, sign: %q, want %q", tt.name, tt.tag, got, tt.wantSign)
		}
	}
}

// dates finds what looks like a day of a month in any of the languages.
var dates = regexp.MustCompile(`(?i)\b(\d{1,2})(?:\.|er)? (april|avril|mai|may|june|juni|juin|july|juli|juillet|august|août)\b|\b(april|may|june|july|august) (\d{1,2})\b`)

var months = map[string]time.Month{
	"april": time.April, "avril": time.April, "may": time.May, "mai": time.May, "june": time.June, "juni": time.June, "juin": time.June,
	"july": time.July, "juli": time.July, "juillet": time.July, "august": time.August, "août": time.August,
}

func datesIn(t *testing.T, s string) (out []weather.Date) {
	t.Helper()
	for _, m := range dates.FindAllStringSubmatch(s, -1) {
		n, month := m[1], m[2]
		if n == "" {
			n, month = m[4], m[3]
		}
		d, err := strconv.Atoi(n)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, weather.DateOf(2018, months[strings.ToLower(month)], d))
	}
	return out
}

// Over a whole season of forecasts, and whatever was decided, no public sentence
// names a single day more than a week ahead, nor a probability, nor heat; and
// what is said of a range is the range.
func TestPublicWordsPromiseNothingFarOff(t *testing.T) {
	t.Parallel()
	demo, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	in, err := demo.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	single, ranges := 0, 0
	for asOf := weather.DateOf(2018, time.April, 20); asOf <= weather.DateOf(2018, time.July, 20); asOf += 3 {
		f, err := forecast.Compute(in, asOf)
		if err != nil {
			t.Fatal(err)
		}
		plain := announce.State{Farm: in.Farm, Forecast: f, Today: asOf, Varieties: map[string]string{}}
		states := []announce.State{plain}
		for _, ahead := range []weather.Date{0, 3, 7, 8, 14, 15, 30} {
			states = append(states, decide(plain, forecast.DecideOpening, asOf+ahead),
				decide(decide(plain, forecast.DecideOpening, asOf-9), forecast.DecideClosing, asOf+ahead),
				decide(plain, forecast.DecidePeakWeek, asOf+ahead))
		}
		for _, s := range states {
			for _, tag := range forecast.Languages {
				l := announce.LanguageOf(tag)
				for _, sentence := range []string{l.Opening(s), l.When(s), l.Peak(s), l.Ripe(s), l.Next(s), l.Caution()} {
					ds := datesIn(t, sentence)
					switch {
					case len(ds) == 1 && ds[0]-s.Today > announce.Near:
						t.Errorf("%s, %s: %q names a single day %d days ahead", asOf, tag, sentence, ds[0]-s.Today)
					case len(ds) == 1:
						single++
					case len(ds) == 2 && ds[0] >= ds[1]:
						t.Errorf("%s, %s: %q is no range", asOf, tag, sentence)
					case len(ds) == 2:
						ranges++
					case len(ds) > 2:
						t.Errorf("%s, %s: %q names %d days", asOf, tag, sentence, len(ds))
					}
					if strings.ContainsAny(sentence, "%{}°") || strings.Contains(sentence, "degree") {
						t.Errorf("%s, %s: %q", asOf, tag, sentence)
					}
				}
			}
			for _, text := range forecast.Texts {
				got := announce.Fill(text, forecast.Announcing{Language: "en-GB", Hours: "Daily 8 to 12"}, s)
				if got == "" || strings.ContainsAny(got, "{}%") || strings.Contains(got, "  ") {
					t.Errorf("%s: %s is %q", asOf, text, got)
				}
			}
		}
	}
	if single < 20 || ranges < 20 {
		t.Errorf("%d single days and %d ranges were told: the test sees too little", single, ranges)
	}
}

func TestEveryLanguageHasEveryPhrase(t *testing.T) {
	t.Parallel()
	for _, missing := range announce.Missing() {
		t.Error(missing)
	}
}

func TestTextsOfTheFarmAreChecked(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"{farm} opens {when}.":            "",
		"Bring {buckets}":                 "has {buckets}, which is none of",
		"We open {when":                   "has a brace",
		"80 % sure":                       `has "%"`,
		"80 percent sure":                 `has "percent"`,
		"Zu 80 Prozent sicher":            `has "prozent"`,
		"Reif nach 340 Gradtagen":         `has "gradtag"`,
		"640 GDD are reached":             `has "gdd"`,
		"Ripe after 340 degree-days":      `has "degree-day"`,
		"Guaranteed open on Saturday":     `has "guarantee"`,
		"We expect plenty. {opening} }":   "has a brace",
		"{opening}\n{hours}\n{caution}\n": "",
	} {
		got := announce.Check(text)
		if want == "" && got != "" || want != "" && !strings.HasPrefix(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// What a placeholder leaves empty leaves no space, and what a name holds is not
// taken for a placeholder.
func TestTextsAreFilled(t *testing.T) {
	t.Parallel()
	s := decide(told(june(1), june(10), june(14), true, false), forecast.DecideOpening, june(6))
	s.Farm.Name = "Farm {phone}"
	a := forecast.Announcing{Language: "en-GB", Phone: "555 0100", Texts: map[forecast.Text]string{
		forecast.TextSign: "{farm}: {ripe} {opening}\n{hours}\n{phone}",
	}}
	if got, want := announce.Fill(forecast.TextSign, a, s), "Farm {phone}: We plan to open on Wednesday 6 June.\n555 0100"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	open := decide(s, forecast.DecideOpening, june(1))
	open.Forecast.Plantings[0].Stages.FirstRipe.P50 = june(1)
	if got, want := announce.Fill(forecast.TextSign, a, open), "Farm {phone}: Ripe this week: Wrenlight. We are open for picking.\n555 0100"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// Whatever a farm writes, a text that passes the check is filled without a
// placeholder left, and one with a placeholder of no name does not pass.
func FuzzFill(f *testing.F) {
	for _, s := range []string{"{farm} {when}", "{opening}\n\n{hours}", "{day}", "}{", "80 %", "  {ripe}  {peak}\t{caution} "} {
		f.Add(s, "Hill {farm}")
	}
	s := decide(told(june(1), june(10), june(14), true, false), forecast.DecideOpening, june(6))
	f.Fuzz(func(t *testing.T, text, name string) {
		s := s
		s.Farm.Name = name
		got := announce.Fill(forecast.TextPost, forecast.Announcing{Texts: map[forecast.Text]string{forecast.TextPost: text}}, s)
		if announce.Check(text) == "" && !strings.Contains(name, "{") && !strings.Contains(name, "}") && strings.ContainsAny(got, "{}") {
			t.Errorf("%q was filled to %q", text, got)
		}
		if got != strings.TrimSpace(got) {
			t.Errorf("%q has space around it", got)
		}
	})
}

// What stands in a block that a spray keeps closed is not offered on the days on
// which it does.
func TestShutBlocksAreNotOffered(t *testing.T) {
	t.Parallel()
	s := decide(told(june(10), june(8), june(10), true, true), forecast.DecideOpening, june(9)) // Until the 18th.
	l := announce.LanguageOf("en-GB")
	if got := l.Ripe(s); got != "Ripe this week: Wrenlight." {
		t.Fatalf("open, %q", got)
	}
	for through, want := range map[weather.Date]string{june(9): "Ripe this week: Wrenlight.", june(12): "Ripe this week: Wrenlight.", june(15): "Ripe this week: Wrenlight.", june(16): "", june(30): ""} {
		s.Shut = map[string]weather.Date{"a-hill": through}
		if got := l.Ripe(s); got != want {
			t.Errorf("shut through %s: %q, want %q", through, got, want)
		}
	}
	farm := announce.Told{
		Farm: s.Farm, Forecast: s.Forecast, Decisions: s.Decisions, Varieties: s.Varieties, Shut: map[string]weather.Date{"a-hill": june(12)},
		Announcing: forecast.Announcing{Language: "en-GB", Public: forecast.PublicPage{On: true, Varieties: true}},
	}
	p := farm.Public(june(10))
	if len(p.Ripe) != 1 {
		t.Fatalf("everybody sees %+v", p.Ripe)
	}
	for i, on := range p.Ripe[0].On {
		if day := june(10 + i); on != (day > june(12)) {
			t.Errorf("%s: offered is %v", day, on)
		}
	}
}

// Until the farm has decided, when it will open is something to come.
func TestEverybodySeesAnOpeningToComeOnlyIfTheFarmAllows(t *testing.T) {
	t.Parallel()
	s := told(june(1), june(10), june(14), true, false)
	for _, ahead := range []bool{false, true} {
		farm := announce.Told{
			Farm: s.Farm, Forecast: s.Forecast, Varieties: s.Varieties,
			Announcing: forecast.Announcing{Language: "en-GB", Public: forecast.PublicPage{On: true, Ahead: ahead}},
		}
		want := "We will tell you here when we open."
		if ahead {
			want = announce.LanguageOf("en-GB").Opening(s)
		}
		if got := farm.Public(june(1)).Opening; got != want {
			t.Errorf("ahead %v: %q, want %q", ahead, got, want)
		}
		farm.Decisions = decide(s, forecast.DecideOpening, june(5)).Decisions
		if got := farm.Public(june(1)).Opening; !strings.Contains(announce.LanguageOf("en-GB").Opening(decide(s, forecast.DecideOpening, june(5))), got) {
			t.Errorf("decided, %q", got)
		}
	}
}
