package weather

import (
	"errors"
	"fmt"
	"strings"
)

// Errors of the package; match with [errors.Is].
var (
	// ErrInvalidDate is a date that the calendar does not have.
	ErrInvalidDate = errors.New("weather: invalid date")
	// ErrInvalidDay is a day whose temperatures cannot be.
	ErrInvalidDay = errors.New("weather: invalid day")
	// ErrInvalidStation is a station whose description cannot be.
	ErrInvalidStation = errors.New("weather: invalid station")
	// ErrVerdictNotFound is a verdict on a day that was never given or was taken
	// back.
	ErrVerdictNotFound = errors.New("weather: verdict not found")
	// ErrUnknownFormat is a file that no reader recognises.
	ErrUnknownFormat = errors.New("weather: unknown format")
	// ErrUnitUnknown is a file that does not tell its unit, nor was it told.
	ErrUnitUnknown = errors.New("weather: unit unknown")
	// ErrAmbiguous is a file that leaves a question open, the unit or another.
	ErrAmbiguous = errors.New("weather: ambiguous")
	// ErrOutlook is a file of predicted days where observed ones are wanted, or
	// the other way round.
	ErrOutlook = errors.New("weather: observed and predicted days are not the same")
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
	err       error
	detail    string
	questions []Question
}

func fileError(err error, format string, args ...any) *FileError {
	return &FileError{err: err, detail: fmt.Sprintf(format, args...)}
}

func (e *FileError) Error() string { return e.err.Error() + ": " + e.detail }

// Detail says in plain words what is wrong and what to do.
func (e *FileError) Detail() string { return e.detail }

// Questions returns what the sender must answer before the file can be read.
func (e *FileError) Questions() []Question { return e.questions }

// Unwrap returns the error of the package.
func (e *FileError) Unwrap() error { return e.err }

// Is reports whether target is [ErrAmbiguous] and there is a question.
func (e *FileError) Is(target error) bool { return target == ErrAmbiguous && len(e.questions) > 0 }

// Question is something that a file leaves open and must not be guessed.
type Question struct {
	Option  string   // The option that answers it, one of the Option constants.
	Text    string   // One sentence, with what of the file it is about.
	Choices []string // The answers there are.
}

// The options of a file that answer questions; see [ReadOptions].
const (
	OptionUnit    = "unit"
	OptionDates   = "dates"
	OptionColumn  = "column"
	OptionStation = "source_station"
)

// ask returns the error that asks qs, all at once. It matches [ErrUnitUnknown]
// when the unit is asked for and [ErrAmbiguous] always. There must be one.
func ask(qs ...Question) *FileError {
	err, texts := ErrAmbiguous, make([]string, len(qs))
	for i, q := range qs {
		texts[i] = q.Text
		if q.Option == OptionUnit {
			err = ErrUnitUnknown
		}
	}
	return &FileError{err: err, detail: strings.Join(texts, " "), questions: qs}
}

// askUnit is the question for the unit; choices beside C and F may be added.
func askUnit(more ...Unit) Question {
	q := Question{Option: OptionUnit, Text: "The file does not tell its unit: say whether it is C or F.", Choices: []string{"C", "F"}}
	for _, u := range more {
		q.Text = strings.TrimSuffix(q.Text, ".") + ", or " + string(u) + "."
		q.Choices = append(q.Choices, string(u))
	}
	return q
}
