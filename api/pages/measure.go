package pages

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"ripetide/forecast"
)

// A unit is one in which people write an amount down. Records are metric; the
// factors are those of the international yard and pound, exact by definition.
type unit struct {
	id     string   // In forms.
	name   string   // As it is shown.
	factor float64  // Into the unit of the records.
	also   []string // How else people write it, in small letters without spaces and full stops.
}

const (
	kgPerLb  = forecast.KgPerLb
	m2PerFt2 = 0.09290304
	m2PerAcr = forecast.M2PerAcre
	mPerFoot = 0.3048
)

var (
	squareMetres = unit{"m2", "m²", 1, []string{"m²", "sqm", "qm"}}
	hectares     = unit{"ha", "ha", 1e4, []string{"hectare", "hectares"}}
	acres        = unit{"acre", "acres", m2PerAcr, []string{"ac", "acres"}}
	squareFeet   = unit{"ft2", "sq ft", m2PerFt2, []string{"ft²", "sqft", "squarefeet"}}

	kgPerSquareMetre  = unit{"kg_m2", "kg/m²", 1, []string{"kg/m2", "kg/m²"}}
	tonsPerHectare    = unit{"t_ha", "t/ha", 0.1, []string{"t/ha"}}
	poundsPerAcre     = unit{"lb_acre", "lb/acre", kgPerLb / m2PerAcr, []string{"lb/acre", "lbs/acre", "lb/ac", "lbs/ac"}}
	poundsPerSquareFt = unit{"lb_ft2", "lb/sq ft", kgPerLb / m2PerFt2, []string{"lb/sqft", "lbs/sqft", "lb/ft2", "lb/ft²"}}

	kilograms = unit{"kg", "kg", 1, nil}
	pounds    = unit{"lb", "lb", kgPerLb, nil}
	metres    = unit{"m", "m", 1, nil}
	feet      = unit{"ft", "ft", mPerFoot, nil}
)

// areaUnits are the units of areas at a farm, the usual one first.
func areaUnits(u forecast.Units) []unit {
	if u == forecast.US {
		return []unit{acres, squareFeet, squareMetres}
	}
	return []unit{squareMetres, hectares}
}

// yieldUnits are the units of yields at a farm, the usual one first.
func yieldUnits(u forecast.Units) []unit {
	if u == forecast.US {
		return []unit{poundsPerAcre, poundsPerSquareFt, kgPerSquareMetre}
	}
	return []unit{kgPerSquareMetre, tonsPerHectare}
}

func weightUnit(u forecast.Units) unit {
	if u == forecast.US {
		return pounds
	}
	return kilograms
}

func heightUnit(u forecast.Units) unit {
	if u == forecast.US {
		return feet
	}
	return metres
}

// unitCalled finds the unit that people call by a name.
func unitCalled(name string, of []unit) (unit, bool) {
	name = strings.NewReplacer(" ", "", ".", "", "\u00a0", "", "²", "2").Replace(strings.ToLower(name))
	for _, u := range of {
		if name == u.id {
			return u, true
		}
		for _, a := range u.also {
			if name == strings.ReplaceAll(a, "²", "2") {
				return u, true
			}
		}
	}
	return unit{}, false
}

// shortest writes an amount of the records in the unit in which it is written
// with the fewest digits, so that people read what they typed.
func shortest(x float64, of []unit) (text string, u unit) {
	for _, o := range of {
		if t := digits(x / o.factor); text == "" || len(t) < len(text) {
			text, u = t, o
		}
	}
	return text, u
}

