package pages

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// addSetup adds the pages of the first run.
func (p *Pages) addSetup() {
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		p.page(method, "/setup", api.Owner, p.newFarm)
		p.page(method, "/f/:farm/book/farm", api.Owner, p.editFarm)
	}
	p.page(http.MethodGet, "/f/:farm/setup", api.Owner, p.steps)
}

// newFarm sets up a farm.
func (p *Pages) newFarm(v *visit) error {
	f := p.farmForm(v, forecast.Farm{GapProbability: forecast.DefaultGapProbability})
	f.page.Submit, f.page.Back = "Set up the farm", ""
	f.page.Intro = "First the farm itself: its name, where it lies, and how its people write numbers. All of it can be changed later."
	if !f.posted {
		return p.show(f, "book-form", f.page.Heading)
	}
	farm := p.readFarm(f, forecast.Farm{GapProbability: forecast.DefaultGapProbability})
	if !f.faulty() {
		if _, err := p.Store.Farm(v.Request().Context(), farm.ID); err == nil {
			f.fault("farm", "is taken by another farm: choose a different one")
		} else if !errors.Is(err, forecast.ErrFarmNotFound) {
			return err
		}
	}
	if f.faulty() {
		return p.show(f, "book-form", f.page.Heading)
	}
	if _, err := p.Store.PutFarm(v.Request().Context(), farm, v.who.By(), p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+farm.ID+"/setup")
}

// editFarm changes what is known of a farm.
func (p *Pages) editFarm(v *visit) error {
	f := p.farmForm(v, v.farm)
	if f.posted {
		farm := p.readFarm(f, v.farm)
		if !f.faulty() {
			_, err := p.Store.PutFarm(v.Request().Context(), farm, v.who.By(), p.Now())
			if err == nil {
				return v.Redirect(http.StatusSeeOther, f.page.Back)
			}
			if err := f.refused(err, farmFields); err != nil {
				return err
			}
		}
	}
	return p.show(f, "book-form", f.page.Heading)
}

// farmFields are the form's names for what the domain calls otherwise.
var farmFields = map[string]string{
	"thin_kg_per_day": "thin", "gap_probability": "gap",
	"opening.ready_kg": "ready", "opening.ready_share": "share", "opening.confidence": "sure", "opening.notice_days": "notice",
	"opening.first_varieties": "firsts", "opening.channels": "channels", "holidays": "holidays",
	"opening.ready_kg_on.monday": "ready_on", "opening.ready_kg_on.tuesday": "ready_on", "opening.ready_kg_on.wednesday": "ready_on",
	"opening.ready_kg_on.thursday": "ready_on", "opening.ready_kg_on.friday": "ready_on", "opening.ready_kg_on.saturday": "ready_on", "opening.ready_kg_on.sunday": "ready_on",
}

