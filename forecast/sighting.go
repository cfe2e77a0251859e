package forecast

import "ripetide/weather"

// Sighting is a dated look at a planting.
type Sighting struct {
	ID       string
	Planting string // Planting.ID.
	Date     weather.Date
	Stage    Stage
	// Seen: Date is the first day of the stage. Otherwise somebody looked on
	// Date and the stage had not come.
	Seen bool
	Note string
}
