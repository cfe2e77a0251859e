package hindcast

import (
	"errors"
	"fmt"
)

// ErrInvalidOptions is an option that cannot be.
var ErrInvalidOptions = errors.New("hindcast: invalid options")

// DefaultEvery is the number of days from one morning to the next.
const DefaultEvery = 5

// Options says what to replay. The zero value is good.
type Options struct {
	// From and To are the first and the last season. 0 for From: the first that
	// has an earlier season with sightings. 0 for To: the last, unless it looks
	// unfinished; see [Unfinished].
	From, To int
	// Learn is the least number of earlier seasons with sightings.
	Learn int
	// Every is the number of days between the mornings of [AllMornings]; 0
	// stands for DefaultEvery.
	Every int
	// BeforeBloom, days, begins the mornings that long before the farm's first
	// bloom and takes in plantings whose bloom is not entered yet. 0: only
	// plantings whose bloom is entered by the morning.
	BeforeBloom int
	// Progress is told how many mornings of all are done, one call at a time;
	// nil: nobody.
	Progress func(done, total int)
}

const longest = 365 // Days, of Every and BeforeBloom.

// Validate says what of o cannot be; the error matches [ErrInvalidOptions].
func (o Options) Validate() error {
	switch {
	case o.From < 0 || o.To < 0:
		return fmt.Errorf("%w: season below 0", ErrInvalidOptions)
	case o.From > 0 && o.To > 0 && o.To < o.From:
		return fmt.Errorf("%w: last season %d is before the first, %d", ErrInvalidOptions, o.To, o.From)
	case o.Learn < 0:
		return fmt.Errorf("%w: %d seasons to learn from", ErrInvalidOptions, o.Learn)
	case o.Every < 0 || o.Every > longest:
		return fmt.Errorf("%w: %d days between mornings, not 1 to %d", ErrInvalidOptions, o.Every, longest)
	case o.BeforeBloom < 0 || o.BeforeBloom > longest:
		return fmt.Errorf("%w: %d days before bloom, not 0 to %d", ErrInvalidOptions, o.BeforeBloom, longest)
	}
	return nil
}
