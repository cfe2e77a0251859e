package weather

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// table is any other delimited text with a heading: what field loggers, the
// software of weather stations and spreadsheets export. It holds either days,
// with their min and max, or readings within the day, which become days by the
// rule of samples.
//
// The heading is the last line before the data that names dates and
// temperatures, in one of the languages of dateWords and the like; anything may
// stand above it. Year, month and day may have a column each, as may year and
// day of the year, and hour and minute. Rows are counted from 1 below the
// heading, without blank lines. Of readings, the row of a refused day is its
// first, and a date that is none is refused once.
var table = format{
	name:      "table",
	recognise: recogniseTable,
	read:      readTable,
}

func recogniseTable(head []byte) bool {
	text := strings.TrimLeftFunc(string(head), unicode.IsSpace)
	if text == "" || text[0] == '{' || text[0] == '<' {
		return false
	}
	if text[0] == '[' { // A list of JSON, but not the title of a paragraph.
		if next := strings.TrimLeftFunc(text[1:], unicode.IsSpace); next == "" || strings.IndexByte(`{["]`, next[0]) >= 0 {
			return false
		}
	}
	h, found := findHeading(lineEnds(text), "")
	return found && !slices.ContainsFunc(h.columns, func(c tableColumn) bool { return ofService(c.name) })
}

// ofService reports whether a column is one of a national service. Such files
// have flags and conventions of their own, over which a table would pass.
func ofService(name string) bool {
	name = strings.ToLower(name)
	return name == "climate id" || name == "stations_id" || strings.HasSuffix(name, "_attributes") ||
		strings.Contains(name, "qflag")
}

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

// tableReader reads a table.
type tableReader struct {
	heading
	opt   ReadOptions
	zones map[string]int16

	date, clock   int   // Columns; clock is -1 if there is none.
	minute        int   // Column, or -1.
	parts         []int // Columns of the parts of the date, the first being date; nil if date has all.
	dates         dateKind
	hint          DateOrder // By the heading.
	offset        int16     // Of all times by the heading, or noOffset.
	daily         bool      // Rows are days with lo and hi, not readings of temp.
	temp, lo, hi  int
	unit, station int  // Columns, or -1.
	loose         bool // The first row may have more cells than the heading.
	pending       []Question

	written  dates
	readings []reading
	days     []dayRow
	told     Unit   // By the heading, or "".
	origin   string // Of told.
	n        int    // Rows.
	notes    tally  // Rows that are none, such as of events.
	faulty   tally  // Readings that are no number.
	blanks   int    // Readings that are missing.
	points   bool   // Numbers have a decimal point,
	commas   bool   // or a comma.
	inC, inF int    // Numbers that tell their own unit,
	silent   int    // and those that do not.
	clocked  bool   // Rows of days have a time other than midnight.
	ended    bool   // Rows are stamped when what they are about is over.
	stations []string
}

// tally counts and remembers the first.
type tally struct {
	n, row int
	text   string
}

func (t *tally) add(row int, text string) {
	if t.n++; t.n == 1 {
		t.row, t.text = row, text
	}
}

// dayRow is a row of a table of days.
type dayRow struct {
	row          int
	date         int32 // In tableReader.written, or -1 for day.
	day          Date
	text         string // Of the date.
	lo, hi       cell
	loRaw, hiRaw string
	fault        string
}

