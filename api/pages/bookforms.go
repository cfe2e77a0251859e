package pages

import (
	"net/http"
	"slices"
	"strings"

	"ripetide/forecast"
	"ripetide/weather"
)

// after returns where a form leads when it is saved: back to the set-up if it
// was reached from there, else to its part of the Book.
func after(v *visit, part string) string {
	if v.QueryParam("from") == "setup" {
		return "/f/" + v.farm.ID + "/setup"
	}
	return "/f/" + v.farm.ID + "/book#" + part
}

// editStation changes a station, or adds one where the address names none.
func (p *Pages) editStation(v *visit) error {
	ctx, farm := v.Request().Context(), v.farm.ID
	all, err := p.Store.Stations(ctx, farm)
	if err != nil {
		return err
	}
	id := v.Param("station")
	s := weather.Station{Latitude: v.farm.Latitude, Longitude: v.farm.Longitude}
	if id != "" {
		if s, err = p.Store.Station(ctx, farm, id); err != nil {
			return err
		}
	}
	height := heightUnit(v.farm.Units)
	f := newForm(v, "The station "+s.Name, "Save", after(v, "stations"))
	if id == "" {
		f.page.Heading, f.page.Submit = "Add a station", "Add the station"
		f.page.Intro = "A station is a place where temperature is measured: a logger in the field, or the nearest public station."
	}
	f.add(field{Name: "name", Label: "Name", Value: s.Name, Hint: "Post by the gate"})
	f.add(field{Name: "latitude", Label: "Latitude", Value: digits(s.Latitude), Help: "At first the farm's own place."})
	f.add(field{Name: "longitude", Label: "Longitude", Value: digits(s.Longitude)})
	up := ""
	if id != "" {
		up = digits(s.Elevation / height.factor)
	}
	f.add(field{Name: "elevation_m", Label: "Above the sea", Value: up, Unit: height.name, Mode: "decimal", Help: "Within a few tens of " + height.name + " is good enough."})
	others := []string{"", "None"}
	for _, o := range all {
		if o.ID != id {
			others = append(others, o.ID, o.Name)
		}
	}
	if len(others) > 2 {
		f.add(field{
			Name: "stand_in", Label: "Stand-in", Kind: "select", Value: s.StandIn, Groups: choices(others...),
			Help: "A station nearby with a longer record. It fills holes, shifted by how the two usually differ, and lends past years.",
		})
	}
	f.add(field{
		Name: "suspects", Label: "Days that look wrong", Kind: "select", Value: string(s.Suspects),
		Groups: choices(string(weather.LeaveOutSuspects), "Leave them out until somebody has judged them", string(weather.UseSuspects), "Use them until somebody has judged them"),
	})
	if f.posted {
		s.Name = f.value("name")
		if reason := forecast.ValidName(s.Name); reason != "" {
			f.fault("name", reason)
		}
		lat, lon := f.fields["latitude"], f.fields["longitude"]
		lat.Value, lon.Value = pair(lat.Value, lon.Value)
		var fault string
		s.Latitude, fault = readDegrees(lat.Value, "N", "S", f.units)
		f.fault("latitude", fault)
		s.Longitude, fault = readDegrees(lon.Value, "E", "W", f.units)
		f.fault("longitude", fault)
		if !(-90 <= s.Latitude && s.Latitude <= 90) {
			f.fault("latitude", "must be between -90 and 90")
		}
		if !(-180 <= s.Longitude && s.Longitude <= 180) {
			f.fault("longitude", "must be between -180 and 180")
		}
		if id == "" || f.value("elevation_m") != up {
			s.Elevation = f.number("elevation_m", height.factor, 0)
		}
		if !(-450 <= s.Elevation && s.Elevation <= 6000) {
			f.fault("elevation_m", "must be between "+figure(-450/height.factor)+" and "+figure(6000/height.factor)+" "+height.name)
		}
		if x := f.fields["stand_in"]; x != nil {
			s.StandIn = x.Value
			if s.StandIn != "" && !slices.ContainsFunc(all, func(o weather.Station) bool { return o.ID == s.StandIn && o.ID != id }) {
				f.fault("stand_in", "is not a station of this farm")
			}
		}
		s.Suspects = weather.SuspectRule(f.value("suspects"))
		if s.Suspects != weather.LeaveOutSuspects && s.Suspects != weather.UseSuspects {
			f.fault("suspects", "must be chosen")
		}
		if id == "" {
			s.ID = freeSlug(s.Name, "station", func(slug string) bool {
				return slices.ContainsFunc(all, func(o weather.Station) bool { return o.ID == slug })
			})
		}
		if !f.faulty() {
			if _, err := p.Store.PutStation(ctx, farm, s, v.who.By(), p.Now()); err != nil {
				return err
			}
			return v.Redirect(http.StatusSeeOther, f.page.Back)
		}
	}
	return p.show(f, "book-form", f.page.Heading)
}

