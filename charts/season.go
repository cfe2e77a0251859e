package charts

import "time"

// Units says in which units a chart speaks.
type Units int

// The two systems of units. They also decide how a date is written and on
// which day a week starts.
const (
	Metric Units = iota // kg, "Thu 4 Jun", weeks start on Monday
	US                  // lb, "Thu Jun 4", weeks start on Sunday
)

// Season is everything the season chart shows. All dates are midnights in UTC
// of the years 1900 to 2199. The zero value is not a valid season: AsOf is
// required.
type Season struct {
	Farm     string    // the farm's name; may be empty
	Year     int       // harvest year, 1900 to 2200; south of the equator the year of the last pick
	AsOf     time.Time // the morning the forecast was made for
	Hindcast bool      // true when it was made afterwards, from what was known on AsOf
	Units    Units

	Bars     []Bar       // one per planting, in picking order; at most 200
	Gaps     []Stretch   // days without ripe fruit, and thin ones
	Supply   []SupplyDay // ripe fruit standing, by date
	ThinKg   float64     // the farm's own minimum of ripe fruit, kg; 0 for none
	Holidays []Mark      // dates to mark; those outside the dates drawn are left out

	TracesUsed     int       // past weather years behind the forecast; 0 to leave unsaid
	WeatherThrough time.Time // last observed day, before AsOf; zero to leave unsaid
}

// Bar is one planting's picking window. When NoForecast is set the ranges, the
// window and the Seen fields are not looked at.
type Bar struct {
	Variety  string // "Elfenrot"
	Block    string // "North block"; may be empty
	Planting string // the planting's own name where variety and block do not tell it apart; may be empty

	First Range // first ripe
	Peak  Range // densest day
	Last  Range // last pick; a planting is picked up to and including this day

	// WindowDays is the length of the window in days, both ends counted: its
	// 0.1, 0.5 and 0.9 quantiles, each at least 1. All zero when unknown.
	WindowDays [3]int

	// A seen stage was observed in the field; its date is the median.
	SeenFirst, SeenPeak, SeenLast bool

	// NoForecast is the reason, in a few words, why there is no forecast for
	// this planting: "bloom not seen yet". Empty when there is one.
	NoForecast string
}

// Range holds the 0.1, 0.5 and 0.9 quantiles of a date, in this order in time.
type Range struct {
	P10, P50, P90 time.Time
}

// Day returns the range of a date that is known.
func Day(t time.Time) Range { return Range{t, t, t} }

// StretchKind tells gaps from thin stretches.
type StretchKind int

const (
	// Gap is a run of days on which no planting is in its picking window.
	Gap StretchKind = iota
	// Thin is a run of days with less ripe fruit than the farm's minimum.
	Thin
)

// Stretch is a run of days, both ends included.
type Stretch struct {
	From, To    time.Time
	Kind        StretchKind
	Probability float64 // that it comes to pass, 0 to 1; 0 to leave unsaid
}

// SupplyDay is the ripe fruit standing on one morning, in kg, each figure
// finite, not negative and at most 1e9.
type SupplyDay struct {
	Date       time.Time
	PlantingKg []float64 // median or mean of each planting, in the order of Season.Bars

	P10Kg, P50Kg, P90Kg float64 // quantiles of the total
}

// Mark is a date with a name: a holiday, an opening day.
type Mark struct {
	Date  time.Time
	Label string // not empty
}
