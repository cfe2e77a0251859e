package weather

import "slices"

// ReadingHour is the local hour at which a station's thermometers are read and
// set, from a date on.
type ReadingHour struct {
	From Date
	Hour int // 1 to 24; 24 is midnight, and the day is the civil day.
}

// earlyHour is the first hour of a reading whose high is of its own date. At
// an earlier one the warmest hour of the day that the reading looks back on
// lay on the date before. Eleven o'clock is common practice for the American
// cooperative stations; TopoWx, a gridded record made from them, has it too.
const earlyHour = 11

// Aligned returns days by civil date: a max that was read before 11 o'clock
// belongs to the date before the one under which it is written; the min, which
// is of the morning of the reading, stays. Read at another hour, both are of
// the date under which they are written; so they are before the first date of
// hours, which must be in rising order.
//
// Nothing is invented. A date without a max or a min of its own is absent: the
// last date of a record that is read in the morning, until the next reading,
// and the last date before a hole. Where the hour changes to the morning, the
// date before has two maxima, and keeps the one written under it; where it
// changes from the morning, the date before has none. A date whose min is then
// above its max is left out too, and returned in dropped.
//
// The days must be in strictly rising order, and so are the results. Where
// nothing was read before 11 o'clock the days are returned as they are, not
// copied.
func Aligned(days []Day, hours []ReadingHour) (aligned []Day, dropped []Date) {
	if !slices.ContainsFunc(hours, ReadingHour.early) {
		return days, nil
	}
	aligned = make([]Day, 0, len(days))
	for i, d := range days {
		var now, next ReadingHour
		now, hours = hourOn(d.Date, hours)
		if now.early() {
			if i+1 == len(days) || days[i+1].Date != d.Date+1 {
				continue
			}
			if next, _ = hourOn(d.Date+1, hours); !next.early() {
				continue
			}
			d.Max = days[i+1].Max
		}
		if !(d.Min <= d.Max) {
			dropped = append(dropped, d.Date)
			continue
		}
		aligned = append(aligned, d)
	}
	return aligned, dropped
}

// hourOn returns the hour that holds on d, and hours from it on.
func hourOn(d Date, hours []ReadingHour) (ReadingHour, []ReadingHour) {
	for len(hours) > 1 && hours[1].From <= d {
		hours = hours[1:]
	}
	if len(hours) == 0 || hours[0].From > d {
		return ReadingHour{}, hours
	}
	return hours[0], hours
}

// early reports whether a max read at h is of the date before.
func (h ReadingHour) early() bool { return 1 <= h.Hour && h.Hour < earlyHour }
