package announce

import (
	"cmp"
	"slices"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Told is all that a farm's calendar, its feed of changes and what everybody may
// see are made from.
type Told struct {
	Farm       forecast.Farm
	Announcing forecast.Announcing
	Decisions  []forecast.Decision     // Of all seasons, all versions, by season, kind and version.
	Forecast   *forecast.Forecast      // The latest; nil: there is none.
	MadeAt     time.Time               // Of the forecast; zero without one.
	Varieties  map[string]string       // Names by identifier.
	Shut       map[string]weather.Date // As in State.
}

// Language returns the language that the farm speaks in public.
func (t *Told) Language() *Language { return LanguageOf(t.Announcing.LanguageOf(t.Farm.Units)) }

// State returns what the sentences of a day are made from. A forecast of another
// season says nothing about this one, whatever was told of it.
func (t *Told) State(today weather.Date) State {
	season := forecast.SeasonOf(today, t.Farm.Southern())
	s := State{Farm: t.Farm, Forecast: t.Forecast, Decisions: t.Decisions, Varieties: t.Varieties, Today: today, Shut: t.Shut}
	if t.Forecast == nil || t.Forecast.Season != season {
		s.Forecast = &forecast.Forecast{Season: season, AsOf: today}
	}
	return s
}

// Public is what everybody may see on a day, in the farm's language: no more
// than the farm allows.
type Public struct {
	Language string // BCP 47.
	Farm     string
	Title    string
	Opening  string // The sentence on when it opens.
	Peak     string // "": not told.
	Ripe     []RipeDays
	Next     []string // Names of varieties.
	Hours    string
	Where    string
	Phone    string
	Website  string
	Caution  string
	AsOf     string
	Days     []RipeDay // Of Ripe, the first is today.
	Labels   Labels
}

// RipeDays is a variety that is ripe in the coming days.
type RipeDays struct {
	Name string
	On   []bool // By day.
}

// RipeDay is one of the coming days.
type RipeDay struct {
	Date         weather.Date
	Name, Number string // In few letters.
}

// Labels are what stands above or beside things.
type Labels struct {
	Ripe, Next, Hours, Where, Phone, Website, Feed string
	Beads                                          string // What the beads of the picture mean.
}

// Public returns what everybody may see on a day. It asks nothing about
// [forecast.PublicPage.On].
func (t *Told) Public(today weather.Date) Public {
	l, s, may := t.Language(), t.State(today), t.Announcing.Public
	p := Public{
		Language: l.Tag, Farm: t.Farm.Name, Title: l.tell(pageTitle), Opening: l.Opening(s),
		Hours: sentence(t.Announcing.Hours), Where: sentence(t.Announcing.Where), Phone: t.Announcing.Phone, Website: t.Announcing.Website,
		Caution: l.Caution(), AsOf: l.tell(asOf, "a", l.Date(s.Forecast.AsOf)),
		Labels: Labels{
			Ripe: l.tell(ripeHead), Next: l.tell(nextHead), Hours: l.tell(hoursHead), Where: l.tell(whereHead),
			Phone: l.tell(phoneHead), Website: l.tell(websiteHead), Feed: l.tell(feedHead), Beads: l.tell(beadsMean),
		},
	}
	// When it will open is something to come, until the farm has decided it.
	if _, told := s.decided(forecast.DecideOpening); !told && !may.Ahead && !s.IsOver() {
		p.Opening = l.say(untold)
	}
	// A week that the farm has decided to tell is told; one that was merely
	// advised is something to come.
	if _, told := s.decided(forecast.DecidePeakWeek); told || may.Ahead {
		p.Peak = l.Peak(s)
	}
	if s.IsOver() { // No fruit is still to come then, whatever was expected.
		p.Peak, p.Hours, p.Caution = "", "", ""
	}
	if !may.Varieties || !s.IsOpen() {
		return p
	}
	for d := today; d < today+thisWeek; d++ {
		name, number := l.Short(d)
		p.Days = append(p.Days, RipeDay{d, name, number})
	}
	for _, name := range s.RipeThisWeek() {
		p.Ripe = append(p.Ripe, RipeDays{name, s.ripeOn(name, p.Days)})
	}
	if may.Ahead {
		p.Next = s.ComingNext()
	}
	return p
}

// ripeOn says on which days something of a variety stands within its picking
// window, by its middle dates.
func (s State) ripeOn(name string, days []RipeDay) []bool {
	on := make([]bool, len(days))
	for i, day := range days {
		on[i] = slices.Contains(s.names(func(planting string, d forecast.StageDates) bool {
			return max(d.FirstRipe.P50, s.opensAgain(planting)) <= day.Date && day.Date <= d.LastPick.P50
		}), name)
	}
	return on
}

// season is what a farm has decided of one kind in one season.
type season struct {
	year     int
	kind     forecast.DecisionKind
	versions []forecast.Decision // Never empty, the newest last.
}

// decisions gathers the versions by season and kind, in the order of seasons and
// of a season.
func (t *Told) decisions() (out []season) {
	for _, d := range t.Decisions {
		i := slices.IndexFunc(out, func(s season) bool { return s.year == d.Season && s.kind == d.Kind })
		if i < 0 {
			i = len(out)
			out = append(out, season{year: d.Season, kind: d.Kind})
		}
		out[i].versions = append(out[i].versions, d)
	}
	slices.SortStableFunc(out, func(a, b season) int {
		return cmp.Or(a.year-b.year, slices.Index(forecast.DecisionKinds, a.kind)-slices.Index(forecast.DecisionKinds, b.kind))
	})
	return out
}
