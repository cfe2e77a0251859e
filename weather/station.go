package weather

import (
	"fmt"
	"math"
)

// Station is a place where temperature is measured.
type Station struct {
	ID        string // Slug, unique within the farm.
	Name      string
	Latitude  float64     // Degrees north, -90 to 90.
	Longitude float64     // Degrees east, -180 to 180.
	Elevation float64     // m above sea level, -450 to 6000.
	StandIn   string      // ID of the station that stands in for its holes, or "".
	Suspects  SuspectRule // "" is LeaveOutSuspects.
}

// Validate reports the first thing about s that cannot be, as an error that
// matches [ErrInvalidStation].
func (s Station) Validate() error {
	switch {
	case s.ID == "" || s.Name == "":
		return fmt.Errorf("%w: id and name are needed", ErrInvalidStation)
	case !(math.Abs(s.Latitude) <= 90):
		return fmt.Errorf("%w: latitude %g is outside -90 to 90", ErrInvalidStation, s.Latitude)
	case !(math.Abs(s.Longitude) <= 180):
		return fmt.Errorf("%w: longitude %g is outside -180 to 180", ErrInvalidStation, s.Longitude)
	case !(-450 <= s.Elevation && s.Elevation <= 6000):
		return fmt.Errorf("%w: elevation %g m is outside -450 to 6000", ErrInvalidStation, s.Elevation)
	case s.Suspects != "" && s.Suspects != LeaveOutSuspects && s.Suspects != UseSuspects:
		return fmt.Errorf("%w: the rule for suspects is %q or %q", ErrInvalidStation, LeaveOutSuspects, UseSuspects)
	case s.StandIn == s.ID:
		return fmt.Errorf("%w: a station cannot stand in for itself", ErrInvalidStation)
	}
	return nil
}
