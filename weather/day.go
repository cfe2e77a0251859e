package weather

import "fmt"

// Coldest and Warmest bound a believable air temperature, °C: the coldest and
// warmest measured on Earth are -89.2 and 56.7 (from memory of the World
// Meteorological Organization's archive of extremes), rounded outward.
const (
	Coldest = -90
	Warmest = 60
)

// Day is the lowest and the highest air temperature, °C, of one civil date
// at a station.
type Day struct {
	Date     Date
	Min, Max float64
}

// NewDay returns the day of date with extremes minC and maxC, °C. It refuses,
// with an error that matches [ErrInvalidDay], a value that is NaN or outside
// [Coldest, Warmest] and a minimum above the maximum.
func NewDay(date Date, minC, maxC float64) (Day, error) {
	for _, x := range []struct {
		name string
		c    float64
	}{{"min", minC}, {"max", maxC}} {
		switch {
		case x.c != x.c:
			return Day{}, fmt.Errorf("%w: %s is not a number", ErrInvalidDay, x.name)
		case x.c > Warmest:
			return Day{}, fmt.Errorf("%w: %s %.1f °C is above %d °C, is it °F?", ErrInvalidDay, x.name, x.c, Warmest)
		case x.c < Coldest:
			return Day{}, fmt.Errorf("%w: %s %.1f °C is below %d °C", ErrInvalidDay, x.name, x.c, Coldest)
		}
	}
	if minC > maxC {
		return Day{}, fmt.Errorf("%w: min %.1f °C is above max %.1f °C", ErrInvalidDay, minC, maxC)
	}
	return Day{Date: date, Min: minC, Max: maxC}, nil
}

// Unit is a temperature scale: Celsius or Fahrenheit.
type Unit string

// The units that the service reads.
const (
	Celsius    Unit = "C"
	Fahrenheit Unit = "F"
)

// Celsius returns t, given in u, in °C. Any unit but Fahrenheit is taken as
// Celsius.
func (u Unit) Celsius(t float64) float64 {
	if u == Fahrenheit {
		return (t - 32) * 5 / 9
	}
	return t
}
