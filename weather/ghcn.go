package weather

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// The Global Historical Climatology Network, Daily (GHCN-Daily), of the US
// National Centers for Environmental Information (NCEI) comes in many layouts:
// ghcn_dly.go, ghcn_wide.go, ghcn_rows.go and ncei.go read them. What they have
// in common is here: elements, flags, hours, stations, and the joining of TMIN
// and TMAX where a layout gives them apart. What the fields mean is from NOAA's
// readme of GHCN-Daily, version 3.26.
//
// Of the elements only TMIN and TMAX are extremes of one day. MDTN and MDTX are
// those of several days; TAVG and TOBS are no extremes. They are passed over.

// The elements that are read, as places in pairs.
const (
	tmin = iota
	tmax
	ghcnElements
)

var ghcnElementNames = [ghcnElements]string{"min", "max"} // In the words of the batch.

// ghcnElement tells TMIN and TMAX from all others.
func ghcnElement(code string) (el int, ok bool) {
	switch code {
	case "TMIN":
		return tmin, true
	case "TMAX":
		return tmax, true
	}
	return 0, false
}

// ghcnMissing stands for a missing value.
const ghcnMissing = -9999

// ghcnTests are the tests that a quality flag says were failed.
var ghcnTests = map[byte]string{
	'D': "duplicate (D)",
	'G': "gap (G)",
	'I': "internal consistency (I)",
	'K': "streak (K)",
	'L': "length of period (L)",
	'M': "mega-consistency (M)",
	'N': "naught (N)",
	'O': "climatological outlier (O)",
	'R': "lagged range (R)",
	'S': "spatial consistency (S)",
	'T': "temporal consistency (T)",
	'W': "too warm for snow (W)",
	'X': "bounds (X)",
	'Z': "official investigation (Z)",
}

// failedTest says what a quality flag means.
func failedTest(flag byte) string {
	if test, ok := ghcnTests[flag]; ok {
		return test
	}
	return "unknown test (" + string(rune(flag)) + ")"
}

// failedTests says in what a day failed the tests of its source, "" if in
// nothing, from the quality flags of its extremes; 0 is no flag.
func failedTests(minFlag, maxFlag byte) string {
	switch {
	case minFlag == 0 && maxFlag == 0:
		return ""
	case maxFlag == 0:
		return "min: " + failedTest(minFlag)
	case minFlag == 0:
		return "max: " + failedTest(maxFlag)
	}
	return "min: " + failedTest(minFlag) + "; max: " + failedTest(maxFlag)
}

// qualityFlag returns the flag that a cell holds, or 0. What does not print
// becomes a question mark: a flag that is not known is still one.
func qualityFlag(cell string) byte {
	cell = ghcnCell(cell)
	switch {
	case cell == "":
		return 0
	case cell[0] < '!' || cell[0] > '~':
		return '?'
	}
	return cell[0]
}

// ghcnCell returns what is in a cell; "NA" is how R writes an empty one.
func ghcnCell(s string) string {
	s = strings.TrimSpace(s)
	if s == "NA" {
		return ""
	}
	return s
}

// ghcnAttributes reads "MFLAG,QFLAG,SFLAG,HHMM", whose end may be missing.
func ghcnAttributes(s string) (flag byte, hour int8) {
	_, rest, _ := strings.Cut(s, ",") // How it was measured.
	quality, rest, _ := strings.Cut(rest, ",")
	_, at, _ := strings.Cut(rest, ",") // From which source.
	return qualityFlag(quality), readingHour(at)
}

// readingHour returns the hour, 1 to 24, nearest to the time HHMM, of which
// leading zeros may be missing; midnight is 24, and 0 that there is no such time.
func readingHour(hhmm string) int8 {
	hhmm = ghcnCell(hhmm)
	if hhmm == "" || len(hhmm) > 4 {
		return 0
	}
	n := 0
	for i := range len(hhmm) {
		if hhmm[i] < '0' || hhmm[i] > '9' {
			return 0
		}
		n = 10*n + int(hhmm[i]-'0')
	}
	if n > 2400 || n%100 > 59 {
		return 0
	}
	if hour := (n/100*60 + n%100 + 30) / 60; hour > 0 {
		return int8(hour)
	}
	return 24
}

// hourOf returns the hour of observation of a day. Where those of its extremes
// differ it is that of the max: a reading in the morning gives the max of the
// day before, but the min of its own.
func hourOf(minHour, maxHour int8) int8 {
	if maxHour != 0 {
		return maxHour
	}
	return minHour
}

