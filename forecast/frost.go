package forecast

import "ripetide/weather"

// Frost is what a night cost a planting in flowers, as somebody counted it
// afterwards. There is one for a planting and a night.
type Frost struct {
	Planting  string       // Planting.ID.
	Date      weather.Date // Of the morning after the night.
	ShareLost float64      // Of the flowers that were open that night, above 0 to 1.
	LowC      *float64     // Lowest temperature at the plants, °C, -40 to 10; nil: not told.
	Note      string       // At most 200 characters.
}

// Validate returns every fault of f, each a [*FieldError].
func (f Frost) Validate() []error {
	var v faults
	v.slug("planting", f.Planting)
	if !(0 < f.ShareLost && f.ShareLost <= 1) {
		v.add("share_lost", "must be above 0 and at most 1")
	}
	if f.LowC != nil {
		// No flower freezes at 10 °C of air; 28 is a frost in °F.
		v.within("low_c", *f.LowC, -40, 10)
	}
	v.note("note", f.Note)
	return v.errs
}
