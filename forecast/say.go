package forecast

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"ripetide/weather"
)

// Day writes a date as the people of a farm do, with its weekday:
// "Tue 29 May", in the US "Tue May 29".
func (f Farm) Day(d weather.Date) string {
	if f.Units == US {
		return d.Time().Format("Mon Jan 2")
	}
	return d.Time().Format("Mon 2 Jan")
}

// DayYear is Day with the year.
func (f Farm) DayYear(d weather.Date) string {
	if f.Units == US {
		return d.Time().Format("Mon Jan 2, 2006")
	}
	return d.Time().Format("Mon 2 Jan 2006")
}

// Span writes a range of days, both included, and names the month once if it is
// one month: "Thu 14 to Sat 16 Jun", in the US "Thu Jun 14 to Sat 16".
func (f Farm) Span(from, to weather.Date) string {
	y1, m1, _ := from.Civil()
	y2, m2, _ := to.Civil()
	switch {
	case from == to:
		return f.Day(from)
	case y1 != y2:
		return f.DayYear(from) + " to " + f.DayYear(to)
	case m1 != m2:
		return f.Day(from) + " to " + f.Day(to)
	case f.Units == US:
		return f.Day(from) + " to " + to.Time().Format("Mon 2")
	}
	return from.Time().Format("Mon 2") + " to " + f.Day(to)
}

// monthDay writes a day of every year: "1 June", in the US "June 1".
func (f Farm) monthDay(d weather.Date) string {
	if f.Units == US {
		return d.Time().Format("January 2")
	}
	return d.Time().Format("2 January")
}

// days writes a number of days.
func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// perC is how many degrees of the farm's scale a difference of 1 °C is.
func (f Farm) perC() float64 {
	if f.Units == US {
		return 9.0 / 5
	}
	return 1
}

// DegreeUnit is "°C" or "°F".
func (f Farm) DegreeUnit() string {
	if f.Units == US {
		return "°F"
	}
	return "°C"
}

// Temperature writes c, °C, in the farm's unit, to a tenth.
func (f Farm) Temperature(c float64) string { return f.bareTemperature(c) + " " + f.DegreeUnit() }

// bareTemperature is Temperature without the unit.
func (f Farm) bareTemperature(c float64) string {
	if f.Units == US {
		c = c*9/5 + 32
	}
	return number(c)
}

// Difference writes a difference of temperatures, °C, in the farm's unit, to a
// tenth and with its sign.
func (f Farm) Difference(c float64) string {
	s := number(f.perC() * c)
	if !strings.HasPrefix(s, "-") {
		s = "+" + s
	}
	return strings.Replace(s, "-", "−", 1) + " " + f.DegreeUnit()
}

// number writes a number to a tenth at most, and nought without a sign.
func number(x float64) string {
	return strconv.FormatFloat(math.Round(x*10)/10+0, 'f', -1, 64)
}

// HeatUnit is "°C·d" or "°F·d".
func (f Farm) HeatUnit() string { return f.DegreeUnit() + "·d" }

// BareHeat writes degree-days, °C·d, as a whole number of the farm's unit.
func (f Farm) BareHeat(c float64) string {
	s := strconv.FormatFloat(math.Round(f.perC()*c)+0, 'f', -1, 64)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// Heat is BareHeat with the unit.
func (f Farm) Heat(c float64) string { return f.BareHeat(c) + " " + f.HeatUnit() }

// Method writes how degree-days are counted, in the farm's unit.
func (f Farm) Method(m Method) string {
	s := fmt.Sprintf("the %s method above %s", m.Kind, f.Temperature(m.Base))
	if m.Cutoff != NoCutoff {
		s += fmt.Sprintf(", with a %s cutoff at %s", m.Cutoff, f.Temperature(m.Upper))
	}
	return s
}

var (
	findingDate     = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)
	findingSpread   = regexp.MustCompile(` and (\d+\.\d) the standard deviation`)
	findingLikeness = regexp.MustCompile(` \((correlation )?-?\d\.\d\d\)`)
	findingDegrees  = regexp.MustCompile(`(give or take )?(-?\d+\.\d+)( °C)?`)
)

// Finding puts the clause of a test of a record as people at the farm say it:
// dates with their weekday, temperatures in the farm's unit, and no word of
// statistics. A test writes temperatures, and nothing else, with one decimal.
func (f Farm) Finding(text string) string {
	text = findingSpread.ReplaceAllString(text, ", give or take $1")
	text = findingLikeness.ReplaceAllString(text, "")
	if f.Units == US {
		text = findingDegrees.ReplaceAllStringFunc(text, f.finding)
	}
	return findingDate.ReplaceAllStringFunc(text, func(s string) string {
		d, err := weather.ParseDate(s)
		if err != nil {
			return s
		}
		return f.DayYear(d)
	})
}

// finding puts a temperature of a finding in the farm's unit.
func (f Farm) finding(s string) string {
	m := findingDegrees.FindStringSubmatch(s)
	c, err := strconv.ParseFloat(m[2], 64)
	if _, places, _ := strings.Cut(m[2], "."); err != nil || len(places) != 1 {
		return s
	}
	out := f.bareTemperature(c)
	if m[1] != "" {
		out = m[1] + number(f.perC()*c)
	}
	if m[3] != "" {
		out += " " + f.DegreeUnit()
	}
	return out
}

// Weight writes kg in the farm's unit, to three figures at most: "1,230 lb".
func (f Farm) Weight(kg float64) string {
	unit := "kg"
	if f.Units == US {
		kg, unit = kg/KgPerLb, "lb"
	}
	switch {
	case kg == 0:
		return "0 " + unit
	case kg < 10:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", kg), ".0") + " " + unit
	case kg >= 1000:
		p := math.Pow(10, math.Floor(math.Log10(kg))-2)
		n := int(math.Round(kg/p) * p)
		return fmt.Sprintf("%d,%03d %s", n/1000, n%1000, unit)
	}
	return fmt.Sprintf("%.0f %s", kg, unit)
}

// M2PerAcre is the international acre, by definition.
const M2PerAcre = 4046.8564224

// Yield writes kg/m² in the farm's unit, per m² or per acre: "1.1 kg/m²",
// "9,810 lb/acre".
func (f Farm) Yield(kgPerM2 float64) string {
	if f.Units == US {
		return f.Weight(kgPerM2*M2PerAcre) + "/acre"
	}
	return strconv.FormatFloat(kgPerM2, 'g', 3, 64) + " kg/m²" // Nobody knows a yield better.
}