// varietyFields are the form's names for what the domain calls otherwise.
var varietyFields = map[string]string{
	"requirement.first_ripe": "first_ripe", "requirement.peak": "peak", "requirement.last_pick": "last_pick", "base_c": "base",
}

// classOptions are the classes to choose from.
func classOptions() []string {
	out := []string{"", "Choose"}
	for c, name := range className {
		out = append(out, forecast.Class(c).String(), strings.ToUpper(name[:1])+name[1:])
	}
	return out
}

// editVariety changes a variety, or adds one where the address names none.
func (p *Pages) editVariety(v *visit) error {
	ctx, farm := v.Request().Context(), v.farm.ID
	all, err := p.Store.Varieties(ctx, farm)
	if err != nil {
		return err
	}
	id, x := v.Param("variety"), forecast.Variety{}
	class := ""
	if id != "" {
		if x, err = p.Store.Variety(ctx, farm, id); err != nil {
			return err
		}
		class = x.Ripens.String()
	}
	f := newForm(v, "The variety "+x.Name, "Save", after(v, "varieties"))
	if id == "" {
		f.page.Heading, f.page.Submit = "Add a variety", "Add the variety"
	}
	if id != "" {
		if f.page.Told, err = p.learned(v, id); err != nil {
			return err
		}
	}
	f.add(field{Name: "name", Label: "Name", Value: x.Name})
	f.add(field{Name: "ripens", Label: "Ripens", Kind: "select", Value: class, Groups: choices(classOptions()...), Help: "Among June-bearers. Its own seasons soon overrule this."})
	own := f.section("The farm's own belief about its heat", "Degree-days from bloom to each stage, if the farm knows them, and how they were summed. They are taken instead of those of the class, as a belief that the seasons may still change. Leave all empty otherwise.")
	own.Fold = true
	us := v.farm.Units == forecast.US
	perDay, degree := 1.0, "°C"
	if us {
		perDay, degree = 5.0/9, "°F"
	}
	sum := func(name, label string, c float64) {
		value := ""
		if x.Requirement != nil {
			value = digits(c / perDay)
		}
		f.add(field{
			Name: name, Label: label, Value: value, Unit: degree + "·d", Mode: "decimal", Optional: true,
			Range: "must be between " + figure(50/perDay) + " and " + figure(3000/perDay),
		})
	}
	r := forecast.Requirement{Method: forecast.DefaultMethod}
	if x.Requirement != nil {
		r = *x.Requirement
		own.Open = true
	}
	sum("first_ripe", "Bloom to first ripe", r.FirstRipe)
	sum("peak", "Bloom to peak", r.Peak)
	sum("last_pick", "Bloom to last pick", r.LastPick)
	base := digits(r.Method.Base)
	if us {
		base = digits(r.Method.Base*9/5 + 32)
	}
	low, high := "-10", "20"
	if us {
		low, high = "14", "68"
	}
	f.add(field{Name: "base", Label: "Base temperature", Value: base, Unit: degree, Mode: "decimal", Range: "must be between " + low + " and " + high})
	kinds := []string{}
	for _, k := range []forecast.Kind{forecast.SingleSine, forecast.DoubleSine, forecast.SingleTriangle, forecast.DoubleTriangle, forecast.Average, forecast.ClippedAverage} {
		kinds = append(kinds, string(k), string(k))
	}
	f.add(field{Name: "method", Label: "How a day's degree-days are summed", Kind: "select", Value: string(r.Method.Kind), Groups: choices(kinds...)})
	if f.posted {
		x.Name = f.value("name")
		if f.value("ripens") == "" {
			f.fault("ripens", "must be chosen")
		} else if x.Ripens, err = forecast.ParseClass(f.value("ripens")); err != nil {
			f.fault("ripens", "must be one of the list")
		}
		if twin := slices.IndexFunc(all, func(o forecast.Variety) bool { return strings.EqualFold(o.Name, x.Name) && o.ID != id }); twin >= 0 {
			f.fault("name", "is that of another variety already")
		}
		if f.value("first_ripe")+f.value("peak")+f.value("last_pick") == "" {
			x.Requirement = nil
		} else {
			asked := func(name string, on float64) float64 {
				if x.Requirement != nil && f.value(name) == digits(on/perDay) {
					return on
				}
				if f.value(name) == "" {
					f.fault(name, "is needed too: all three, or none")
				}
				return f.number(name, perDay, 0)
			}
			n := forecast.Requirement{Method: r.Method}
			n.FirstRipe, n.Peak, n.LastPick = asked("first_ripe", r.FirstRipe), asked("peak", r.Peak), asked("last_pick", r.LastPick)
			if f.value("base") != base {
				n.Method.Base = f.number("base", 1, 0)
				if us {
					n.Method.Base = (n.Method.Base - 32) * 5 / 9
				}
			}
			n.Method.Kind = forecast.Kind(f.value("method"))
			x.Requirement = &n
		}
		if id == "" {
			x.ID = freeSlug(x.Name, "variety", func(slug string) bool {
				return slices.ContainsFunc(all, func(o forecast.Variety) bool { return o.ID == slug })
			})
		}
		f.domain(x.Validate(), varietyFields)
		if !f.faulty() {
			_, err := p.Store.PutVariety(ctx, farm, x, v.who.By(), p.Now())
			if err == nil {
				return v.Redirect(http.StatusSeeOther, f.page.Back)
			}
			return err
		}
	}
	return p.show(f, "book-form", f.page.Heading)
}

