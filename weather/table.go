package weather

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
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
