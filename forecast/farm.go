package forecast

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"ripetide/weather"
)

// Units says in which units people of the farm read; records are metric
// throughout.
type Units string

// The systems of units.
const (
	Metric Units = "metric" // °C, kg, m².
	US     Units = "us"     // °F, lb, ft².
)

// KgPerLb is the international pound, by definition.
const KgPerLb = 0.45359237

// Farm is the place that plantings belong to.
type Farm struct {
	ID             string // Slug.
	Name           string
	Latitude       float64 // Degrees north; south of the equator the season crosses New Year.
	Longitude      float64 // Degrees east.
	TimeZone       string  // Name in the IANA database.
	Units          Units
	ThinKgPerDay   float64 // Least ripe fruit standing that serves the crowd, kg; 0: none set.
	GapProbability float64 // From which probability a gap is reported, 0 to 1.
	Opening        Opening
	Holidays       []Holiday // That customers carry in their heads.
}

// Opening is what the farm asks of an opening day. Zero values mean "not set".
type Opening struct {
	ReadyKg        float64        // Ripe fruit standing that is enough to open, kg.
	ReadyKgOn      [7]float64     // Another weight for a weekday, kg, by [time.Weekday].
	ReadyShare     float64        // Without a weight: ripe fruit standing as a share of the first varieties' crop, 0 to 1.
	FirstVarieties int            // How many varieties, in order of ripening, are the first; not set: one.
	Confidence     float64        // Probability of being ready that the farm wants, 0 to 1.
	Weekdays       []time.Weekday // Days on which the farm opens; empty: every day.
	NoticeDays     int            // Days of notice before opening.
	Channels       []Channel      // Where it is announced, each with a notice of its own.
}

// Channel is a way of telling people, such as a sign or a weekly paper.
type Channel struct {
	Name       string
	NoticeDays int // Days between handing the words in and people reading them.
}

// DefaultConfidence is the probability of being ready that an opening day is
// held to when the farm has not set its own.
const DefaultConfidence = 0.8

// Notice returns the days of notice that the slowest way of telling people
// needs.
func (o Opening) Notice() int {
	days := o.NoticeDays
	for _, c := range o.Channels {
		days = max(days, c.NoticeDays)
	}
	return days
}

// OpensOn reports whether the farm opens on a weekday at all.
func (o Opening) OpensOn(w time.Weekday) bool {
	return len(o.Weekdays) == 0 || slices.Contains(o.Weekdays, w)
}

// confidence returns the probability that the farm holds an opening day to.
func (o Opening) confidence() float64 {
	if o.Confidence == 0 {
		return DefaultConfidence
	}
	return o.Confidence
}

// DefaultGapProbability is the probability from which a gap is reported when
// the farm has not set its own: more likely than not.
const DefaultGapProbability = 0.5

// Southern reports whether the farm lies south of the equator.
func (f Farm) Southern() bool { return f.Latitude < 0 }

// zones are those that were asked for, by name: there are a few hundred, and
// each is a file to read.
var zones sync.Map

// Location returns the farm's time zone.
func (f Farm) Location() (*time.Location, error) {
	if z, ok := zones.Load(f.TimeZone); ok {
		return z.(*time.Location), nil
	}
	z, err := time.LoadLocation(f.TimeZone)
	if err == nil {
		zones.Store(f.TimeZone, z)
	}
	return z, err
}

// Today returns the civil date at the farm at the instant now.
func (f Farm) Today(now time.Time) (weather.Date, error) {
	loc, err := f.Location()
	if err != nil {
		return 0, &FieldError{"time_zone", "is not a name in the time zone database"}
	}
	return weather.DateIn(now.In(loc)), nil
}

const mostNotice = 60 // Days.

// Validate returns every fault of f, each a [*FieldError].
func (f Farm) Validate() []error {
	var v faults
	v.slug("farm", f.ID)
	v.text("name", f.Name)
	v.within("latitude", f.Latitude, -90, 90)
	v.within("longitude", f.Longitude, -180, 180)
	if _, err := f.Location(); err != nil || f.TimeZone == "" || f.TimeZone == "Local" {
		v.add("time_zone", "is not a name in the time zone database, such as Europe/Berlin")
	}
	if f.Units != Metric && f.Units != US {
		v.add("units", `must be "metric" or "us"`)
	}
	v.within("thin_kg_per_day", f.ThinKgPerDay, 0, 1e6)
	v.within("gap_probability", f.GapProbability, 0.01, 1)
	v.within("opening.ready_kg", f.Opening.ReadyKg, 0, 1e6)
	v.within("opening.ready_share", f.Opening.ReadyShare, 0, 1)
	v.within("opening.confidence", f.Opening.Confidence, 0, 1)
	v.within("opening.notice_days", float64(f.Opening.NoticeDays), 0, mostNotice)
	for w, kg := range f.Opening.ReadyKgOn {
		v.within("opening.ready_kg_on."+WeekdayName(time.Weekday(w)), kg, 0, 1e6)
	}
	v.within("opening.first_varieties", float64(f.Opening.FirstVarieties), 0, 100)
	names := map[string]bool{}
	for i, c := range f.Opening.Channels {
		field := fmt.Sprintf("opening.channels[%d]", i)
		v.text(field+".name", c.Name)
		v.within(field+".notice_days", float64(c.NoticeDays), 0, mostNotice)
		if names[c.Name] {
			v.add(field+".name", "is there twice")
		}
		names[c.Name] = true
	}
	for i, h := range f.Holidays {
		field := fmt.Sprintf("holidays[%d]", i)
		v.text(field+".name", h.Name)
		if _, err := ParseHolidayRule(h.Rule); err != nil {
			v.add(field+".rule", "%s", err)
		}
	}
	return v.errs
}