// plantingFields are the form's names for what the domain calls otherwise.
var plantingFields = map[string]string{"area_m2": "area", "expected_kg_per_m2": "yield"}

// editPlanting changes a planting, or adds one where the address names none.
func (p *Pages) editPlanting(v *visit) error {
	ctx, farm, units := v.Request().Context(), v.farm.ID, v.farm.Units
	all, err := p.Store.Plantings(ctx, farm)
	if err != nil {
		return err
	}
	varieties, err := p.Store.Varieties(ctx, farm)
	if err != nil {
		return err
	}
	stations, err := p.Store.Stations(ctx, farm)
	if err != nil {
		return err
	}
	id, x := v.Param("planting"), forecast.Planting{}
	heading := "Add a planting"
	planted, removed := "", ""
	if id != "" {
		if x, err = p.Store.Planting(ctx, farm, id); err != nil {
			return err
		}
		heading, planted = varietyName(varieties, x.Variety)+" in "+x.Block, x.PlantedOn.String()
		if x.RemovedOn != nil {
			removed = x.RemovedOn.String()
		}
	} else if len(stations) == 1 {
		x.Station = stations[0].ID
	}
	f := newForm(v, heading, "Save", after(v, "plantings"))
	if id == "" {
		f.page.Submit = "Add the planting"
		f.page.Intro = "One variety in one block, set in one year."
	}
	pick := func(name, label, value string, add func(func(id, text string))) {
		list := []string{"", "Choose"}
		add(func(id, text string) { list = append(list, id, text) })
		f.add(field{Name: name, Label: label, Kind: "select", Value: value, Groups: choices(list...)})
	}
	pick("variety", "Variety", x.Variety, func(add func(id, text string)) {
		for _, o := range varieties {
			add(o.ID, o.Name)
		}
	})
	f.add(field{Name: "block", Label: "Block", Value: x.Block, Help: "A piece of ground managed as one, by the name that everybody uses."})
	pick("station", "Station whose warmth it is reckoned with", x.Station, func(add func(id, text string)) {
		for _, o := range stations {
			add(o.ID, o.Name)
		}
	})
	f.add(field{Name: "planted_on", Label: "Planted on", Kind: "date", Value: planted, Help: "It bears from the year after. If only the year is known, take 1 January."})
	areas, yields := areaUnits(units), yieldUnits(units)
	text, u := "", areas[0]
	if x.AreaM2 > 0 {
		text, u = shortest(x.AreaM2, areas)
	}
	f.add(field{
		Name: "area", Label: "Area", Value: text, Mode: "decimal", Units: unitChoice("area_unit", areas, u.id),
		Range: "must be between " + area(0.1, units) + " and " + area(1e7, units),
	})
	text, u = "", yields[0]
	if x.KgPerM2 > 0 {
		text, u = shortest(x.KgPerM2, yields)
	}
	f.add(field{
		Name: "yield", Label: "Expected yield", Value: text, Mode: "decimal", Optional: true, Units: unitChoice("yield_unit", yields, u.id),
		Help:  "Left empty: " + yield(forecast.DefaultKgPerM2, units) + ", that of a usual matted row.",
		Range: "must be between " + yield(0.001, units) + " and " + yield(20, units),
	})
	if id != "" {
		f.add(field{
			Name: "removed_on", Label: "Removed on", Kind: "date", Value: removed, Optional: true,
			Help: "Fill this in when it is ploughed in or taken out. From that day on it is not forecast; its past seasons stay on record.",
		})
	}
	if f.posted {
		for _, name := range []string{"variety", "station"} {
			if !slices.ContainsFunc(f.fields[name].Groups[0].Options, func(o option) bool { return o.Chosen && o.Value != "" }) {
				f.fault(name, "must be chosen from the farm's own")
			}
		}
		x.Variety, x.Block, x.Station = f.value("variety"), f.value("block"), f.value("station")
		var fault string
		x.PlantedOn, fault = readDate(f.value("planted_on"), units)
		f.fault("planted_on", fault)
		if g := f.fields["removed_on"]; g != nil {
			x.RemovedOn = nil
			if g.Value != "" {
				d, fault := readDate(g.Value, units)
				f.fault("removed_on", fault)
				x.RemovedOn = &d
				if fault != "" {
					x.RemovedOn = nil
				}
			}
		}
		x.AreaM2 = f.amount("area", areas, x.AreaM2, 0)
		x.KgPerM2 = f.amount("yield", yields, x.KgPerM2, forecast.DefaultKgPerM2)
		taken := func(slug string) bool {
			return slices.ContainsFunc(all, func(o forecast.Planting) bool { return o.ID == slug })
		}
		if id == "" {
			x.ID = freeSlug(varietyName(varieties, x.Variety)+" "+x.Block, "planting", taken)
			if twin := twinOf(all, x); twin != nil {
				f.fault("block", "has this variety already, planted on that day")
			}
		}
		f.domain(x.Validate(), plantingFields)
		if !f.faulty() {
			_, err := p.Store.PutPlanting(ctx, farm, x, v.who.By(), p.Now())
			if err == nil {
				return v.Redirect(http.StatusSeeOther, f.page.Back)
			}
			if err := f.refused(err, plantingFields); err != nil {
				return err
			}
		}
	}
	return p.show(f, "book-form", f.page.Heading)
}

// twinOf finds the planting that is the same: variety, block and day.
func twinOf(all []forecast.Planting, x forecast.Planting) *forecast.Planting {
	for i, o := range all {
		if o.Variety == x.Variety && strings.EqualFold(o.Block, x.Block) && o.PlantedOn == x.PlantedOn {
			return &all[i]
		}
	}
	return nil
}

func varietyName(all []forecast.Variety, id string) string {
	for _, v := range all {
		if v.ID == id {
			return v.Name
		}
	}
	return id
}