func readTable(body string, opt ReadOptions) (*Reading, error) {
	opt.Column = label(opt.Column)
	h, found := findHeading(lineEnds(body), opt.Column)
	if !found {
		return nil, fileError(ErrBadHeader,
			"no line near the beginning is the heading of a table: it must name a column of dates, such as date, time or timestamp, or year, month and day, and one of temperatures, such as temp or °C, or min and max")
	}
	t := &tableReader{
		heading: h, opt: opt, zones: zoneNames(opt.zone(), opt.Latest.Year()),
		ended: strings.HasPrefix(strings.TrimLeft(body, "\" \t\r\n"), endStamped),
	}
	if err := t.choose(); err != nil {
		return nil, err
	}
	t.readRows()
	order, why, err := t.settleDates()
	if err != nil {
		return nil, err
	}
	unit, origin, err := t.settleUnit()
	if err != nil {
		return nil, err
	}
	if len(t.stations) > 1 && opt.Station == "" {
		t.pending = append(t.pending, askStation(t.columns[t.station].name, t.stations))
	}
	if len(t.pending) > 0 {
		return nil, ask(t.pending...)
	}
	if err := t.empty(); err != nil {
		return nil, err
	}
	b, err := NewBatch(unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	findings := t.understood(order, why, unit, origin)
	if t.daily {
		t.addDays(b)
	} else {
		more, err := t.addReadings(b)
		if err != nil {
			return nil, err
		}
		findings = append(findings, more...)
	}
	r, err := b.Done()
	if err != nil {
		return nil, err
	}
	r.Findings = findings
	return r, nil
}

const (
	sampleRows = 100 // By which columns are told.
	// endStamped is what tables of a common kind of logger begin with. A row of
	// theirs is stamped when its time is over, one of a day at the midnight that
	// ends it (from memory).
	endStamped = "TOA5"
)

// choose finds the columns, by their headings and the first rows.
func (t *tableReader) choose() error {
	t.unit, t.station = t.column(unitColumn), t.column(stationColumn)
	var sample [][]string
	rows := t.rows()
	for len(sample) < sampleRows {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			break
		}
		if fault == "" {
			sample = append(sample, slices.Clone(cells))
		}
	}
	t.loose = len(sample) > 0
	for _, cells := range sample[min(1, len(sample)):] {
		t.loose = t.loose && !t.excess(cells)
	}
	t.chooseDate(sample)
	return t.chooseTemperature(sample)
}

func (t *tableReader) rows() rows {
	rows := newRows(t.rest, t.comma)
	rows.columns = len(t.columns)
	return rows
}

func (t *tableReader) column(kind columnKind) int {
	return slices.IndexFunc(t.columns, func(c tableColumn) bool { return c.kind == kind })
}

// chooseDate finds the columns of dates and of times of day.
func (t *tableReader) chooseDate(sample [][]string) {
	t.date, t.clock, t.minute, t.offset = -1, -1, -1, noOffset
	most := 0
	for _, kind := range [...]columnKind{dateColumn, timeColumn} {
		for i, c := range t.columns {
			if c.kind != kind {
				continue
			}
			var of [epochDate + 1]int
			for _, cells := range sample {
				if i < len(cells) {
					of[dateKindOf(cells[i])]++
				}
			}
			for k := textDate; k <= epochDate; k++ {
				if of[k] > most || t.date < 0 {
					t.date, t.dates, most = i, k, of[k]
				}
			}
		}
		if 2*most > len(sample) {
			break
		}
	}
	if parts := partsOf(t.columns); parts != nil && 2*most <= len(sample) {
		t.parts, t.date, t.dates = parts, parts[0], textDate
	}
	name := strings.ToLower(t.columns[t.date].name)
	for _, h := range [...]struct {
		order    DateOrder
		spelling []string
	}{
		{DayFirst, []string{"dd/mm", "d/m/y", "dd.mm", "dd-mm", "tt.mm", "jj/mm"}},
		{MonthFirst, []string{"mm/dd", "m/d/y", "mm-dd"}},
		{YearFirst, []string{"yy/mm", "yy-mm", "y/m/d"}},
	} {
		if containsAny(name, h.spelling) {
			t.hint = h.order
		}
	}
	if m, ok := headingOffset(t.columns[t.date].name); ok {
		t.offset = m
	}
	if t.dates == epochDate || t.timed(sample) {
		return
	}
	for i, c := range t.columns {
		if c.kind != timeColumn || i == t.date {
			continue
		}
		good, bad := 0, 0
		for _, cells := range sample {
			if i >= len(cells) || strings.TrimSpace(cells[i]) == "" {
				continue
			}
			if _, ok := parseClock(strings.TrimSpace(cells[i]), t.zones, c.hours); ok {
				good++
			} else {
				bad++
			}
		}
		if good > bad {
			t.clock, t.minute = i, partColumn(t.columns, minutePart)
			if m, ok := headingOffset(c.name); ok {
				t.offset = m
			}
			return
		}
	}
}

// timed reports whether the cells of dates have a time of day other than
// midnight, which spreadsheets write behind a date.
func (t *tableReader) timed(sample [][]string) bool {
	return slices.ContainsFunc(sample, func(cells []string) bool {
		if t.date >= len(cells) {
			return false
		}
		if t.dates == serialDate {
			at, ok := parseSerial(strings.TrimSpace(cells[t.date]))
			return ok && at%secondsPerDay != 0
		}
		_, clock := splitStamp(strings.TrimSpace(cells[t.date]))
		c, ok := parseClock(clock, t.zones, false)
		return ok && c.seconds != 0
	})
}

