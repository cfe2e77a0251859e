package weather

import (
	"fmt"
	"strings"
)

// eccc: daily data of Environment and Climate Change Canada, as its web site
// hands them out, a year or more of one station, in °C:
//
//   - since 2018 with a heading of 31 columns, of which the station's name and
//     Climate ID are two,
//   - before that with the station and a legend of the flags, 25 lines or so,
//     above the heading.
//
// Columns are found by name, English or French; the degree sign may be damaged.
// Values of the French files have a decimal comma. Several files in one, each
// with its own heading, are read as one.
//
// A value may be empty with the flag M and also without any flag. N and Y are
// values that are missing too, known to be above or below 0 °C. E is estimated,
// and used. A value with another flag is kept and marked.
//
// English headings and flags: real files and their own legend. French
// temperature headings and the decimal comma: as programs that read the files
// have them; the other French headings are from memory.
var eccc = format{
	name: "eccc",
	recognise: func(head []byte) bool {
		return hasHeading(string(head), ',', ecccHeading)
	},
	read: readECCC,
}

// ecccHeading finds the columns. Flags and Data Quality are needed, for other
// programs name their columns Max Temp (°C) too.
func ecccHeading(cells []string) (c serviceColumns, fault string, ok bool) {
	c = noServiceColumns(len(cells))
	for i, cell := range cells {
		switch name := columnName(cell); {
		case name == "date/time" || name == "date/heure":
			c.date = i
		case isECCCTemperature(name, "max temp (", "temp max.("):
			c.max, c.maxMark = i, ecccFlagColumn(cells, i)
		case isECCCTemperature(name, "min temp (", "temp min.("):
			c.min, c.minMark = i, ecccFlagColumn(cells, i)
		case name == "climate id" || name == "id climatologique":
			c.station = i
		case name == "station name" || name == "nom de la station":
			c.name = i
		case name == "data quality" || strings.HasPrefix(name, "qualit"):
			c.quality = i
		}
	}
	whole := c.date >= 0 && c.max >= 0 && c.min >= 0
	return c, "", whole && c.quality >= 0 && c.maxMark >= 0 && c.minMark >= 0
}

// isECCCTemperature reports whether name begins as one of two languages has it
// and ends in C. What stands between is the degree sign, in whatever state.
func isECCCTemperature(name, english, french string) bool {
	name = strings.Replace(name, ". (", ".(", 1)
	return (strings.HasPrefix(name, english) || strings.HasPrefix(name, french)) && strings.HasSuffix(name, "c)")
}

// ecccFlagColumn returns the column of the flag of the values in column i,
// which is the one behind it, or -1.
func ecccFlagColumn(cells []string, i int) int {
	if i+1 < len(cells) {
		if name := columnName(cells[i+1]); strings.Contains(name, "flag") || strings.Contains(name, "indicateur") {
			return i + 1
		}
	}
	return -1
}

func readECCC(body string, opt ReadOptions) (*Reading, error) {
	body = strings.ReplaceAll(body, byteOrderMark, "") // Every file of several in one begins with one.
	l, err := newServiceLines(body, ',', Celsius, opt, ecccHeading)
	if err != nil {
		return nil, err
	}
	l.prose = func(cells []string) {
		if len(cells) < 2 {
			return
		}
		switch columnName(cells[0]) {
		case "station name", "nom de la station":
			l.station, l.name = "", cells[1] // Another file begins.
		case "climate identifier", "identificateur climatologique":
			l.station = cells[1]
		}
	}
	var flags ecccFlags
	for l.next() {
		date := l.cell(l.columns.date)
		d, fault := parseDate(date)
		loText, hiText := l.cell(l.columns.min), l.cell(l.columns.max)
		if columnName(l.heading[l.columns.date]) == "date/heure" {
			loText, hiText = commaToPoint(loText), commaToPoint(hiText)
		}
		loFlag, hiFlag := l.cell(l.columns.minMark), l.cell(l.columns.maxMark)
		lo, loMark := ecccValue(loText, loFlag)
		hi, hiMark := ecccValue(hiText, hiFlag)
		mark := joinMarks(loMark, hiMark)
		if l.add(date, d, fault, lo, hi, Remark{Flag: mark}) {
			flags.see(loFlag, hiFlag, mark, l.cell(l.columns.quality))
		}
	}
	return l.done(append([]Finding{
		{"unit", "°C, by the format"},
		{"day", "ends at 06 UTC of the next day where readings are taken around the clock, since 1961-07"},
	}, flags.findings()...))
}

