package weather

import (
	"errors"
	"fmt"
)

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
	// ErrUnitUnknown is a file that does not tell its unit, nor was it told.
	ErrUnitUnknown = errors.New("weather: unit unknown")
	// ErrUnitConflict is a file that tells another unit than was said of it.
	ErrUnitConflict = errors.New("weather: units contradict each other")
	// ErrWrongUnit is a body whose temperatures cannot be in its unit.
	ErrWrongUnit = errors.New("weather: not in the unit it says")
	// ErrBadHeader is a file whose columns are not what its format needs.
	ErrBadHeader = errors.New("weather: bad header")
	// ErrNoRows is a file without a row of data.
	ErrNoRows = errors.New("weather: no rows")
	// ErrTooLarge is a file or body that is larger than any real one.
	ErrTooLarge = errors.New("weather: too large")
	// ErrDamaged is a packed file that does not unpack.
	ErrDamaged = errors.New("weather: damaged file")
	// ErrDaysOutOfOrder is a list of days that is not in strictly rising order.
	ErrDaysOutOfOrder = errors.New("weather: days out of order")
)

// FileError says why a file or body is refused as a whole. It matches the
// error of the package that it is an instance of, such as [ErrBadHeader].
type FileError struct {
	err    error
	detail string
}

func fileError(err error, format string, args ...any) *FileError {
	return &FileError{err, fmt.Sprintf(format, args...)}
}

func (e *FileError) Error() string { return e.err.Error() + ": " + e.detail }

// Detail says in plain words what is wrong and what to do.
func (e *FileError) Detail() string { return e.detail }

// Unwrap returns the error of the package.
func (e *FileError) Unwrap() error { return e.err }