// minMax are the columns of a min and a max that belong together.
type minMax struct{ lo, hi int }

// pairs finds them: by what stands beside min and max in their names.
func (t *tableReader) pairs() []minMax {
	var pairs []minMax
	var los, his []int
	for i, c := range t.columns {
		switch c.kind {
		case minColumn:
			los = append(los, i)
		case maxColumn:
			his = append(his, i)
		}
	}
	if len(los) == 1 && len(his) == 1 {
		return []minMax{{los[0], his[0]}}
	}
	for _, lo := range los {
		k := slices.IndexFunc(his, func(hi int) bool { return t.columns[hi].stem == t.columns[lo].stem })
		if k >= 0 {
			pairs = append(pairs, minMax{lo, his[k]})
			his = slices.Delete(his, k, k+1)
		}
	}
	return pairs
}

// chooseTemperature finds what the table is of. Where rows lie within the day,
// a column of temperatures is taken and not those of extremes: many stations
// give the extremes since midnight, and at midnight those of the day before.
func (t *tableReader) chooseTemperature(sample [][]string) error {
	pairs := t.pairs()
	var means []int
	for i, c := range t.columns {
		if c.kind == meanColumn {
			means = append(means, i)
		}
	}
	if want := t.opt.Column; want != "" {
		at := slices.IndexFunc(t.columns, func(c tableColumn) bool { return strings.EqualFold(c.name, want) })
		if at < 0 {
			return fileError(ErrBadHeader, "the file has no column %q; it has %s", clip(want), t.list(nil))
		}
		of := func(p minMax) bool { return p.lo == at || p.hi == at }
		if k := slices.IndexFunc(pairs, of); k >= 0 {
			pairs = pairs[k : k+1]
		} else {
			pairs, means = nil, []int{at}
		}
	}
	within := t.withinDays(sample)
	var choices []int
	switch {
	case len(pairs) > 0 && !within:
		t.daily, t.lo, t.hi = true, pairs[0].lo, pairs[0].hi
		for _, p := range pairs {
			choices = append(choices, p.lo)
		}
	case len(means) > 0:
		t.temp, choices = means[0], means
	case len(pairs) > 0:
		return fileError(ErrBadHeader, "the rows lie within the day and have a min and a max but no temperature: export the readings themselves, or one row a day")
	case t.column(minColumn) >= 0:
		return fileError(ErrBadHeader, "the heading has a min, %q, but no max of it", clip(t.columns[t.column(minColumn)].name))
	default:
		return fileError(ErrBadHeader, "the heading has a max, %q, but no min of it", clip(t.columns[t.column(maxColumn)].name))
	}
	if len(choices) > 1 {
		q := Question{
			Option: OptionColumn,
			Text:   fmt.Sprintf("The file has %d columns that may be the temperature of the air, %s: say which to take.", len(choices), t.list(choices)),
		}
		for _, i := range choices {
			q.Choices = append(q.Choices, t.columns[i].name)
		}
		t.pending = append(t.pending, q)
	}
	return t.headingUnit(choices)
}

// list names columns, all of them if which is nil, for an error.
func (t *tableReader) list(which []int) string {
	var names []string
	for i, c := range t.columns {
		if c.name == "" || which != nil && !slices.Contains(which, i) {
			continue
		}
		if len(names) == 3 {
			names = append(names, "…")
			break
		}
		names = append(names, fmt.Sprintf("%q", clip(c.name)))
	}
	return strings.Join(names, ", ")
}

// withinDays reports whether the first rows have several of a date.
func (t *tableReader) withinDays(sample [][]string) bool {
	last, same, n := "", 0, 0
	for _, cells := range sample {
		s := t.dateText(cells)
		date, _ := splitStamp(s)
		switch t.dates {
		case epochDate:
			at, _ := parseEpoch(s)
			date = fmt.Sprint(at / secondsPerDay)
		case serialDate:
			at, _ := parseSerial(s)
			date = fmt.Sprint(at / secondsPerDay)
		}
		if date == "" {
			continue
		}
		if n > 0 && date == last {
			same++
		}
		last = date
		n++
	}
	return n > 1 && 2*same >= n-1
}

