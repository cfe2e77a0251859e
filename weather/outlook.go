package weather

import "time"

// Outlook is what a weather service predicted for the days ahead of a station.
type Outlook struct {
	IssuedAt time.Time
	Days     Series // Predicted extremes, °C.
}