// ecccFlags counts what the service remarks of its values.
type ecccFlags struct {
	estimated               int // Values.
	marked                  int // Days.
	preliminary, ofPartners int // Days.
}

// ecccValue reads a value with its flag; mark is what is doubtful about it, or
// "".
func ecccValue(text, flag string) (v value, mark string) {
	v = readValue(text)
	if v.absent != "" {
		v.absent = "missing"
	}
	switch flag {
	case "", "E":
	case "M", "N", "Y":
		switch {
		case v.absent == "":
			return value{fault: fmt.Sprintf("%q is flagged missing (%s)", clip(text), flag)}, ""
		case flag == "N":
			v.absent = "missing, only known to be above 0 °C (N)"
		case flag == "Y":
			v.absent = "missing, only known to be below 0 °C (Y)"
		}
	case "^":
		mark = "from incomplete data (^)"
	default:
		mark = "unknown flag"
		if len(flag) <= 4 {
			mark = fmt.Sprintf("flag %q", clip(flag))
		}
	}
	return v, mark
}

// see counts what is remarked of a day that is used.
func (f *ecccFlags) see(loFlag, hiFlag, mark, quality string) {
	for _, flag := range []string{loFlag, hiFlag} {
		if flag == "E" {
			f.estimated++
		}
	}
	switch quality {
	case "†":
		f.preliminary++
	case "‡":
		f.ofPartners++
	}
	if mark != "" {
		f.marked++
	}
}

func (f *ecccFlags) findings() []Finding {
	var out []Finding
	if f.estimated > 0 {
		out = append(out, Finding{"estimated", numbered(f.estimated, "value is an estimate (E) and used", "values are estimates (E) and used")})
	}
	if f.marked > 0 {
		out = append(out, Finding{"flags", numbered(f.marked, "day has a value with a doubtful flag; it is kept and marked", "days have a value with a doubtful flag; they are kept and marked")})
	}
	if f.preliminary > 0 {
		out = append(out, Finding{"quality", numbered(f.preliminary, "day is preliminary (†)", "days are preliminary (†)")})
	}
	if f.ofPartners > 0 {
		out = append(out, Finding{"quality", numbered(f.ofPartners, "day is a partner's, not reviewed by the archive (‡)", "days are a partner's, not reviewed by the archive (‡)")})
	}
	return out
}

// commaToPoint returns a number with a decimal comma with a point; other text
// as it is.
func commaToPoint(s string) string {
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		return strings.Replace(s, ",", ".", 1)
	}
	return s
}

// joinMarks makes one flag of what is doubtful about the two values.
func joinMarks(lo, hi string) string {
	switch {
	case lo == "" && hi == "":
		return ""
	case hi == "":
		return "min: " + lo
	case lo == "":
		return "max: " + hi
	}
	return "min: " + lo + "; max: " + hi
}

// What follows is common to the files of national services: prose, a heading,
// and a day a line.

// serviceColumns are the places of what a national service tells of a day; -1 for
// none.
type serviceColumns struct {
	columns
	station, name    int
	minMark, maxMark int // Flag or indicator of the value.
	quality          int // Of the day.
}

func noServiceColumns(n int) serviceColumns {
	return serviceColumns{columns{date: -1, min: -1, max: -1, n: n}, -1, -1, -1, -1, -1}
}

// columnName is a heading as it is compared.
func columnName(cell string) string { return strings.ToLower(strings.TrimSpace(cell)) }

// headingFinder finds the columns in a line; ok says that it is the heading,
// and fault what is wrong with it, or "".
type headingFinder func(cells []string) (c serviceColumns, fault string, ok bool)

// hasHeading reports whether one of the lines of head is a heading.
func hasHeading(head string, comma byte, find headingFinder) bool {
	rows := newRows(head, comma)
	for {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			return false
		}
		if len(cells) == 0 || fault != "" || beginsAsNumber(cells[0]) {
			continue
		}
		if _, _, ok := find(cells); ok {
			return true
		}
	}
}