// headingUnit takes the unit from the headings; choices are the columns
// between which the sender has to choose.
func (t *tableReader) headingUnit(choices []int) error {
	columns := []int{t.temp}
	if t.daily {
		columns = []int{t.lo, t.hi}
	}
	for _, i := range columns {
		c := t.columns[i]
		switch {
		case c.told.kelvin:
			return fileError(ErrBadHeader, "the column %q is in kelvin: export it in °C or °F", clip(c.name))
		case t.told != "" && c.told.unit != "" && t.told != c.told.unit:
			return fileError(ErrBadHeader, "columns %q and %q do not tell the same unit", clip(t.columns[t.lo].name), clip(c.name))
		case t.told == "":
			t.told, t.origin = c.told.unit, "by the heading"
		}
	}
	if len(choices) > 1 { // The one that will be taken may tell its unit.
		for _, i := range choices {
			if t.told == "" {
				t.told = t.columns[i].told.unit
			}
		}
		if t.told != "" && t.opt.Unit != "" {
			t.told = t.opt.Unit
		}
	}
	return nil
}

// excess reports whether a row has more cells than the heading.
func (t *tableReader) excess(cells []string) bool {
	return len(cells) > len(t.columns) && strings.TrimSpace(strings.Join(cells[len(t.columns):], "")) != ""
}

// readRows reads all rows.
func (t *tableReader) readRows() {
	if !t.daily {
		const least = 12 // Bytes of a row with a time and a temperature.
		t.readings = make([]reading, 0, min(strings.Count(t.rest, "\n")+1, len(t.rest)/least+1))
	}
	rows := t.rows()
	before := 0 // Cells of the row before.
	for {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			return
		}
		t.n++
		switch {
		case fault != "":
		case t.comma == ',' && t.excess(cells) && !(t.n == 1 && t.loose):
			fault = fmt.Sprintf("row has %d cells instead of %d, is a comma its decimal sign?", len(cells), len(t.columns))
		case rows.cutOff() && len(cells) < before:
			fault = fmt.Sprintf("row has %d of %d cells, it is cut off", len(cells), before)
		}
		before = len(cells)
		if !t.ofStation(cells) {
			continue
		}
		if t.daily {
			t.readDay(cells, fault)
		} else {
			t.readReading(cells, fault)
		}
	}
}

// askStation asks which of several stations, named in a column, is meant.
func askStation(column string, stations []string) Question {
	return Question{
		Option:  OptionStation,
		Text:    fmt.Sprintf("The file has readings of more than one station, by its column %q: say which to take.", clip(column)),
		Choices: stations,
	}
}

func noRowOf(wanted, found string) error {
	return fileError(ErrNoRows, "no row is of the station %q; the file has %q", clip(wanted), clip(found))
}

// ofStation reports whether a row is of the station that is wanted.
func (t *tableReader) ofStation(cells []string) bool {
	if t.station < 0 || t.station >= len(cells) {
		return true
	}
	s := strings.TrimSpace(cells[t.station])
	if s == "" {
		return true
	}
	if n := len(t.stations); (n == 0 || t.stations[n-1] != s) && n < maxStations && !slices.Contains(t.stations, label(s)) {
		t.stations = append(t.stations, label(s))
	}
	return t.opt.Station == "" || strings.EqualFold(label(s), label(t.opt.Station))
}

// textAt returns a cell, or "" where the row is shorter.
func textAt(cells []string, i int) string {
	if i < 0 || i >= len(cells) {
		return ""
	}
	return strings.TrimSpace(cells[i])
}

// stamp is when a row is of: the place of its date in written and the seconds
// of its day, or seconds since 1970 if the date is a number.
type stamp struct {
	date    int32
	seconds int64
	offset  int16
	day     Date // If the date is a number.
	text    string
	fault   string
}

// dateText returns the date of a row as it is written, of several columns as
// one.
func (t *tableReader) dateText(cells []string) string {
	if t.parts != nil {
		return joinParts(cells, t.parts)
	}
	return textAt(cells, t.date)
}