// farmForm asks about a farm, new if its ID is empty.
func (p *Pages) farmForm(v *visit, farm forecast.Farm) *form {
	fresh := farm.ID == ""
	f := newForm(v, "The farm", "Save", "/f/"+farm.ID+"/book#farm")
	f.page.Script = "zone.js"
	if fresh {
		f.page.Heading = "Set up your farm"
	}
	units := farm.Units
	if f.posted {
		units = forecast.Units(v.FormValue("units"))
	}
	f.add(field{Name: "name", Label: "Name", Value: farm.Name})
	if fresh {
		f.add(field{
			Name: "farm", Label: "Short name, for addresses", Optional: true, Hint: "made from the name",
			Help: "Small letters, digits and hyphens. It stays for good; left empty, it is made from the name.",
		})
	}
	lat, lon := "", ""
	if !fresh {
		lat, lon = digits(farm.Latitude), digits(farm.Longitude)
	}
	f.add(field{
		Name: "latitude", Label: "Latitude", Value: lat, Hint: "42.3",
		Help: "Degrees north; south with a minus or an S. A pair copied from a map may go in here whole.",
	})
	f.add(field{Name: "longitude", Label: "Longitude", Value: lon, Hint: "-83.7", Help: "Degrees east; west with a minus or a W: 83.7 W."})
	zone := f.add(field{Name: "time_zone", Label: "Time zone", Kind: "select", Value: farm.TimeZone, Help: "It decides when a day ends at the farm."})
	zone.Groups = zoneGroups(zone.Value)
	f.add(field{
		Name: "units", Label: "Units", Kind: "select", Value: string(units),
		Groups: choices("", "Choose", "metric", "°C, kg, m² and hectares; 14 June", "us", "°F, lb, acres and feet; June 14"),
	})
	thin := field{
		Name: "thin", Label: "Least ripe fruit that serves a day's crowd", Mode: "decimal", Optional: true,
		Help: "In kg or, with US units, lb. Days with less are told as thin. Most farms learn this number in their first season here.",
	}
	if !fresh {
		thin.Unit = weightUnit(farm.Units).name
	}
	if farm.ThinKgPerDay > 0 {
		thin.Value = brief(farm.ThinKgPerDay / weightUnit(farm.Units).factor)
	}
	f.add(thin)
	if fresh {
		return f
	}
	o := farm.Opening
	f.section("When gaps are told", "")
	f.add(field{
		Name: "gap", Label: "Tell of a gap or a thin stretch when it is at least this likely", Value: brief(farm.GapProbability * 100), Unit: "%", Mode: "decimal", Range: "must be between 1 and 100",
		Help: "50 means: more likely than not. A lower figure warns sooner and is wrong more often.",
	})
	open := f.section("What an opening day needs", "Left empty, the usual is taken.")
	open.Fold = true
	shown := func(x, factor float64) string {
		if x == 0 {
			return ""
		}
		return brief(x / factor)
	}
	f.add(field{Name: "ready", Label: "Ripe fruit standing", Value: shown(o.ReadyKg, weightUnit(farm.Units).factor), Unit: weightUnit(farm.Units).name, Mode: "decimal", Optional: true})
	f.add(field{Name: "share", Label: "Or this share of the first variety's crop", Value: shown(o.ReadyShare, 0.01), Range: "must be between 0 and 100", Unit: "%", Mode: "decimal", Optional: true})
	f.add(field{Name: "sure", Label: "How sure of it the farm wants to be", Value: shown(o.Confidence, 0.01), Range: "must be between 0 and 100", Unit: "%", Mode: "decimal", Optional: true})
	days := field{Name: "weekdays", Label: "Days on which the farm opens", Kind: "checks", Groups: []optionGroup{{}}, Help: "None chosen: every day."}
	for i := range 7 {
		w := time.Weekday((i + 1) % 7)
		if farm.Units == forecast.US {
			w = time.Weekday(i)
		}
		days.Groups[0].Options = append(days.Groups[0].Options, option{strconv.Itoa(int(w)), w.String(), slices.Contains(o.Weekdays, w)})
	}
	f.add(days)
	f.add(field{Name: "notice", Label: "Notice before opening", Value: shown(float64(o.NoticeDays), 1), Unit: "days", Mode: "numeric", Optional: true})
	openingLists(f, farm)
	return f
}

