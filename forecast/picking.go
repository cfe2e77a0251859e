package forecast

import "ripetide/weather"

// Picking is what was picked of a planting on one date. There is one for a
// planting and a date, so the whole day is in it.
type Picking struct {
	Planting string // Planting.ID.
	Date     weather.Date
	Kg       float64  // The whole day's sum, 0 to MaxPickingKg.
	Left     Left     // Ripe fruit standing at the end of the day.
	Closed   bool     // For rain or rest nothing could be picked; Kg is 0.
	Source   PickedBy // Whose fruit Kg counts.
	Note     string   // At most 200 characters.
}

// MaxPickingKg is the most that one planting gives on one day, kg: what no
// farm that picks by hand reaches, so that more is a slip of the keyboard.
const MaxPickingKg = 100_000

// Left says how much ripe fruit was left standing at the end of a day.
type Left string

// What may be said of fruit left standing.
const (
	LeftUntold Left = "" // Nobody said.
	LeftNone   Left = "none"
	LeftSome   Left = "some"
	LeftLots   Left = "lots"
)

// PickedBy says whose fruit a picking counts.
type PickedBy string

// Who picks.
const (
	PickedByCustomers PickedBy = "customers"
	PickedByStaff     PickedBy = "staff"
	PickedByAll       PickedBy = "all" // Both together.
)

// Validate returns every fault of p, each a [*FieldError].
func (p Picking) Validate() []error {
	var f faults
	f.slug("planting", p.Planting)
	f.within("kg", p.Kg, 0, MaxPickingKg)
	if p.Closed && p.Kg > 0 {
		f.add("kg", "must be 0 on a day that was closed")
	}
	switch p.Left {
	case LeftUntold, LeftNone, LeftSome, LeftLots:
	default:
		f.add("left", "must be one of none, some, lots")
	}
	switch p.Source {
	case PickedByCustomers, PickedByStaff, PickedByAll:
	default:
		f.add("source", "must be one of customers, staff, all")
	}
	f.note("note", p.Note)
	return f.errs
}
