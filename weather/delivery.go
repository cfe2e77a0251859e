package weather

import "fmt"

// Delivery is days of a station as one source delivers them.
type Delivery struct {
	Source  string // In words, such as "file csv" or "feed airport".
	Days    []Day
	Remarks []Remark // Of each of Days; nil if the source makes none.
	// OnlyOwn: days that are on record from another source are left as they
	// are. So a feed does not undo what a person has corrected.
	OnlyOwn bool
}

// Validate reports remarks that do not belong to the days.
func (d Delivery) Validate() error {
	if d.Remarks != nil && len(d.Remarks) != len(d.Days) {
		return fmt.Errorf("%w: %d days have %d remarks", ErrInvalidDay, len(d.Days), len(d.Remarks))
	}
	return nil
}

// Stored is what became of the days of a delivery; they add up to its days.
type Stored struct {
	Added, Corrected, Unchanged int
	Kept                        int // Left as another source has given them.
}

// SuspectRule says what is done with days that a test doubts and nobody has
// judged.
type SuspectRule string

// The rules.
const (
	LeaveOutSuspects SuspectRule = "leave_out"
	UseSuspects      SuspectRule = "use"
)

// Verdict is what a person says of a day.
type Verdict struct {
	Date Date
	Use  bool
	By   string // Who decided.
	Note string // Why; may be empty.
}

// Flag is what a source says of a day that failed its own tests.
type Flag struct {
	Date Date
	Text string // See [Remark].
}

// ReadInMorning reports whether a highest temperature written under d was read
// so early that it belongs to the day before; see [Aligned].
func ReadInMorning(d Date, hours []ReadingHour) bool {
	h, _ := hourOn(d, hours)
	return h.early()
}