// ghcnDate reads YYYYMMDD or YYYY-MM-DD, behind which a midnight may stand; the
// fault is a clause, or "".
func ghcnDate(s string) (d Date, fault string) {
	s = strings.TrimSpace(s)
	if s == "" {
		return 0, "date is empty"
	}
	digits, day := s, strings.TrimSuffix(s, "T00:00:00")
	if len(day) == len("YYYY-MM-DD") && day[4] == '-' && day[7] == '-' {
		digits = day[:4] + day[5:7] + day[8:]
	}
	n, ok := wholeNumber(digits)
	if len(digits) != len("YYYYMMDD") || digits[0] == '-' || !ok {
		return 0, fmt.Sprintf("date %q is not a calendar date YYYYMMDD", clip(s))
	}
	y, m, dd := n/10_000, n/100%100, n%100
	if m < 1 || m > 12 || dd < 1 || dd > daysIn(y, m) {
		return 0, fmt.Sprintf("date %q is not a calendar date YYYYMMDD", clip(s))
	}
	d = DateOf(y, time.Month(m), dd)
	if fault := yearFault(d); fault != "" {
		return 0, "date " + fault
	}
	return d, ""
}

// daysIn returns how many days a month has.
func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// wholeNumber reads digits, at most eight, with or without a minus.
func wholeNumber(s string) (n int, ok bool) {
	digits := s
	if s != "" && s[0] == '-' {
		digits = s[1:]
	}
	if digits == "" || len(digits) > 8 {
		return 0, false
	}
	for i := range len(digits) {
		if digits[i] < '0' || digits[i] > '9' {
			return 0, false
		}
		n = 10*n + int(digits[i]-'0')
	}
	if len(digits) < len(s) {
		n = -n
	}
	return n, true
}

// ghcnTenths reads a value in tenths of °C, which are whole numbers. The fault
// is a clause, or "".
func ghcnTenths(s string) value {
	s = ghcnCell(s)
	if s == "" {
		return value{absent: "missing"}
	}
	n, ok := wholeNumber(s)
	switch {
	case !ok && readValue(s).fault == "":
		return value{fault: fmt.Sprintf("%q is no whole number, as tenths of °C are", clip(s))}
	case !ok:
		return value{fault: fmt.Sprintf("%q is not a number", clip(s))}
	case n == ghcnMissing:
		return value{absent: "missing"}
	}
	return value{number: float64(n)}
}

// ghcnNumber reads a value in any unit.
func ghcnNumber(s string) value {
	v := readValue(ghcnCell(s))
	if v.absent != "" || v.fault == "" && v.number == ghcnMissing {
		return value{absent: "missing"}
	}
	return v
}

// ghcnStations are the stations of a file that have temperatures.
type ghcnStations struct {
	ids   []string // In the order of the file.
	known map[string]bool
	last  string
}

// see takes note of a station.
func (s *ghcnStations) see(id string) {
	if id == s.last || id == "" {
		return
	}
	s.last = id
	if s.known[id] {
		return
	}
	if s.known == nil {
		s.known = map[string]bool{}
	}
	s.known[id] = true
	s.ids = append(s.ids, strings.Clone(id))
}

// choose returns the station to take, given the one that was asked for. It is
// "" for a file that names none, or when there is a question.
func (s *ghcnStations) choose(want string) (id string, open []Question, err error) {
	want = strings.TrimSpace(want)
	switch {
	case len(s.ids) == 0:
		return "", nil, nil
	case want != "":
		for _, id := range s.ids {
			if strings.EqualFold(id, want) {
				return id, nil, nil
			}
		}
		return "", nil, fileError(ErrNoRows, "the file has no temperatures of station %s, but of %s", clip(want), s.list(3))
	case len(s.ids) == 1:
		return s.ids[0], nil, nil
	}
	const most = 20
	q := Question{
		Option: OptionStation,
		Text:   fmt.Sprintf("The file has %d stations: say which one to take.", len(s.ids)),
	}
	for _, id := range s.ids[:min(most, len(s.ids))] {
		q.Choices = append(q.Choices, clip(id))
	}
	if len(s.ids) > most {
		q.Text = fmt.Sprintf("The file has %d stations, of which %d are named here: say which one to take.", len(s.ids), most)
	}
	return "", []Question{q}, nil
}

