package forecast

import (
	"time"

	"ripetide/weather"
)

// Spray is what is to be done to a block, or was done to it, with the intervals
// that somebody read off the label. Nothing about products is known here: the
// name is free, and the intervals are theirs.
type Spray struct {
	ID        string // Given by the store.
	Block     string // The block's name as it was then.
	Plantings []string
	Name      string     // What is sprayed, in the farm's own words.
	Season    int        // Harvest year that it belongs to.
	SprayedAt *time.Time // When the last of it was done; nil while it is planned.

	// PreHarvestDays and PreHarvestHours are the pre-harvest interval, one after
	// the other: see [Spray.PickAgain].
	PreHarvestDays  int
	PreHarvestHours int
	ReentryHours    int // See [Spray.EnterAgain].

	Note       string        // At most 200 characters.
	Known      *weather.Date // The first day the block may be picked as it was known when the plan was entered; nil: it was not.
	Seen       *SpraySeen    // The newest time that somebody took note of an earlier day; nil: nobody did.
	RecordedAt time.Time
	RecordedBy string // In words: the name of a key.
}

// SpraySeen says that somebody took note that a block may be picked from a day
// on, and left a planned spray as it was.
type SpraySeen struct {
	Day weather.Date
	At  time.Time
	By  string
}

// What intervals can be: longer ones are a slip of the keyboard.
const (
	MaxIntervalDays  = 365
	MaxIntervalHours = 1000
)

// Validate returns every fault of s, each a [*FieldError].
func (s Spray) Validate() []error {
	var f faults
	f.text("block", s.Block)
	f.text("name", s.Name)
	f.within("season", float64(s.Season), 1700, 2400)
	f.within("pre_harvest_days", float64(s.PreHarvestDays), 0, MaxIntervalDays)
	f.within("pre_harvest_hours", float64(s.PreHarvestHours), 0, MaxIntervalHours)
	f.within("reentry_hours", float64(s.ReentryHours), 0, MaxIntervalHours)
	f.note("note", s.Note)
	return f.errs
}

// PickAgain returns the instant from which the block may be picked again by the
// pre-harvest interval if it is sprayed at the instant at.
//
// Days are whole calendar days at the farm, whatever its clocks do, and are
// counted so that every reading of a label is kept: the day of spraying is none
// of them, and neither is the day of picking. Sprayed at any hour of Saturday
// with three days, the block is closed on Sunday, Monday and Tuesday and may be
// picked from Wednesday 0:00 on. Hours are hours that pass, also when clocks
// change, and follow the last day; without days they begin at once.
func (s Spray) PickAgain(at time.Time, zone *time.Location) time.Time {
	if s.PreHarvestDays > 0 {
		at = DayStart(weather.DateIn(at.In(zone))+weather.Date(s.PreHarvestDays)+1, zone)
	}
	return at.Add(time.Duration(s.PreHarvestHours) * time.Hour).In(zone)
}

// EnterAgain returns the instant from which people may be in the block again by
// the re-entry interval, in hours that pass, if it is sprayed at the instant at.
func (s Spray) EnterAgain(at time.Time, zone *time.Location) time.Time {
	return at.Add(time.Duration(s.ReentryHours) * time.Hour).In(zone)
}

// ClosedUntil returns the instant at which the block opens again if it is
// sprayed at the instant at: when both intervals are over.
func (s Spray) ClosedUntil(at time.Time, zone *time.Location) time.Time {
	pick, enter := s.PickAgain(at, zone), s.EnterAgain(at, zone)
	if enter.After(pick) {
		return enter
	}
	return pick
}

// LastSafe returns the last whole minute at which the spray may be over so that
// the block is open again when the day begins. It is [Spray.ClosedUntil] turned
// round: no later minute leaves the block open at that time.
func (s Spray) LastSafe(day weather.Date, zone *time.Location) time.Time {
	open := DayStart(day, zone)
	pick := open.Add(-time.Duration(s.PreHarvestHours) * time.Hour)
	if s.PreHarvestDays > 0 {
		// The day that begins at or before then is the first that may be picked; the
		// minute before the first of the whole days is the last of spraying.
		last := weather.DateIn(pick.In(zone))
		pick = DayStart(last-weather.Date(s.PreHarvestDays), zone).Add(-time.Minute)
	}
	enter := open.Add(-time.Duration(s.ReentryHours) * time.Hour)
	if enter.Before(pick) {
		pick = enter
	}
	return pick.In(zone)
}

// DayStart returns the instant at which the clocks of a zone first show the day
// d: midnight, or the instant after it where clocks leap over midnight.
func DayStart(d weather.Date, zone *time.Location) time.Time {
	y, m, day := d.Civil()
	t := time.Date(y, m, day, 12, 0, 0, 0, zone) // No clocks change at noon.
	for {
		name, offset := t.Zone()
		midnight := time.Date(y, m, day, 0, 0, 0, 0, time.FixedZone(name, offset))
		from, _ := t.ZoneBounds()
		if from.IsZero() || midnight.After(from) {
			return midnight.In(zone)
		}
		// The clocks changed on d or as it began.
		before := from.Add(-time.Nanosecond)
		if weather.DateIn(before.In(zone)) != d {
			return from.In(zone)
		}
		t = before.In(zone)
	}
}

// AtClock returns the instant at which the clocks of a zone show a minute of the
// day d. Where clocks were put back and show it twice it is the later instant,
// which closes a block for longer; where they leapt over it, it is none.
func AtClock(d weather.Date, hour, minute int, zone *time.Location) (at time.Time, ok bool) {
	y, m, day := d.Civil()
	noon := time.Date(y, m, day, 12, 0, 0, 0, zone)
	for _, near := range []time.Time{noon.AddDate(0, 0, 1), noon, noon.AddDate(0, 0, -1)} {
		_, offset := near.Zone()
		t := time.Date(y, m, day, hour, minute, 0, 0, time.FixedZone("", offset)).In(zone)
		if weather.DateIn(t) == d && t.Hour() == hour && t.Minute() == minute && (!ok || t.After(at)) {
			at, ok = t, true
		}
	}
	return at, ok
}
