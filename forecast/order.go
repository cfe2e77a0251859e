package forecast

import "fmt"

// OrderError says which sighting another one contradicts. It matches
// [ErrStagesOutOfOrder].
type OrderError struct {
	Sighting, Other Sighting // Refused, and on record.
}

func (e *OrderError) Error() string { return e.Detail() }

// Detail says in plain words how the two contradict each other.
func (e *OrderError) Detail() string {
	s, o := e.Sighting, e.Other
	switch {
	case s.Stage == o.Stage && o.Seen:
		return fmt.Sprintf("%s was seen on %s, so it cannot be that it had not come on %s", o.Stage, o.Date, s.Date)
	case s.Stage == o.Stage:
		return fmt.Sprintf("%s had not come on %s, so it cannot be seen on %s", o.Stage, o.Date, s.Date)
	case !s.Seen:
		return fmt.Sprintf("%s was seen on %s, so it cannot be that %s had not come on %s", o.Stage, o.Date, s.Stage, s.Date)
	case !o.Seen:
		return fmt.Sprintf("%s had not come on %s, so %s cannot be seen on %s: it comes later", o.Stage, o.Date, s.Stage, s.Date)
	case s.Stage < o.Stage:
		return fmt.Sprintf("%s cannot be seen on %s: it comes before %s, which was seen on %s", s.Stage, s.Date, o.Stage, o.Date)
	}
	return fmt.Sprintf("%s cannot be seen on %s: it comes after %s, which was seen on %s", s.Stage, s.Date, o.Stage, o.Date)
}

// Is matches [ErrStagesOutOfOrder].
func (e *OrderError) Is(target error) bool { return target == ErrStagesOutOfOrder }

// CheckOrder returns an [*OrderError] if s contradicts one of others, the
// sightings that count of the same planting and season. One that s would
// replace does not matter. Two that were seen have the order of their stages; on one date they may be seen together only if no
// time need lie between them, as between the first flower and the first ripe
// fruit. What had not come on a date comes after it, and so do the stages that
// follow.
func CheckOrder(others []Sighting, s Sighting) error {
	for _, o := range others {
		if contradicts(s, o) {
			return &OrderError{Sighting: s, Other: o}
		}
	}
	return nil
}

func contradicts(a, b Sighting) bool {
	if a.Stage > b.Stage || a.Stage == b.Stage && a.Seen { // a is the earlier stage, or the "not yet" of one stage.
		a, b = b, a
	}
	switch {
	case a.Stage == b.Stage && a.Seen == b.Seen:
		return false // The one replaces the other, or both looked too early.
	case a.Seen && b.Seen:
		return a.Date > b.Date || a.Date == b.Date && apart(a.Stage, b.Stage)
	case b.Seen: // The earlier stage had not come.
		return b.Date <= a.Date
	}
	return false // Nothing was seen, or only the earlier stage.
}

// apart reports whether time must lie between two stages, the earlier first:
// a flower is no fruit yet, and not all of a crop ripens at once. First ripe
// and peak, or peak and last pick, may fall on one day of looking.
func apart(a, b Stage) bool {
	return a < FirstRipe && b >= FirstRipe || a == FirstRipe && b == LastPick
}