// list names the first stations.
func (s *ghcnStations) list(most int) string {
	n := min(most, len(s.ids))
	names := make([]string, n)
	for i, id := range s.ids[:n] {
		names[i] = clip(id)
	}
	text := strings.Join(names, ", ")
	if more := len(s.ids) - n; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// ghcnDays joins values that come apart into days. Its months are those from
// minYear to maxYear, so its size does not depend on what the file says.
type ghcnDays struct {
	batch  *Batch
	months []*ghcnMonth
}

type ghcnMonth [31]ghcnDay

// ghcnDay is what a file says of a date.
type ghcnDay struct {
	values [ghcnElements]ghcnValue
	row    int32 // That first says something of it.
	fault  string
}

// ghcnValue is a value of one element.
type ghcnValue struct {
	number float64
	row    int32
	times  int32 // How often the file has it; 0: never.
	flag   byte  // Of its quality.
	hour   int8  // Of its observation.
}

func newGhcnDays(b *Batch) *ghcnDays {
	return &ghcnDays{batch: b, months: make([]*ghcnMonth, 12*(maxYear-minYear+1))}
}

// month returns a month, whose year must be one of a record.
func (g *ghcnDays) month(year, month int) *ghcnMonth {
	at := &g.months[12*(year-minYear)+month-1]
	if *at == nil {
		*at = &ghcnMonth{}
	}
	return *at
}

// day returns the place of a date, whose year must be one of a record.
func (g *ghcnDays) day(d Date) *ghcnDay {
	y, m, dd := d.Civil()
	return &g.month(y, int(m))[dd-1]
}

// refuseNoDate refuses a value of a day that its month has not.
func (g *ghcnDays) refuseNoDate(row, year, month, day int) {
	date := fmt.Sprintf("%d-%02d-%02d", year, month, day)
	g.batch.Refuse(row, date, fmt.Sprintf("date %s is not in the calendar", date))
}

// set adds what row says of an element: that it is missing, what is wrong with
// it, or its value. A date with two different values of an element is refused,
// for nobody can know which one is right.
func (d *ghcnDay) set(el, row int, v value, flag byte, hour int8) {
	if d.row == 0 {
		d.row = int32(row)
	}
	old := &d.values[el]
	switch {
	case v.absent != "":
		return
	case v.fault != "":
		if d.fault == "" {
			d.fault = ghcnElementNames[el] + " " + v.fault
		}
		return
	case old.times > 0 && old.number != v.number:
		if d.fault == "" {
			d.fault = fmt.Sprintf("%s is %g in row %d and %g in row %d", ghcnElementNames[el], old.number, old.row, v.number, row)
		}
		return
	case old.times > 0:
		old.times++
		old.flag, old.hour = cmp.Or(old.flag, flag), cmp.Or(old.hour, hour)
		return
	}
	*old = ghcnValue{v.number, int32(row), 1, flag, hour}
}

// put hands the days on to the batch, in the order of their dates. A date of
// which the file says that both are missing is blank, if its day has come:
// layouts by month also have the rest of the present one.
func (g *ghcnDays) put(latest Date) {
	for i, m := range g.months {
		if m == nil {
			continue
		}
		year, month := minYear+i/12, 1+i%12
		first := DateOf(year, time.Month(month), 1)
		for j := range daysIn(year, month) {
			day, date := &m[j], first+Date(j)
			lo, hi := &day.values[tmin], &day.values[tmax]
			switch {
			case day.row == 0:
			case day.fault != "":
				g.batch.Refuse(int(day.row), date.String(), day.fault)
			case lo.times == 0 && hi.times == 0:
				if date <= latest {
					g.batch.AddBlank()
				}
			default:
				remark := Remark{failedTests(lo.flag, hi.flag), hourOf(lo.hour, hi.hour)}
				for range max(1, min(lo.times, hi.times)) { // More than once: said again.
					g.batch.AddDay(int(day.row), date, lo.pointer(), hi.pointer(), remark)
				}
			}
		}
	}
}

func (v *ghcnValue) pointer() *float64 {
	if v.times == 0 {
		return nil
	}
	return &v.number
}

// ghcnAbout is how a file of the network was understood.
type ghcnAbout struct {
	station string // Or "".
	unit    string
	flags   bool // Whether the layout has quality flags.
}

// ghcnDone closes a batch and says how the file was understood.
func ghcnDone(b *Batch, about ghcnAbout) (*Reading, error) {
	r, err := b.Done()
	if err != nil {
		return nil, err
	}
	if r.Received == 0 {
		return nil, fileError(ErrNoRows, "the file has no day with TMIN or TMAX")
	}
	flagged := 0
	var hours [25]int
	for _, m := range r.Remarks {
		if m.Flag != "" {
			flagged++
		}
		hours[m.Hour]++
	}
	station := about.station
	if station == "" {
		station = "the file names none"
	}
	r.Findings = append(r.Findings, Finding{"station", station}, Finding{"unit", about.unit})
	switch {
	case !about.flags:
		r.Findings = append(r.Findings, Finding{"flags", "the file has none, so days that failed the source's own tests are not known"})
	case flagged == 1:
		r.Findings = append(r.Findings, Finding{"flags", "1 day failed the source's own tests; it is kept and marked"})
	case flagged > 0:
		r.Findings = append(r.Findings, Finding{"flags", fmt.Sprintf("%d days failed the source's own tests; they are kept and marked", flagged)})
	default:
		r.Findings = append(r.Findings, Finding{"flags", "no day failed the source's own tests"})
	}
	if text := ghcnHours(hours); text != "" {
		r.Findings = append(r.Findings, Finding{"hours of observation", text})
	}
	if r.Blank > 0 {
		r.Findings = append(r.Findings, Finding{"blank days", fmt.Sprintf("%s neither min nor max", ghcnCount(r.Blank, "date has", "dates have"))})
	}
	return r, nil
}

// ghcnHours names the most frequent hours of observation; counts[0] is how
// many days have none.
func ghcnHours(counts [25]int) string {
	const most = 4
	var hours []int
	for h := 1; h < len(counts); h++ {
		if counts[h] > 0 {
			hours = append(hours, h)
		}
	}
	if hours == nil {
		return ""
	}
	slices.SortStableFunc(hours, func(a, b int) int { return cmp.Compare(counts[b], counts[a]) })
	var parts []string
	for i, h := range hours[:min(most, len(hours))] {
		part := fmt.Sprintf("%d:00 on %d", h, counts[h])
		if i == 0 {
			part = fmt.Sprintf("%d:00 on %s", h, ghcnCount(counts[h], "day", "days"))
		}
		parts = append(parts, part)
	}
	if more := len(hours) - most; more > 0 {
		parts = append(parts, ghcnCount(more, "other hour", "other hours"))
	}
	if counts[0] > 0 {
		parts = append(parts, fmt.Sprintf("not told on %d", counts[0]))
	}
	return strings.Join(parts, ", ")
}

// ghcnCount is a number with its noun.
func ghcnCount(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// tenthsByFormat is what the layouts say that are in tenths by their format.
const tenthsByFormat = "tenths of °C, by the format"

// unitSaid is what is found of a unit that the sender has told.
func unitSaid(u Unit) string { return u.sign() + ", as was said" }

// ghcnHeading returns the place of the first of names in a heading, or -1. Headings
// are compared without case and blanks.
func ghcnHeading(header []string, names ...string) int {
	return slices.IndexFunc(header, func(cell string) bool {
		return slices.Contains(names, strings.ToLower(strings.TrimSpace(cell)))
	})
}

// ghcnCellAt returns a cell, "" for a column that the file or the row has not.
func ghcnCellAt(cells []string, i int) string {
	if i < 0 || i >= len(cells) {
		return ""
	}
	return cells[i]
}

// startsLikeStation reports whether s is like an identifier of the network:
// two letters for the country, one sign for the sort of number, eight more.
func startsLikeStation(s string) bool {
	if len(s) != 11 {
		return false
	}
	for i := range len(s) {
		letter := 'A' <= s[i] && s[i] <= 'Z' || 'a' <= s[i] && s[i] <= 'z' && i > 1
		if sign := '0' <= s[i] && s[i] <= '9' || s[i] == '-' || s[i] == '_'; !letter && (i < 2 || !sign) {
			return false
		}
	}
	return true
}

// likeElement reports whether s is like the code of an element.
func likeElement(s string) bool {
	if len(s) != 4 {
		return false
	}
	for i := range len(s) {
		if c := s[i]; (c < 'A' || c > 'Z') && (c < '0' || c > '9' || i == 0) {
			return false
		}
	}
	return true
}