// readFarm reads the answers into a farm; what the form does not ask stays.
func (p *Pages) readFarm(f *form, farm forecast.Farm) forecast.Farm {
	fresh := farm.ID == ""
	was := farm.Units
	farm.Name, farm.Units, farm.TimeZone = f.value("name"), forecast.Units(f.value("units")), f.value("time_zone")
	if fresh {
		if farm.ID = f.value("farm"); farm.ID == "" {
			farm.ID = freeSlug(farm.Name, "farm", func(string) bool { return false })
		}
		was = farm.Units
		f.units = farm.Units // Numbers are read as the farm writes them.
	}
	lat, lon := f.fields["latitude"], f.fields["longitude"]
	lat.Value, lon.Value = pair(lat.Value, lon.Value)
	var fault string
	farm.Latitude, fault = readDegrees(lat.Value, "N", "S", was)
	f.fault("latitude", fault)
	farm.Longitude, fault = readDegrees(lon.Value, "E", "W", was)
	f.fault("longitude", fault)
	if farm.TimeZone == "" {
		f.fault("time_zone", "must be chosen")
	} else if loc, err := farm.Location(); err == nil && f.fields["longitude"].Fault == "" && !zoneFits(loc, farm.Longitude, p.Now()) {
		f.fault("longitude", fmt.Sprintf("cannot be: %s is far from %s. For west, write -%s or %s W",
			place(farm.Latitude, farm.Longitude), farm.TimeZone, strings.TrimLeft(lon.Value, "+-"), strings.TrimLeft(lon.Value, "+-")))
	}
	if farm.Units == "" {
		f.fault("units", "must be chosen")
	}
	farm.ThinKgPerDay = f.keep("thin", weightUnit(was).factor, farm.ThinKgPerDay)
	if !fresh {
		farm.GapProbability = f.keep("gap", 0.01, farm.GapProbability)
		o := &farm.Opening
		o.ReadyKg = f.keep("ready", weightUnit(was).factor, o.ReadyKg)
		o.ReadyShare = f.keep("share", 0.01, o.ReadyShare)
		o.Confidence = f.keep("sure", 0.01, o.Confidence)
		days := f.number("notice", 1, 0)
		if days != float64(int(days)) {
			f.fault("notice", "must be whole days")
		}
		o.NoticeDays = int(days)
		readOpeningLists(f, &farm, was)
		o.Weekdays = nil
		for w := time.Sunday; w <= time.Saturday; w++ {
			for _, x := range f.fields["weekdays"].Groups[0].Options {
				if x.Chosen && x.Value == strconv.Itoa(int(w)) {
					o.Weekdays = append(o.Weekdays, w)
				}
			}
		}
	}
	f.domain(farm.Validate(), farmFields)
	return farm
}

// keep is number, but an amount that nobody changed stays exactly as it is on
// record; an optional one that is empty is not set.
func (f *form) keep(name string, factor, on float64) float64 {
	if on != 0 && f.value(name) == brief(on/factor) {
		return on
	}
	return f.number(name, factor, 0)
}

// step is one bead on the wire of the set-up.
type step struct {
	Title  string
	State  string // In words: "done", "missing", "would help", "can wait".
	Bead   string // How it is drawn: full, hollow, faint.
	Found  string // What there is.
	Matter string // What is missing and how much it matters.
	Links  []link
}

type link struct{ Text, To string }

type stepsPage struct {
	Steps    []step
	Lacking  []string // What the first forecast still needs, in words.
	NoDates  bool     // One that is made now has no dates, for want of bloom.
	Forecast bool     // One was made already.
	Left     int      // Steps that are not done.
}

const (
	yearsNeeded = 5
	yearsGood   = 20
)

// steps lists what is set up, what is missing and how much that matters.
func (p *Pages) steps(v *visit) error {
	ctx, to := v.Request().Context(), "/f/"+v.farm.ID
	in, err := p.laidOut(v)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	season := forecast.SeasonOf(today, v.farm.Southern())
	var page stepsPage
	page.add(step{
		Title: "The farm", State: "done", Found: fmt.Sprintf("%s, %s, %s.", v.farm.Name, place(v.farm.Latitude, v.farm.Longitude), v.farm.TimeZone),
		Links: []link{{"Change it", to + "/book/farm"}},
	})
	if err := p.stationSteps(&page, v, in); err != nil {
		return err
	}

	varieties := step{Title: "Varieties", State: "done", Found: count(len(in.Varieties), "variety", "varieties") + ".", Links: []link{
		{"Paste or upload a list", to + "/book/list"}, {"Add a variety", to + "/book/variety?from=setup"},
	}}
	if len(in.Varieties) == 0 {
		varieties.State, varieties.Found = "missing", ""
		varieties.Matter = "Needed. A name and whether it ripens early, mid or late is enough. One list can hold varieties and plantings together."
		page.Lacking = append(page.Lacking, "a variety")
	}
	page.add(varieties)

	bearing, standing := plantingsOf(in, season, today)
	plantings := step{Title: "Plantings", State: "done", Links: []link{{"Paste or upload a list", to + "/book/list"}}}
	if len(in.Varieties) > 0 && len(in.Records) > 0 {
		plantings.Links = append(plantings.Links, link{"Add a planting", to + "/book/planting?from=setup"})
	}
	plantings.Found = fmt.Sprintf("%s, %d of them with a crop in %d.", count(standing, "planting stands", "plantings stand"), len(bearing), season)
	switch {
	case standing == 0:
		plantings.State, plantings.Found = "missing", ""
		plantings.Matter = "Needed. A planting is one variety in one block; each gets dates of its own."
	case len(bearing) == 0:
		plantings.State = "missing"
		plantings.Matter = fmt.Sprintf("None bears in %d: a planting bears from the year after it was set.", season)
	}
	if len(bearing) == 0 {
		page.Lacking = append(page.Lacking, fmt.Sprintf("a planting that bears in %d", season))
	}
	page.add(plantings)
	bloom := bloomStep(in, bearing, season, today, to)
	page.add(bloom)
	page.NoDates = bloom.State == "missing"
	page.add(pastStep(in, season, to))

	_, err = p.Store.LatestForecast(ctx, v.farm.ID)
	if err != nil && !errors.Is(err, forecast.ErrForecastNotFound) {
		return err
	}
	page.Forecast = err == nil
	return p.render(v, http.StatusOK, v, "setup", "Set up", page)
}