func (t *tableReader) stamp(cells []string) stamp {
	s := t.dateText(cells)
	at := stamp{date: -1, offset: t.offset, text: s}
	var ok bool
	clock := ""
	switch t.dates {
	case epochDate:
		if at.seconds, ok = parseEpoch(s); !ok {
			at.fault = fmt.Sprintf("date %q is no date", clip(s))
			return at
		}
		at.offset = 0
		at.day = civilDay(at.seconds, t.opt.zone())
		return at
	case serialDate:
		if at.seconds, ok = parseSerial(s); !ok {
			at.fault = fmt.Sprintf("date %q is no date", clip(s))
			return at
		}
		at.day = Date(at.seconds / secondsPerDay)
	default:
		at.text, clock = splitStamp(s)
	}
	c := clockTime{offset: noOffset}
	if t.clock >= 0 {
		clock = textAt(cells, t.clock)
		if clock == "" {
			at.fault = "time is empty"
		}
		if t.minute >= 0 && clock != "" && len(clock) <= 2 {
			clock += ":" + textAt(cells, t.minute)
		}
	}
	if clock != "" {
		if c, ok = parseClock(clock, t.zones, t.clock >= 0 && t.columns[t.clock].hours); !ok {
			at.fault = fmt.Sprintf("time %q is none", clip(clock))
		}
		at.seconds += int64(c.seconds)
	}
	if c.offset != noOffset {
		at.offset = c.offset
	}
	return at
}

// readCellAt reads a temperature and counts its unit.
func (t *tableReader) readCellAt(cells []string, i int) cell {
	c := readCell(textAt(cells, i))
	if c.state != cellNumber {
		return c
	}
	switch c.sign {
	case '.':
		t.points = true
	case ',':
		t.commas = true
	}
	if c.unit == "" && t.unit >= 0 {
		if u := textAt(cells, t.unit); u != "" {
			var ok bool
			if c.unit, ok = unitSuffix(u); !ok || c.unit == "" {
				c.state = cellBad
				return c
			}
		}
	}
	switch c.unit {
	case Celsius:
		t.inC++
	case Fahrenheit:
		t.inF++
	default:
		t.silent++
	}
	return c
}

// note passes over a row without a date and a number, such as of an event. A
// line under the heading may tell the unit.
func (t *tableReader) note(cells []string, temp int) {
	if len(t.readings) == 0 && len(t.days) == 0 && t.told == "" {
		if told := unitIn(wordsOf(textAt(cells, temp))); told.unit != "" {
			t.told, t.origin = told.unit, "by the line under the heading"
		}
	}
	t.notes.add(t.n, strings.TrimSpace(strings.Join(cells, " ")))
}

func (t *tableReader) readReading(cells []string, fault string) {
	at := t.stamp(cells)
	c := t.readCellAt(cells, t.temp)
	if t.dates == textDate {
		if c.state != cellNumber {
			if _, ok := parseWritten(at.text); !ok {
				t.note(cells, t.temp)
				return
			}
		}
		at.date = t.written.add(at.text, t.n)
	} else if at.fault != "" && c.state != cellNumber {
		t.note(cells, t.temp)
		return
	}
	switch {
	case at.fault != "":
		c.state, fault = cellBad, at.fault
	case fault != "":
		c.state = cellBad
	case c.state == cellBad:
		fault = textAt(cells, t.temp)
	}
	switch c.state {
	case cellBad:
		t.faulty.add(t.n, fault)
	case cellMissing:
		t.blanks++
	}
	if at.fault != "" && at.date < 0 {
		return
	}
	r := reading{x: c.x, row: int32(t.n), offset: at.offset, state: c.state, at: at.seconds}
	if at.date >= 0 {
		r.at |= int64(at.date) << dateShift
	}
	switch c.unit {
	case Celsius:
		r.unit = 1
	case Fahrenheit:
		r.unit = 2
	}
	t.readings = append(t.readings, r)
}

func (t *tableReader) readDay(cells []string, fault string) {
	at := t.stamp(cells)
	if strings.HasPrefix(at.fault, "time") {
		at.fault = ""
	}
	d := dayRow{row: t.n, date: -1, day: at.day, text: at.text, fault: fault}
	if fault == "" {
		d.fault = at.fault
		d.lo, d.hi = t.readCellAt(cells, t.lo), t.readCellAt(cells, t.hi)
		d.loRaw, d.hiRaw = textAt(cells, t.lo), textAt(cells, t.hi)
		if u := textAt(cells, t.unit); u != "" && d.fault == "" {
			if unit, ok := unitSuffix(u); !ok || unit == "" {
				d.fault = fmt.Sprintf("unit %q is neither C nor F", clip(u))
			}
		}
	}
	t.clocked = t.clocked || at.seconds%secondsPerDay != 0 && t.dates == textDate
	if t.dates == textDate {
		if _, ok := parseWritten(at.text); !ok && d.lo.state != cellNumber && d.hi.state != cellNumber && fault == "" {
			t.note(cells, t.lo)
			return
		}
		d.date = t.written.add(at.text, t.n)
	}
	t.days = append(t.days, d)
}

