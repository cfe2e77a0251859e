package weather

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// What the columns of a table hold, by the words of their headings.

// columnKind is what a column of a table holds.
type columnKind uint8

const (
	otherColumn columnKind = iota
	dateColumn
	timeColumn // A time of day or, if there is no other one, a date.
	meanColumn // Temperature.
	minColumn
	maxColumn
	unitColumn
	stationColumn
)

// tableColumn is a column by what its heading says.
type tableColumn struct {
	name  string // Its label, different from that of others.
	kind  columnKind
	told  toldUnit
	part  datePart // That it may hold, whatever its kind.
	stem  string   // Of a min or max, what is left of the name without it.
	hours bool     // It holds hours of the day.
}

// nameColumns says what the cells of a heading name. The column whose label is
// want, if there is one, is taken for a temperature whatever it is called.
func nameColumns(cells []string, want string) []tableColumn {
	columns := make([]tableColumn, len(cells))
	seen := make(map[string]bool, len(cells))
	for i, c := range cells {
		columns[i] = nameColumn(label(c))
		name := columns[i].name
		if seen[strings.ToLower(name)] {
			name = fmt.Sprintf("%s (column %d)", name, i+1)
		}
		seen[strings.ToLower(name)] = true
		columns[i].name = name
		if k := columns[i].kind; want != "" && strings.EqualFold(name, want) && k != minColumn && k != maxColumn {
			columns[i].kind = meanColumn
		}
	}
	return columns
}

// isHeading reports whether columns are those of a heading, and where the
// first date is.
func isHeading(columns []tableColumn) (date int, ok bool) {
	is := func(kinds ...columnKind) func(tableColumn) bool {
		return func(c tableColumn) bool { return slices.Contains(kinds, c.kind) }
	}
	date = slices.IndexFunc(columns, is(dateColumn))
	if date < 0 {
		date = slices.IndexFunc(columns, is(timeColumn))
	}
	if parts := partsOf(columns); date < 0 && parts != nil {
		date = parts[0]
	}
	return date, date >= 0 && slices.ContainsFunc(columns, is(meanColumn, minColumn, maxColumn))
}

// word is a word of a heading in small letters.
type word struct {
	text   string
	degree bool // A degree sign, perhaps a damaged one, stands before it.
	part   bool // It is a part of the word before it, as "C" of "TempC".
}

// wordsOf returns the words of a text. What letters make up is a word, and if
// capitals part it, the parts are words too.
func wordsOf(s string) []word {
	s = signs.Replace(s)
	var words []word
	degree := false
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		if !unicode.IsLetter(r) {
			switch r {
			case ' ':
			case '°', unicode.ReplacementChar, '?':
				degree = true
			default:
				degree = false
			}
			i += size
			continue
		}
		from, start, lower := i, i, false
		var parts []word
		for i < len(s) {
			r, size := utf8.DecodeRuneInString(s[i:])
			if !unicode.IsLetter(r) {
				break
			}
			if unicode.IsUpper(r) && lower {
				parts = append(parts, word{text: strings.ToLower(s[start:i]), part: true})
				start = i
			}
			lower = unicode.IsLower(r)
			i += size
		}
		words = append(words, word{text: strings.ToLower(s[from:i]), degree: degree})
		if parts != nil {
			words = append(words, parts...)
			words = append(words, word{text: strings.ToLower(s[start:i]), part: true})
		}
		degree = false
	}
	return words
}

// signs makes one of the signs for degrees, among them those that come of a
// file read in the wrong encoding: UTF-8 as Windows-1252, the code pages of DOS
// and of old Macs.
var signs = strings.NewReplacer("℃", "°C", "℉", "°F", "º", "°", "˚", "°", "Â°", "°",
	"øC", "°C", "øF", "°F", "¡C", "°C", "¡F", "°F", "∞C", "°C", "∞F", "°F")

// toldUnit is the unit that a heading tells.
type toldUnit struct {
	unit   Unit // Or "".
	kelvin bool
}

// unitIn finds the unit in the words of a heading. A degree sign or a whole
// name counts before a letter by itself, which may be the number of a sensor.
func unitIn(words []word) toldUnit {
	var sure, maybe struct{ c, f, k bool }
	before := ""
	for _, w := range words {
		seen := &maybe
		if w.degree || degreeWords[before] {
			seen = &sure
		}
		switch w.text {
		case "c":
			seen.c = true
		case "f":
			seen.f = true
		case "k":
			seen.k = true
		case "celsius", "centigrade", "degc", "degsc", "tempc", "airtc":
			sure.c = true
		case "fahrenheit", "degf", "degsf", "tempf", "airtf":
			sure.f = true
		case "kelvin":
			sure.k = true
		}
		before = w.text
	}
	for _, s := range [...]struct{ c, f, k bool }{sure, maybe} {
		switch {
		case s.c && !s.f:
			return toldUnit{unit: Celsius}
		case s.f && !s.c:
			return toldUnit{unit: Fahrenheit}
		case s.c && s.f:
			return toldUnit{}
		case s.k:
			return toldUnit{kelvin: true}
		}
	}
	return toldUnit{}
}

var degreeWords = setOf("deg degs degree degrees grad degré degrés degre degres grados graden gradi")

// unitWords are the words of a unit.
var unitWords = setOf("c f celsius centigrade fahrenheit degc degf deg degs degree degrees grad degrés grados graden gradi")