// laidOut returns what is set up on a farm and what was seen there; of its
// stations only what they are.
func (p *Pages) laidOut(v *visit) (in forecast.Inputs, err error) {
	ctx, farm := v.Request().Context(), v.farm.ID
	in.Farm = v.farm
	if in.Varieties, err = p.Store.Varieties(ctx, farm); err != nil {
		return in, err
	}
	if in.Plantings, err = p.Store.Plantings(ctx, farm); err != nil {
		return in, err
	}
	if in.Sightings, err = p.sightings(v); err != nil {
		return in, err
	}
	stations, err := p.Store.Stations(ctx, farm)
	for _, s := range stations {
		in.Records = append(in.Records, forecast.Record{Station: s})
	}
	return in, err
}

func (s *stepsPage) add(x step) {
	switch x.State {
	case "done":
		x.Bead = "full"
	case "missing", "would help":
		x.Bead = "hollow"
		s.Left++
	default:
		x.Bead = "faint"
	}
	s.Steps = append(s.Steps, x)
}

// stationSteps are the steps of the station and of its weather.
func (p *Pages) stationSteps(page *stepsPage, v *visit, in forecast.Inputs) error {
	to := "/f/" + v.farm.ID
	station := step{Title: "A station", State: "done", Links: []link{{"Add another", to + "/book/station?from=setup"}}}
	record := step{Title: "Its weather", State: "missing"}
	if len(in.Records) == 0 {
		station.State, station.Links = "missing", []link{{"Add the station", to + "/book/station?from=setup"}}
		station.Matter = "Needed. It is where temperature is measured: a logger in the field, or the nearest public station."
		record.Matter = fmt.Sprintf("Needed: highest and lowest temperature of each day, %d past years at least, since past years stand in for the weather to come. With %d or more the ranges are honest about odd years. First add the station.", yearsNeeded, yearsGood)
		page.Lacking = append(page.Lacking, "a station", "its weather")
		page.add(station)
		page.add(record)
		return nil
	}
	var names []string
	best, stale := 0, 0
	for _, r := range in.Records {
		names = append(names, r.Station.Name)
		record.Links = append(record.Links, link{"Weather of " + r.Station.Name, to + "/weather/" + r.Station.ID})
		k, err := p.known(v, r.Station.ID)
		if err != nil {
			return err
		}
		if h := k.health; h.Leaning.PastSeasons >= best {
			best, stale = h.Leaning.PastSeasons, h.DaysOld
		}
	}
	station.Found = strings.Join(names, ", ") + "."
	if best > 0 {
		record.Found = count(best, "past season", "past seasons") + " on record."
	}
	switch {
	case best == 0:
		record.Matter = fmt.Sprintf("Needed: highest and lowest temperature of each day, %d past years at least, since past years stand in for the weather to come. With %d or more the ranges are honest about odd years.", yearsNeeded, yearsGood)
	case best < yearsNeeded:
		record.Matter = fmt.Sprintf("Needed: %d more. Without %d past years nothing stands in for the weather to come.", yearsNeeded-best, yearsNeeded)
	case best < yearsGood:
		record.State = "done"
		record.Matter = fmt.Sprintf("Enough to begin with. %d or more would know more odd years: until then the ranges may be a little narrow.", yearsGood)
	default:
		record.State = "done"
	}
	if best < yearsNeeded {
		page.Lacking = append(page.Lacking, fmt.Sprintf("%d past years of weather", yearsNeeded))
	}
	if best >= yearsNeeded && stale > 3 {
		record.Matter = strings.TrimSpace(record.Matter + fmt.Sprintf(" The last %d days are missing; other years stand in for them, and a few degrees too many or too few move every date by days.", stale))
	}
	page.add(station)
	page.add(record)
	return nil
}