// empty returns an error if there is nothing to read.
func (t *tableReader) empty() error {
	numbers := t.inC + t.inF + t.silent
	switch {
	case t.opt.Station != "" && len(t.stations) > 0 && len(t.readings) == 0 && len(t.days) == 0:
		return noRowOf(t.opt.Station, t.stations[0])
	case t.n == 0:
		return fileError(ErrNoRows, "the file has a heading but no rows")
	case len(t.readings) == 0 && len(t.days) == 0:
		return fileError(ErrNoRows, "none of %d rows has a date and a temperature; the first is %q", t.n, clip(t.notes.text))
	case !t.daily && t.dates == textDate && !slices.ContainsFunc(t.written.all, func(w writtenDate) bool { return w.fault == "" }):
		return fileError(ErrNoRows, "no row has a date that can be read; the first is %q", clip(t.written.all[0].text))
	case numbers == 0 && !t.daily:
		return fileError(ErrNoRows, "none of %d rows has a temperature in %q that can be read", t.n, clip(t.columns[t.temp].name))
	}
	return nil
}

// settleDates finds the order of the dates and reads them. Days of the year
// that are counted from 0 would all be a day off and are none.
func (t *tableReader) settleDates() (order DateOrder, why string, err error) {
	if yearDay := len(t.parts) == 2; yearDay {
		for _, w := range t.written.all {
			if strings.HasSuffix(w.text, "-000") {
				return "", "", fileError(ErrBadHeader, "%q is 0 in row %d, so that it does not count the days of the year from 1: export dates, or add 1 to it",
					clip(t.columns[t.parts[1]].name), w.row)
			}
		}
	}
	order, why, q, err := t.written.order(t.opt.Dates, t.hint)
	switch {
	case err != nil:
		return "", "", err
	case q != nil:
		t.pending = append(t.pending, *q)
		return "", "", nil
	}
	t.written.settle(order)
	return order, why, nil
}

// settleUnit finds the unit of the values that do not tell their own. Where all
// do, it is that of most.
func (t *tableReader) settleUnit() (unit Unit, origin string, err error) {
	own := Celsius
	if t.inF > t.inC {
		own = Fahrenheit
	}
	switch {
	case t.told != "":
		unit, err = unitOf(t.told, t.opt.Unit)
		return unit, t.origin, err
	case t.silent == 0 && t.inC > 0 && t.inF > 0:
		return own, "as each row tells", nil
	case t.silent == 0 && t.inC+t.inF > 0:
		unit, err = unitOf(own, t.opt.Unit)
		return unit, "behind each number or beside it", err
	case t.opt.Unit != "":
		return t.opt.Unit, "by the request", nil
	case t.silent == 0: // No numbers: the unit does not matter.
		return Celsius, "", nil
	}
	t.pending = append(t.pending, askUnit())
	return "", "", nil
}

// dayBefore reports whether rows are stamped at the midnight that ends their day.
func (t *tableReader) dayBefore() bool { return t.ended && !t.clocked }

// addDays adds the rows of days to a batch.
func (t *tableReader) addDays(b *Batch) {
	main := b.unit
	for _, d := range t.days {
		day := d.day
		fault := d.fault
		if d.date >= 0 {
			w := &t.written.all[d.date]
			day = w.day
			if fault == "" {
				fault = w.fault
			}
		}
		if t.dayBefore() {
			day--
		}
		if fault == "" {
			fault = cellFault("min", d.lo, d.loRaw)
		}
		if fault == "" {
			fault = cellFault("max", d.hi, d.hiRaw)
		}
		switch {
		case fault != "":
			b.Refuse(d.row, d.text, fault)
			continue
		case d.lo.state == cellMissing && d.hi.state == cellMissing:
			b.AddBlank()
			continue
		}
		// A row may tell a unit of its own; that of the batch is put back below.
		lo, hi := d.lo.unit, d.hi.unit
		if lo == "" {
			lo = main
		}
		if hi == "" {
			hi = main
		}
		b.unit = lo
		if d.lo.state == cellNumber && d.hi.state == cellNumber && lo != hi {
			d.hi.x = lo.of(hi.Celsius(d.hi.x))
		}
		b.AddDay(d.row, day, d.lo.point(), d.hi.point(), Remark{})
	}
	b.unit = main
}

