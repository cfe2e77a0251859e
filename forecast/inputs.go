package forecast

import (
	"slices"
	"time"

	"ripetide/weather"
)

// Record is a station with its daily record and all outlooks for it.
type Record struct {
	Station  weather.Station
	Days     weather.Series        // As they were delivered; see [Record.Sift].
	Flags    []weather.Flag        // What their sources doubt, in order of date.
	Hours    []weather.ReadingHour // In order of From; none: the days are civil days.
	Verdicts []weather.Verdict     // In order of date, one for a date.
	Outlooks []weather.Outlook     // In order of IssuedAt, which are distinct.
	sifted   bool                  // Whether Days are as [Record.Sift] gives them.
	leftOut  []weather.Date        // Once the record is sifted.
	misfit   string                // Likewise; see [Sifted].
}

// Inputs is everything that a forecast is computed from. Plantings that were
// removed belong in it too, for what their past seasons know.
type Inputs struct {
	Farm      Farm
	Records   []Record
	Varieties []Variety
	Plantings []Planting
	Sightings []Sighting // Of all seasons, current ones only (none that was replaced).
	Pickings  []Picking  // Likewise.
	Frosts    []Frost    // Likewise.
	Decisions []Decision // Of all seasons, all versions.
	// Choice is the method that the farm has accepted; nil: DefaultMethod.
	Choice *MethodChoice
}

// method returns the method of the farm's forecasts.
func (in Inputs) method() Method {
	if in.Choice != nil {
		return in.Choice.Method
	}
	return DefaultMethod
}

// methodOf returns the method that v's requirement holds for.
func (in Inputs) methodOf(v Variety) Method {
	if v.Requirement != nil {
		return v.Requirement.Method
	}
	return in.method()
}

// zone returns the farm's time zone; a farm that passed Validate has one.
func (in Inputs) zone() *time.Location {
	if loc, err := in.Farm.Location(); err == nil {
		return loc
	}
	return time.UTC
}

// asSeenOn returns in without anything that is dated after what the morning
// of asOf knows: weather up to the day before, sightings, pickings and frosts
// up to and including it, outlooks issued and decisions made before its end at
// the farm. Weather
// is sifted on the way. It is the only door through which [Compute] sees its
// inputs, so that no later record can leak into a forecast.
func (in Inputs) asSeenOn(asOf weather.Date) Inputs {
	out := in
	out.Plantings = slices.Clone(in.Plantings) // Compute sorts them.
	out.Records = make([]Record, len(in.Records))
	zone := in.zone()
	for i, r := range in.Records {
		out.Records[i] = r.siftOnce(asOf - 1)
		for _, o := range r.Outlooks {
			if weather.DateIn(o.IssuedAt.In(zone)) <= asOf {
				out.Records[i].Outlooks = append(out.Records[i].Outlooks, o)
			}
		}
	}
	out.Sightings = nil
	for _, s := range in.Sightings {
		if s.Date <= asOf {
			out.Sightings = append(out.Sightings, s)
		}
	}
	out.Decisions = nil
	for _, d := range in.Decisions {
		if weather.DateIn(d.DecidedAt.In(zone)) <= asOf {
			out.Decisions = append(out.Decisions, d)
		}
	}
	out.Pickings = nil
	for _, p := range in.Pickings {
		if p.Date <= asOf {
			out.Pickings = append(out.Pickings, p)
		}
	}
	out.Frosts = nil
	for _, f := range in.Frosts {
		if f.Date <= asOf {
			out.Frosts = append(out.Frosts, f)
		}
	}
	return out
}

// siftOnce returns the record with its days sifted through a date, and without
// outlooks. What is sifted is only cut off: a second look would doubt again
// what a person has judged.
func (r Record) siftOnce(through weather.Date) Record {
	if r.sifted {
		return Record{Station: r.Station, Days: r.Days.Until(through), sifted: true, leftOut: r.leftOut, misfit: r.misfit}
	}
	s := r.Sift(through)
	return Record{Station: r.Station, Days: s.Days, sifted: true, leftOut: s.LeftOut, misfit: s.Misfit}
}