// serviceLines goes through the lines of a file. Rows count lines of data from 1,
// those of other stations and of dates without values too.
//
// A line is one of data when it begins with a number, as the station, the date
// and the longitude do, when a number is where the date should be, or when it
// has as many cells as the heading; other lines are prose. A heading may come
// again, with other columns.
type serviceLines struct {
	rows    rows
	batch   *Batch
	find    headingFinder
	columns serviceColumns
	heading []string
	fault   string // What is wrong with the heading.
	prose   func(cells []string)
	// Station and name as the prose has them, if no column does.
	station, name string
	choice        stationChoice
	cells         []string
	n             int // Lines of data.
	blank         int // Lines of the station taken that have neither value.
}

func newServiceLines(body string, comma byte, unit Unit, opt ReadOptions, find headingFinder) (*serviceLines, error) {
	unit, err := unitOf(unit, opt.Unit)
	if err != nil {
		return nil, err
	}
	b, err := NewBatch(unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	return &serviceLines{
		rows: newRows(body, comma), batch: b, find: find,
		choice: stationChoice{want: strings.TrimSpace(opt.Station)},
	}, nil
}

// next goes to the next line of data that is whole and of the station that is
// taken.
func (l *serviceLines) next() bool {
	for l.fault == "" {
		cells, fault := l.rows.next()
		if cells == nil && fault == "" {
			return false
		}
		l.cells = cells
		if len(cells) > 0 && !beginsAsNumber(cells[0]) {
			if l.see(cells) || len(cells) != l.columns.n && !l.hasDate() {
				continue
			}
		}
		if l.columns.n == 0 {
			continue
		}
		l.n++
		if fault == "" {
			fault = l.columns.fault(cells, l.rows.cutOff())
		}
		station := l.station
		if l.columns.station >= 0 {
			station = l.cell(l.columns.station)
			if station == "" && fault == "" {
				fault = "station is empty"
			}
		}
		if fault != "" {
			if len(cells) > l.columns.station+1 && l.choice.isOther(station) {
				continue
			}
			l.batch.Refuse(l.n, l.cell(l.columns.date), fault)
			continue
		}
		if l.choice.take(station, l.nameOf()) {
			return true
		}
	}
	return false
}

// hasDate reports whether the line has a number where the date should be.
func (l *serviceLines) hasDate() bool {
	date := l.cell(l.columns.date)
	return date != "" && isDigit(date[0])
}

// see looks at a line that begins with no number, and reports whether it is a
// heading.
func (l *serviceLines) see(cells []string) bool {
	c, fault, ok := l.find(cells)
	if !ok {
		if l.prose != nil {
			l.prose(cells)
		}
		return false
	}
	l.columns, l.fault, l.rows.columns = c, fault, c.n
	l.heading = append(l.heading[:0], cells...)
	return true
}

// nameOf returns the name of the station of the line, or "".
func (l *serviceLines) nameOf() string {
	if l.columns.name >= 0 {
		return l.cell(l.columns.name)
	}
	return strings.TrimSpace(l.name)
}

// cell returns a cell without the blanks around it; "" if there is none.
func (l *serviceLines) cell(i int) string {
	if i < 0 || i >= len(l.cells) {
		return ""
	}
	return strings.TrimSpace(l.cells[i])
}

// add adds the day of the line. Fault is what is wrong with its date, or "". It
// reports whether the line is a date with two numbers.
func (l *serviceLines) add(text string, d Date, fault string, lo, hi value, r Remark) bool {
	if fault != "" {
		l.batch.Refuse(l.n, text, "date "+fault)
		return false
	}
	if lo.absent != "" && hi.absent != "" {
		l.blank++
		l.batch.AddBlank()
		return false
	}
	if fault := valuesFault(lo, hi); fault != "" {
		l.batch.Refuse(l.n, text, fault)
		return false
	}
	l.batch.AddDay(l.n, d, &lo.number, &hi.number, r)
	return true
}

// done returns the reading, with the station before the findings.
func (l *serviceLines) done(findings []Finding) (*Reading, error) {
	switch {
	case l.fault != "":
		return nil, fileError(ErrBadHeader, "heading: %s", l.fault)
	case l.columns.n == 0:
		return nil, fileError(ErrBadHeader, "the file has no heading with date, lowest and highest temperature of its format")
	case l.n == 0:
		return nil, fileError(ErrNoRows, "the file has a heading but no rows")
	}
	if err := l.choice.fault(); err != nil {
		return nil, err
	}
	r, err := l.batch.Done()
	if err != nil {
		return nil, err
	}
	if r.Received == 0 {
		return nil, fileError(ErrNoRows, "the file gives neither min nor max for any of its %d dates", l.blank)
	}
	if s := l.choice.taken(); s != "" {
		r.Findings = append(r.Findings, Finding{"station", s})
	}
	r.Findings = append(r.Findings, findings...)
	if l.blank > 0 {
		r.Findings = append(r.Findings, Finding{"blank days", numbered(l.blank, "date has neither min nor max", "dates have neither min nor max")})
	}
	return r, nil
}

// numbered writes a number before what there is one or many of.
func numbered(n int, one, many string) string {
	if n == 1 {
		many = one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// beginsAsNumber reports whether a cell begins as a number does, or is empty.
func beginsAsNumber(cell string) bool {
	cell = strings.TrimSpace(cell)
	return cell == "" || cell[0] == '-' || isDigit(cell[0])
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// stationChoice takes the rows of one station: of the one that is wanted or,
// if none is, of the first. Whether there are others, fault tells.
type stationChoice struct {
	want  string
	seen  []string // Different ones, at most one more than maxStations.
	found bool
	name  string // Of the one that is taken.
	last  string // The one that was asked for last, and the answer.
	took  bool
}

const maxStations = 20 // That a question names.

// take reports whether the rows of a station are taken.
func (s *stationChoice) take(id, name string) bool {
	if s.seen != nil && id == s.last {
		return s.took
	}
	s.last = id
	short := clip(id)
	same := func(other string) bool { return sameStation(other, short) }
	known := false
	for _, other := range s.seen {
		known = known || same(other)
	}
	if !known && len(s.seen) <= maxStations {
		s.seen = append(s.seen, short)
	}
	s.took = s.want == "" && same(s.seen[0]) || s.want != "" && same(s.want)
	if s.took {
		s.found, s.name = true, clip(name)
	}
	return s.took
}

// isOther reports whether a damaged row with a whole identifier, or "", belongs
// to a station that is not wanted.
func (s *stationChoice) isOther(id string) bool {
	return s.want != "" && id != "" && !sameStation(clip(id), s.want)
}

// sameStation compares identifiers, which are written with leading zeros or
// without.
func sameStation(a, b string) bool {
	return strings.EqualFold(strings.TrimLeft(a, "0"), strings.TrimLeft(b, "0"))
}

// fault returns why no station can be taken, or nil.
func (s *stationChoice) fault() error {
	some := s.seen[:min(len(s.seen), maxStations)]
	switch {
	case s.want == "" && len(s.seen) > 1:
		text := fmt.Sprintf("The file has %d stations: say which one to take.", len(s.seen))
		if len(s.seen) > maxStations {
			text = fmt.Sprintf("The file has more than %d stations, of which %d are named here: say which one to take.", maxStations, maxStations)
		}
		return ask(Question{Option: OptionStation, Text: text, Choices: some})
	case s.want != "" && !s.found && strings.Join(some, "") == "":
		return fileError(ErrNoRows, "the file does not tell its station: whether it is %q cannot be known", clip(s.want))
	case s.want != "" && !s.found:
		return fileError(ErrNoRows, "the file has no row of station %q, but of %s", clip(s.want), strings.Join(some[:min(len(some), 5)], ", "))
	}
	return nil
}

// taken names the station.
func (s *stationChoice) taken() string {
	id := s.want
	for _, other := range s.seen {
		if s.want == "" || sameStation(other, s.want) {
			id = other
			break
		}
	}
	switch {
	case id == "":
		return s.name
	case s.name == "":
		return id
	}
	return id + ", " + s.name
}