// plantingsOf returns the plantings with a crop in a season, and how many
// stand.
func plantingsOf(in forecast.Inputs, season int, today weather.Date) (bearing []forecast.Planting, standing int) {
	for _, x := range in.Plantings {
		if x.RemovedOn == nil || today < *x.RemovedOn {
			standing++
		}
		if x.Bears(season, today) {
			bearing = append(bearing, x)
		}
	}
	return bearing, standing
}

// bloomStep tells of which plantings bloom was entered.
func bloomStep(in forecast.Inputs, bearing []forecast.Planting, season int, today weather.Date, to string) step {
	seen, ever := map[string]bool{}, false
	for _, s := range in.Sightings {
		if s.Seen && forecast.SeasonOf(s.Date, in.Farm.Southern()) == season {
			seen[s.Planting] = true
		}
		ever = ever || s.Seen && (s.Stage == forecast.Bloom10 || s.Stage == forecast.BloomFull)
	}
	n := 0
	for _, x := range bearing {
		if seen[x.ID] {
			n++
		}
	}
	st := step{Title: fmt.Sprintf("Bloom in %d", season), State: "done", Links: []link{{"Enter what was seen", to + "/book/seen/" + strconv.Itoa(season)}}}
	first, _ := forecast.SeasonBounds(season, in.Farm.Southern())
	if len(bearing) > 0 {
		st.Found = fmt.Sprintf("Entered for %d of %s.", n, count(len(bearing), "planting", "plantings"))
	}
	switch {
	case n == len(bearing) && n > 0:
	case today < first+60:
		st.State, st.Found = "can wait", ""
		st.Matter = "Nothing to do before spring. Until bloom is seen it is forecast too, and every range is wider for it."
		if !ever {
			st.Matter = "Nothing to do before spring: the clock starts at bloom. Until one is seen, or that of a past season is entered, a forecast has no dates."
		}
	case n == 0 && !ever:
		st.State = "missing"
		st.Matter = "Needed for dates: the clock starts on the day on which about one plant in ten has an open flower, and no bloom of any season is on record to forecast it from. That of one planting is enough to begin; each further one narrows its ranges. If there is no flower yet, enter that of a past season."
	default:
		st.State = "would help"
		st.Matter = "Not needed, but nothing else narrows the ranges as much: the clock starts on the day on which about one plant in ten has an open flower. Where it is not entered it is forecast from the warmth of spring, and every date may be out by several days more. If there is no flower yet, this can wait."
	}
	return st
}

// pastStep tells of how many past seasons there are dates.
func pastStep(in forecast.Inputs, season int, to string) step {
	seasons := map[int]bool{}
	for _, s := range in.Sightings {
		if y := forecast.SeasonOf(s.Date, in.Farm.Southern()); s.Seen && s.Stage >= forecast.FirstRipe && y < season {
			seasons[y] = true
		}
	}
	st := step{Title: "Past seasons' dates", State: "done", Found: count(len(seasons), "past season", "past seasons") + " with ripe fruit on record.", Links: []link{
		{"Enter a season", to + "/book/seen/" + strconv.Itoa(season-1)}, {"Paste a list from the notebook", to + "/book/seen"},
	}}
	if len(seasons) == 0 {
		st.State, st.Found = "would help", ""
		st.Matter = "Not needed, but the first forecast leans on it: without any, a variety is taken for a usual one of its ripening class, which can be a week out. Two or three seasons with bloom and first ripe, from notebook, till tape or memory of a weekend, take much of that away."
	} else if len(seasons) < 3 {
		st.Matter = "A few more would narrow the ranges further."
	}
	return st
}
