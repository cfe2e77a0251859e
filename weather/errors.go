package weather

import "errors"

// Errors of the package; match with [errors.Is].
var (
	// ErrInvalidDate is a date that the calendar does not have.
	ErrInvalidDate = errors.New("weather: invalid date")
	// ErrInvalidDay is a day whose temperatures cannot be.
	ErrInvalidDay = errors.New("weather: invalid day")
	// ErrInvalidStation is a station whose description cannot be.
	ErrInvalidStation = errors.New("weather: invalid station")
	// ErrUnknownFormat is a file that no reader recognises.
	ErrUnknownFormat = errors.New("weather: unknown format")
	// ErrUnitUnknown is a file that does not tell its unit.
	ErrUnitUnknown = errors.New("weather: unit unknown")
	// ErrDaysOutOfOrder is a list of days that is not in strictly rising order.
	ErrDaysOutOfOrder = errors.New("weather: days out of order")
)
