package forecast

import (
	"cmp"
	"errors"
	"fmt"

	"ripetide/weather"
)

// Errors of the package; match with [errors.Is].
var (
	ErrFarmNotFound         = errors.New("forecast: farm not found")
	ErrStationNotFound      = errors.New("forecast: station not found")
	ErrVarietyNotFound      = errors.New("forecast: variety not found")
	ErrPlantingNotFound     = errors.New("forecast: planting not found")
	ErrSightingNotFound     = errors.New("forecast: sighting not found")
	ErrPickingNotFound      = errors.New("forecast: picking not found")
	ErrFrostNotFound        = errors.New("forecast: frost not found")
	ErrDecisionNotFound     = errors.New("forecast: decision not found")
	ErrSubscriptionNotFound = errors.New("forecast: subscription not found")
	ErrRecipientNotFound    = errors.New("forecast: recipient not found")
	ErrSprayNotFound        = errors.New("forecast: spray not found")
	ErrForecastNotFound     = errors.New("forecast: forecast not found")
	ErrProposalNotFound     = errors.New("forecast: proposal not found")

	// ErrInvalid is a value that cannot be; see [FieldError].
	ErrInvalid = errors.New("forecast: invalid value")
	// ErrTooFewYears is a record too short to stand for the weather ahead;
	// see [TooFewYearsError].
	ErrTooFewYears = errors.New("forecast: too few years of weather")
	// ErrNoBloom is a farm without any bloom on record, of which bloom cannot be
	// forecast.
	ErrNoBloom = errors.New("forecast: no bloom on record")
	// ErrStagesOutOfOrder is a sighting that contradicts another one.
	ErrStagesOutOfOrder = errors.New("forecast: stages out of order")
	// ErrBusy is a store that another writer kept waiting for too long; the same
	// request may go through later.
	ErrBusy = errors.New("forecast: store is busy")
	// ErrProposalOvertaken is a proposal of a value that somebody has changed since,
	// or that has been accepted.
	ErrProposalOvertaken = errors.New("forecast: proposal overtaken")
	// ErrSeasonRuns is a constant that is not changed while fruit is on its way.
	ErrSeasonRuns = errors.New("forecast: season runs")
	// ErrAsOfAhead is an as-of date later than the farm's today.
	ErrAsOfAhead = errors.New("forecast: as-of date is ahead of the farm's today")
)

// FieldError says which field of a value cannot be, and why. It matches
// [ErrInvalid].
type FieldError struct {
	Field  string // As in the interface, such as "area_m2".
	Reason string // One clause in plain words.
}

func (e *FieldError) Error() string { return fmt.Sprintf("%s: %s", e.Field, e.Reason) }

// Is matches [ErrInvalid].
func (e *FieldError) Is(target error) bool { return target == ErrInvalid }

// AheadError says which as-of date was asked for and what the farm's today is.
// It matches [ErrAsOfAhead].
type AheadError struct{ AsOf, Today weather.Date }

func (e *AheadError) Error() string { return e.Detail() }

// Detail says in plain words what cannot be.
func (e *AheadError) Detail() string {
	return fmt.Sprintf("a forecast cannot be made as of %s: today at the farm is %s", e.AsOf, e.Today)
}

// Is matches [ErrAsOfAhead].
func (e *AheadError) Is(target error) bool { return target == ErrAsOfAhead }

// TooFewYearsError says what a station's record lacks. It matches
// [ErrTooFewYears].
type TooFewYearsError struct {
	Station    string
	Name       string // Of the station.
	Have, Need int    // Usable past years.
	From, To   string
}

func (e *TooFewYearsError) Error() string { return e.Detail() }

// Detail says in plain words what to load.
func (e *TooFewYearsError) Detail() string {
	return fmt.Sprintf("%s has %d past years of weather from %s to %s, %d are needed: load older daily records",
		cmp.Or(e.Name, e.Station), e.Have, e.From, e.To, e.Need)
}

// Is matches [ErrTooFewYears].
func (e *TooFewYearsError) Is(target error) bool { return target == ErrTooFewYears }