// nameColumn says what one cell of a heading names.
func nameColumn(name string) tableColumn {
	c := tableColumn{name: name, part: partNamed(name)}
	words := wordsOf(aboveGround.Replace(name))
	c.told = unitIn(words)
	if c.told.unit == Celsius && inTenths(name) {
		c.told.unit = Tenths
	}
	var is struct{ date, time, temp, min, max, other, unit, station, rest bool }
	onlyStation := len(words) > 0
	for i, w := range words {
		t := w.text
		temp := strings.Contains(t, "temp") && !timeWords[t] || tempWords[t]
		if otherWords[t] || containsAny(t, otherStems) || t == "in" && (i == 0 || i == len(words)-1) { // Not "in °C".
			is.other = true
		}
		is.date = is.date || dateWords[t]
		is.time = is.time || timeWords[t]
		c.hours = c.hours || hourWords[t]
		is.temp = is.temp || temp || w.degree && (t == "c" || t == "f") ||
			t == "celsius" || t == "fahrenheit" || t == "degc" || t == "degf"
		if (t == "c" || t == "f") && i > 0 && degreeWords[words[i-1].text] {
			is.temp = true
		}
		low, high := minWords[t] || containsAny(t, minStems) || temp && strings.Contains(t, "min"),
			maxWords[t] || containsAny(t, maxStems) || temp && strings.Contains(t, "max")
		is.min, is.max = is.min || low, is.max || high
		if !low && !high {
			if !w.part {
				c.stem += t + " "
			}
		} else if temp {
			c.stem += "temp "
		}
		is.unit = is.unit || unitNames[t]
		if !stationNames[t] && !stationBeside[t] {
			onlyStation = false
		}
		is.station = is.station || stationNames[t]
	}
	for _, r := range name { // Sensors have numbers.
		if unicode.IsDigit(r) {
			c.stem += string(r)
		}
	}
	plain := strings.ToLower(strings.TrimSpace(name))
	switch {
	case is.unit && len(words) <= 2 && !is.date && !is.min && !is.max:
		c.kind = unitColumn
	case is.station && onlyStation:
		c.kind = stationColumn
	case is.date || is.time:
		// "Timestamp … every 15 min" and "Time of high": the latter is none.
		if is.temp || is.max || is.min && !strings.HasPrefix(plain, "time") && !strings.HasPrefix(plain, "date") {
			break
		}
		c.kind = timeColumn
		if is.date {
			c.kind = dateColumn
		}
	case plain == "data" || plain == "data/ora" || plain == "data ora" || plain == "data e ora" || plain == "data/hora":
		c.kind = dateColumn
	case is.other:
	case is.min && is.max:
	case is.min:
		c.kind = minColumn
	case is.max:
		c.kind = maxColumn
	case is.temp:
		c.kind = meanColumn
	}
	return c
}

// aboveGround takes out where a thermometer hangs, for what is measured in the
// ground is passed over.
var aboveGround = strings.NewReplacer("above ground", "", "above the ground", "", "über Grund", "", "über Boden", "", "über dem Boden", "", "boven de grond", "")

// inTenths reports whether a heading says that its numbers are tenths.
func inTenths(name string) bool {
	name = strings.ReplaceAll(strings.ToLower(signs.Replace(name)), " ", "")
	return strings.Contains(name, "0.1°c") || strings.Contains(name, "0,1°c") || strings.Contains(name, "1/10°c") ||
		strings.Contains(name, "tenths") || strings.Contains(name, "zehntel")
}

func containsAny(s string, stems []string) bool {
	return slices.ContainsFunc(stems, func(stem string) bool { return strings.Contains(s, stem) })
}

func setOf(words string) map[string]bool {
	set := map[string]bool{}
	for w := range strings.FieldsSeq(words) {
		set[w] = true
	}
	return set
}

// The words of headings in English, German, French, Spanish, Dutch and Italian,
// in small letters. Stems are found within words, for German and Dutch put
// words together.
var (
	dateWords = setOf("date datum dato fecha jour jours day dag tag día dia giorno datetime dateutc timestamp" +
		" zeitstempel zeitpunkt horodatage horodate tijdstip datumtijd fechahora dataora dateheure")
	timeWords = setOf("time zeit uhrzeit messzeit heure hora ora tijd uur hour hours stunde clock temps tempo")
	hourWords = setOf("hour hours stunde heure hora ora uur")

	// Beside words with "temp" in them.
	tempWords = setOf("airtc airtf tair tavg tmean")
	minWords  = setOf("min mini minimum minimal minimale minimo mínimo minima mínima mín tmin low lo lowest laagste")
	maxWords  = setOf("max maxi maximum maximal maximale maximo máximo maxima máxima máx massimo massima tmax high hi highest hoogste")
	minStems  = []string{"tiefst", "niedrigst"}
	maxStems  = []string{"höchst", "hoechst"}

	// What is measured beside the air's temperature, and what only tells of it.
	otherWords = setOf("dew rosée rosee rocío rocio rugiada wb wet wind gust rain uv rad bar baro rh hr co lux light" +
		" heat feels like feel apparent index chill thw thsw soil sol suelo suolo bodem boden grass water leaf eau agua" +
		" acqua inside indoor interior intérieur interieur interno ptemp panel box board cpu case battery batt battv" +
		" volt volts voltage alarm flag flags qflag ind quality count std stdev sd delta diff range interval duration" +
		" elapsed rate speed dir direction pressure solar radiation precip et dd days vpd setpoint departure normal")
	otherStems = []string{
		"humid", "feucht", "vocht", "hygro", "taupunkt", "dewp", "dauw", "soil", "boden", "bodem", "grond", "ground",
		"batt", "indoor", "innen", "binnen", "tempin", "intemp", "wasser", "water", "gefühl", "gevoel", "ressenti",
		"windchill", "heatindex", "wetbulb", "alarm", "minut", "druck", "humed", "umid", "rugiada", "apparent",
	}

	unitNames     = setOf("unit units einheit unité unite unidad eenheid unità")
	stationNames  = setOf("station site logger device sensor node messstelle")
	stationBeside = setOf("name id no nr number s n")
)
