package simfarm

import (
	"math"

	"ripetide/weather"
)

// DayLength returns the hours from sunrise to sunset, 0 to 24, at latitude
// (degrees north) on the yearDay-th day of a year, 1 to 366.
//
// With J the day and φ the latitude, δ = 0.409 sin(2πJ/365 - 1.39) is the
// declination, ω = arccos(-tan φ tan δ) the sunset hour angle, and 24ω/π the
// result. Beyond the polar circles ω is held within 0 and π.
//
// Allen, Pereira, Raes and Smith (1998), Crop evapotranspiration, FAO
// Irrigation and Drainage Paper 56, equations 24, 25 and 34 (from memory).
func DayLength(latitude float64, yearDay int) float64 {
	dec := 0.409 * math.Sin(2*math.Pi*float64(yearDay)/365-1.39)
	x := -math.Tan(latitude*math.Pi/180) * math.Tan(dec)
	return 24 / math.Pi * math.Acos(min(max(x, -1), 1))
}

// Coefficients of Parton and Logan for air at 150 cm.
const (
	lagOfMax   = 1.86  // Hours from solar noon to the maximum.
	nightDecay = 2.20  // Decay over one whole night.
	lagOfMin   = -0.17 // Hours from sunrise to the minimum.
)

// TemperatureAt returns the temperature, °C, at a solar hour, 0 to 24, of
// day, between before and after, when the sun is up for dayLength hours.
//
// From the minimum, at sunrise + c, to sunset it is a sine through the day's
// extremes,
//
//	T = min + (max - min) sin(π (h - sunrise - c) / (Y + 2a)),
//
// and by night it decays from the temperature at sunset towards the next
// minimum m',
//
//	T = m' + (T_sunset - m') exp(-b n / (24 - Y)),
//
// n hours after sunset. The decay stops e^-b short of m', which leaves a small
// step at dawn, as in the model as published. Near the step a warmer next
// night may end above or below the day's own extremes.
//
// Parton and Logan (1981), Agricultural Meteorology 23, 205-216, with a, b and
// c of air at 150 cm.
func TemperatureAt(hour, dayLength float64, before, day, after weather.Day) float64 {
	sunrise, sunset := 12-dayLength/2, 12+dayLength/2
	byDay := func(d weather.Day, h float64) float64 {
		return d.Min + (d.Max-d.Min)*math.Sin(math.Pi*(h-sunrise-lagOfMin)/(dayLength+2*lagOfMax))
	}
	byNight := func(evening weather.Day, n, nextMin float64) float64 {
		return nextMin + (byDay(evening, sunset)-nextMin)*math.Exp(-nightDecay*n/(24-dayLength))
	}
	switch {
	case hour < sunrise+lagOfMin:
		return byNight(before, hour+24-sunset, day.Min)
	case hour > sunset:
		return byNight(day, hour-sunset, after.Min)
	}
	return byDay(day, hour)
}