// digits writes a number with as many digits as matter: nine, so that what a
// conversion leaves behind the decimal point does not show.
func digits(x float64) string {
	if x, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 9, 64), 64); err == nil {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// brief writes a number to be changed in a form, with as many digits as people
// use; one that is left as it is keeps all of its own.
func brief(x float64) string {
	if y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 5, 64), 64); err == nil {
		x = y
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// figure writes a number for reading: three digits that matter at least, and
// thousands parted.
func figure(x float64) string {
	places := 0
	for limit := 100.0; places < 4 && math.Abs(x) < limit && x != 0; limit /= 10 {
		places++
	}
	t := strconv.FormatFloat(x, 'f', places, 64)
	if strings.Contains(t, ".") {
		t = strings.TrimRight(strings.TrimRight(t, "0"), ".")
	}
	whole, rest, _ := strings.Cut(t, ".")
	for i := len(whole) - 3; i > 0 && whole[i-1] != '-'; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if rest != "" {
		return whole + "." + rest
	}
	return whole
}

// area writes an area for reading: "0.3 acres (13,068 sq ft)".
func area(m2 float64, u forecast.Units) string {
	switch {
	case u != forecast.US && m2 >= 1e4:
		return figure(m2/1e4) + " ha"
	case u != forecast.US:
		return figure(m2) + " m²"
	case m2 >= m2PerAcr/10:
		return figure(m2/m2PerAcr) + " acres"
	}
	return figure(m2/m2PerFt2) + " sq ft"
}

// yield writes a yield for reading.
func yield(kgPerM2 float64, u forecast.Units) string {
	return forecast.Farm{Units: u}.Yield(kgPerM2)
}

// weight writes a weight for reading.
func weight(kg float64, u forecast.Units) string {
	w := weightUnit(u)
	return figure(kg/w.factor) + " " + w.name
}

// heat writes degree-days for reading, in °C·d or °F·d.
func heat(x float64, u forecast.Units) string {
	if u == forecast.US {
		return figure(x*9/5) + " °F·d"
	}
	return figure(x) + " °C·d"
}

// temperature writes a temperature for reading.
func temperature(c float64, u forecast.Units) string {
	if u == forecast.US {
		return digits(math.Round((c*9/5+32)*10)/10+0) + " °F" // Nought without a sign.
	}
	return digits(math.Round(c*10)/10+0) + " °C"
}

// place writes where something lies: "42.3° N, 83.7° W".
func place(lat, lon float64) string {
	ns, ew := "N", "E"
	if lat < 0 {
		ns = "S"
	}
	if lon < 0 {
		ew = "W"
	}
	return digits(math.Abs(lat)) + "° " + ns + ", " + digits(math.Abs(lon)) + "° " + ew
}

var (
	plainNumber   = regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)$`)
	commaNumber   = regexp.MustCompile(`^[+-]?\d*,\d+$`)
	commaGroups   = regexp.MustCompile(`^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$`)
	pointGroups   = regexp.MustCompile(`^[+-]?\d{1,3}(\.\d{3})+,\d*$`)
	severalPoints = regexp.MustCompile(`^[+-]?\d{1,3}(\.\d{3}){2,}$`)
	numberSpaces  = strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "", "\u2009", "", "'", "", "−", "-")
)

// readNumber reads a number as people write it. "1,200" is twelve hundred at a
// farm with US units and could be either elsewhere, where it is asked about.
// It returns a clause that says what is wrong, or "".
func readNumber(text string, u forecast.Units) (x float64, fault string) {
	t := numberSpaces.Replace(strings.TrimSpace(text))
	switch {
	case t == "":
		return 0, "is needed"
	case plainNumber.MatchString(t):
	case severalPoints.MatchString(t):
		t = strings.ReplaceAll(t, ".", "")
	case pointGroups.MatchString(t):
		t = strings.ReplaceAll(strings.ReplaceAll(t, ".", ""), ",", ".")
	case commaGroups.MatchString(t):
		bare := strings.ReplaceAll(t, ",", "")
		if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") && u != forecast.US {
			return 0, "can be read in two ways: write " + bare + " or " + strings.ReplaceAll(t, ",", ".")
		}
		t = bare
	case commaNumber.MatchString(t):
		t = strings.ReplaceAll(t, ",", ".")
	default:
		return 0, "is not a number"
	}
	x, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, "is not a number"
	}
	return x, ""
}

var amountParts = regexp.MustCompile(`^([-+−]?[\d.,' \x{00a0}]*\d\.?)\s*(\D.*)?$`)

// readAmount reads "0.3 acres" or, in the unit usual, "1200", into the unit of
// the records.
func readAmount(text string, of []unit, usual unit, u forecast.Units) (x float64, fault string) {
	text = strings.TrimSpace(text)
	m := amountParts.FindStringSubmatch(text)
	if m == nil {
		return 0, "is not a number with a unit"
	}
	in := usual
	if name := strings.TrimSpace(m[2]); name != "" {
		var ok bool
		if in, ok = unitCalled(name, of); !ok {
			return 0, "has a unit that is not one of " + unitNames(of)
		}
	}
	x, fault = readNumber(m[1], u)
	return x * in.factor, fault
}

func unitNames(of []unit) string {
	names := make([]string, len(of))
	for i, u := range of {
		names[i] = u.name
	}
	return strings.Join(names, ", ")
}

// allAreaUnits and allYieldUnits are those that a list may name, at any farm.
var (
	allAreaUnits  = []unit{squareMetres, hectares, acres, squareFeet}
	allYieldUnits = []unit{kgPerSquareMetre, tonsPerHectare, poundsPerAcre, poundsPerSquareFt}
)