func (c *cell) point() *float64 {
	if c.state != cellNumber {
		return nil
	}
	return &c.x
}

func cellFault(field string, c cell, raw string) string {
	if c.state != cellBad {
		return ""
	}
	return fmt.Sprintf("%s %q is not a number", field, clip(raw))
}

// understood says how the file was read.
func (t *tableReader) understood(order DateOrder, why string, unit Unit, origin string) []Finding {
	var f []Finding
	cells := "parted by " + delimiterName(t.comma)
	switch {
	case t.commas && t.points:
		cells += ", decimal comma in some rows and point in others"
	case t.commas:
		cells += ", decimal comma"
	}
	f = append(f, Finding{"cells", cells})
	if t.before > 0 {
		f = append(f, Finding{"preamble", countOf(t.before, "line") + " before the heading passed over"})
	}
	date := []string{fmt.Sprintf("%q", clip(t.columns[t.date].name))}
	for _, i := range t.parts[min(1, len(t.parts)):] {
		date = append(date, fmt.Sprintf("%q", clip(t.columns[i].name)))
	}
	columns := "date in " + strings.Join(date, " and ")
	if t.clock >= 0 {
		columns += fmt.Sprintf(", time in %q", clip(t.columns[t.clock].name))
	}
	if t.minute >= 0 {
		columns += fmt.Sprintf(" and %q", clip(t.columns[t.minute].name))
	}
	if t.daily {
		columns += fmt.Sprintf(", min in %q, max in %q", clip(t.columns[t.lo].name), clip(t.columns[t.hi].name))
	} else {
		columns += fmt.Sprintf(", temperature in %q", clip(t.columns[t.temp].name))
	}
	if t.unit >= 0 {
		columns += fmt.Sprintf(", unit in %q", clip(t.columns[t.unit].name))
	}
	f = append(f, Finding{"columns", columns})
	f = append(f, t.dateFinding(order, why))
	if origin != "" {
		found := unit.sign() + ", " + origin
		if t.inC > 0 && t.inF > 0 {
			found = fmt.Sprintf("°C in %s, °F in %d, %s", countOf(t.inC, "value"), t.inF, "as each row tells")
		}
		if t.silent > 0 && t.inC+t.inF > 0 {
			found = fmt.Sprintf("%s, %s, but for %s with their own", unit.sign(), origin, countOf(t.inC+t.inF, "value"))
		}
		f = append(f, Finding{"unit", found})
	}
	if t.station >= 0 && t.opt.Station != "" {
		f = append(f, Finding{"station", clip(t.opt.Station)})
	}
	if t.notes.n > 0 {
		f = append(f, Finding{"notes", fmt.Sprintf("%s without a date and a temperature passed over, first row %d: %q",
			countOf(t.notes.n, "row"), t.notes.row, clip(t.notes.text))})
	}
	if t.daily && t.dayBefore() {
		f = append(f, Finding{"days", fmt.Sprintf("a row stamped at midnight is of the day that ends there, as in files that begin with %q", endStamped)})
	}
	if t.daily && t.clocked {
		f = append(f, Finding{"time", "the time of day of a row is passed over"})
	}
	return f
}

func (t *tableReader) dateFinding(order DateOrder, why string) Finding {
	switch t.dates {
	case serialDate:
		return Finding{"dates", "serial numbers of a spreadsheet, counted from 1900"}
	case epochDate:
		return Finding{"dates", "seconds since 1970 UTC"}
	}
	var example, named *writtenDate
	for i := range t.written.all {
		w := &t.written.all[i]
		if w.fault != "" {
			continue
		}
		if example == nil || example.done && !w.done {
			example = w
		}
		if w.name && named == nil {
			named = w
		}
	}
	switch {
	case example == nil:
		return Finding{"dates", "none can be read"}
	case !example.done:
		return Finding{"dates", fmt.Sprintf("%s, %s; %q is %s", orderName(order), why, clip(example.text), example.day)}
	case named != nil:
		return Finding{"dates", fmt.Sprintf("with the name of the month; %q is %s", clip(named.text), named.day)}
	}
	return Finding{"dates", fmt.Sprintf("year first; %q is %s", clip(example.text), example.day)}
}

// countOf is a number of things, such as "1 row" and "12,345 rows".
func countOf(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return grouped(n) + " " + thing
}

func grouped(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
