package weather

import (
	"fmt"
	"math"
)

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
	if fault := extremesFault(minC, maxC, Celsius); fault != "" {
		return Day{}, fmt.Errorf("%w: %s", ErrInvalidDay, fault)
	}
	return Day{Date: date, Min: minC, Max: maxC}, nil
}

// extremesFault says in one clause, with the field and its value, why lo and
// hi, given in u, are not the extremes of a day; "" if they are.
func extremesFault(lo, hi float64, u Unit) string {
	if fault := temperatureFault("min", lo, u); fault != "" {
		return fault
	}
	if fault := temperatureFault("max", hi, u); fault != "" {
		return fault
	}
	if lo > hi {
		return fmt.Sprintf("min %g %s is above max %g %s", lo, u.sign(), hi, u.sign())
	}
	return ""
}

func temperatureFault(field string, t float64, u Unit) string {
	switch c := u.Celsius(t); {
	case Coldest <= c && c <= Warmest:
		return ""
	case math.IsNaN(c):
		return field + " is not a number"
	case c < Coldest:
		return fmt.Sprintf("%s %g %s is below %g %s", field, t, u.sign(), u.of(Coldest), u.sign())
	case u == Celsius && t <= Fahrenheit.of(Warmest):
		return fmt.Sprintf("%s %g °C is above %d °C, is it °F?", field, t, Warmest)
	}
	return fmt.Sprintf("%s %g %s is above %g %s", field, t, u.sign(), u.of(Warmest), u.sign())
}

// Unit is a unit of temperature.
type Unit string

// The units that the service reads. Tenths, tenths of °C in whole numbers, is
// one of files only: public services keep their records in it.
const (
	Celsius    Unit = "C"
	Fahrenheit Unit = "F"
	Tenths     Unit = "tenths"
)

// Celsius returns t, given in u, in °C. An unknown unit is taken as Celsius.
func (u Unit) Celsius(t float64) float64 {
	switch u {
	case Fahrenheit:
		return (t - 32) * 5 / 9
	case Tenths:
		return t / 10
	}
	return t
}

// of returns c, °C, in u.
func (u Unit) of(c float64) float64 {
	switch u {
	case Fahrenheit:
		return c*9/5 + 32
	case Tenths:
		return c * 10
	}
	return c
}

// known reports whether u is a unit that the service reads.
func (u Unit) known() bool { return u == Celsius || u == Fahrenheit || u == Tenths }

// sign is u as it is written behind a number.
func (u Unit) sign() string {
	if u == Tenths {
		return "tenths of °C"
	}
	return "°" + string(u)
}
