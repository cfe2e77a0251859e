package weather

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// dateKind is how the cells of a column of dates are written.
type dateKind uint8

const (
	noDate     dateKind = iota
	textDate            // In any spelling of parseWritten, perhaps with a time of day.
	serialDate          // Days of a spreadsheet, such as 45000.25.
	epochDate           // Seconds or thousandths of a second since 1970 UTC.
)

// The numbers that are taken for dates. Serial numbers, which count days from
// the last day but one of 1899, are of 1954 to 2119; instants are of 2001 to
// 2033, so that 2026051014, an hour, is none.
const (
	firstSerial, lastSerial = 20_000, 80_000
	serialOf1970            = 25_569
	firstEpoch, lastEpoch   = 1_000_000_000, 2_000_000_000
)

// dateKindOf tells how a cell writes a date.
func dateKindOf(s string) dateKind {
	date, _ := splitStamp(strings.TrimSpace(s))
	if date == "" {
		return noDate
	}
	if w, ok := parseWritten(date); ok {
		for _, o := range [...]DateOrder{DayFirst, MonthFirst, YearFirst} {
			if _, ok := w.day(o); ok {
				return textDate
			}
		}
	}
	if _, ok := parseEpoch(date); ok {
		return epochDate
	}
	if _, ok := parseSerial(date); ok {
		return serialDate
	}
	return noDate
}

// parseSerial reads the serial number of a spreadsheet into seconds since 1970
// on the clock of the place.
func parseSerial(s string) (int64, bool) {
	c := readCell(s)
	if c.state != cellNumber || c.unit != "" || !(firstSerial <= c.x && c.x <= lastSerial) {
		return 0, false
	}
	return int64(math.Round((c.x - serialOf1970) * secondsPerDay)), true
}

// parseEpoch reads an instant in whole seconds, or thousandths of them, since
// 1970 UTC.
func parseEpoch(s string) (int64, bool) {
	if len(s) != 10 && len(s) != 13 || !allDigits(s) {
		return 0, false
	}
	t, err := strconv.ParseInt(s[:10], 10, 64)
	return t, err == nil && firstEpoch <= t && t < lastEpoch
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// splitStamp parts a cell into a date and a time of day, either of which may
// be "". Times have a colon, but not those of 20260510T1430 and 202605101430.
func splitStamp(s string) (date, clock string) {
	i := strings.IndexByte(s, ':')
	if i < 0 {
		switch n := len(s); {
		case n > 9 && s[8] == 'T' && allDigits(s[:8]):
			return s[:8], s[9:]
		case (n == 12 || n == 14) && allDigits(s):
			return s[:8], s[8:]
		}
		return s, ""
	}
	for i > 0 && '0' <= s[i-1] && s[i-1] <= '9' {
		i--
	}
	j := i
	for j > 0 && (s[j-1] == ' ' || s[j-1] == 'T' || s[j-1] == '\t' || s[j-1] == ',' || s[j-1] == '_') {
		j--
	}
	return s[:j], s[i:]
}

// written is a date in the order in which it is written.
type written struct {
	part  [3]int
	first int  // Digits of the first part.
	last  int  // And of the last.
	sep   byte // Between the parts: '/', '.', '-' or ' '.
	// done: the order is known, and part is year, month and day.
	done bool
	name bool // The month is a name.
}

// short reports whether the year has two digits, so that it may come first.
func (w *written) short() bool { return w.first <= 2 && w.last <= 2 }

// parseWritten reads a date: year first with four digits, yyyymmdd, yyyy-ddd
// with the day of the year, two numbers and a name of a month, or three numbers
// whose order is open. Two
// digits of a year, 00 to 69, are of 2000 to 2069, others of 1970 to 1999. It
// does not say that the calendar has it.
func parseWritten(s string) (w written, ok bool) {
	var width [3]int
	n, month, first := 0, 0, ""
	for i := 0; i < len(s); {
		b := s[i]
		switch {
		case '0' <= b && b <= '9':
			from := i
			for ; i < len(s) && '0' <= s[i] && s[i] <= '9'; i++ {
			}
			if n == 3 || i-from > 8 {
				return w, false
			}
			w.part[n], _ = strconv.Atoi(s[from:i]) // Of at most eight digits.
			width[n] = i - from
			n++
		case b == '/' || b == '.' || b == '-':
			if w.sep != 0 && w.sep != b {
				return w, false
			}
			w.sep = b
			i++
		case b == ' ' || b == ',' || b == '\t':
			i++
		default:
			rest := strings.IndexFunc(s[i:], func(r rune) bool { return !unicode.IsLetter(r) })
			if rest == 0 {
				return w, false
			}
			if rest < 0 {
				rest = len(s) - i
			}
			name := strings.ToLower(s[i : i+rest])
			i += rest
			switch m := monthNamed(name); {
			case m > 0 && month == 0:
				month, first = m, name
			case m > 0 && strings.HasPrefix(first, "mar"): // A Tuesday.
				month, first = m, name
			case m > 0 || !besideDate(name):
				return w, false
			}
		}
	}
	if w.sep == 0 {
		w.sep = ' '
	}
	w.first, w.last = width[0], width[max(n-1, 0)]
	switch {
	case month > 0 && n == 2:
		day, year := 0, 1
		if width[0] > 2 {
			day, year = 1, 0
		}
		if width[day] > 2 || width[year] != 2 && width[year] != 4 {
			return w, false
		}
		w.part = [3]int{fullYear(w.part[year], width[year]), month, w.part[day]}
		w.done, w.name = true, true
		return w, true
	case month > 0:
		return w, false
	case n == 1 && width[0] == 8:
		x := w.part[0]
		w.part, w.done = [3]int{x / 10_000, x / 100 % 100, x % 100}, true
		return w, true
	case n == 2 && width[0] == 4 && width[1] == 3 && w.sep == '-':
		w.part, w.done = ofYearDay(w.part[0], w.part[1]), true
		return w, true
	case n != 3 || width[1] > 2:
		return w, false
	case width[0] == 4 && width[2] <= 2:
		w.done = true
		return w, true
	}
	return w, width[0] <= 2 && (width[2] == 2 || width[2] == 4)
}

// ofYearDay returns year, month and day of a day of the year, the month 0 if
// the year has no such day.
func ofYearDay(year, n int) [3]int {
	y, m, d := DateOf(year, time.January, n).Civil()
	if y != year {
		m = 0
	}
	return [3]int{year, int(m), d}
}

// fullYear is a year of so many digits.
func fullYear(y, digits int) int {
	switch {
	case digits > 2:
		return y
	case y < 70:
		return 2000 + y
	}
	return 1900 + y
}

// day returns the date if it is read in an order; false if the calendar has no
// such one.
func (w *written) day(order DateOrder) (Date, bool) {
	y, m, d := w.part[0], w.part[1], w.part[2]
	switch {
	case w.done:
	case order == YearFirst && w.short():
		y = fullYear(y, 2)
	case order == DayFirst:
		y, m, d = fullYear(w.part[2], w.last), w.part[1], w.part[0]
	case order == MonthFirst:
		y, m, d = fullYear(w.part[2], w.last), w.part[0], w.part[1]
	default:
		return 0, false
	}
	if m < 1 || m > 12 || d < 1 {
		return 0, false
	}
	date := DateOf(y, time.Month(m), d)
	_, back, _ := date.Civil()
	return date, back == time.Month(m) && d <= 31
}

// monthNamed returns the month of a name or its beginning in English, German,
// French, Spanish, Dutch or Italian, in small letters; 0 if it is none.
func monthNamed(name string) int {
	if strings.HasPrefix(name, "jui") {
		switch {
		case strings.HasPrefix(name, "juin"):
			return 6
		case strings.HasPrefix(name, "juil"):
			return 7
		}
		return 0
	}
	runes := 0
	for i := range name {
		if runes == 3 {
			name = name[:i]
			break
		}
		runes++
	}
	return monthBeginnings[name]
}

// monthBeginnings are the first three letters of months.
var monthBeginnings = map[string]int{
	"jan": 1, "jän": 1, "ene": 1, "gen": 1,
	"feb": 2, "fév": 2, "fev": 2,
	"mar": 3, "mär": 3, "mae": 3, "mrz": 3, "mrt": 3, "maa": 3,
	"apr": 4, "avr": 4, "abr": 4,
	"may": 5, "mai": 5, "mei": 5, "mag": 5,
	"jun": 6, "giu": 6,
	"jul": 7, "lug": 7,
	"aug": 8, "aoû": 8, "aou": 8, "ago": 8,
	"sep": 9, "set": 9,
	"oct": 10, "okt": 10, "ott": 10,
	"nov": 11,
	"dec": 12, "dez": 12, "déc": 12, "dic": 12,
}

// besideDate reports whether a word may stand beside a date and means nothing:
// a day of the week, or the like of "de" and "th".
func besideDate(word string) bool {
	switch word {
	case "de", "del", "of", "den", "der", "le", "el", "st", "nd", "rd", "th", "er",
		"mo", "di", "mi", "do", "fr", "sa", "so":
		return true
	}
	for _, day := range [...]string{
		"mon", "tue", "wed", "thu", "fri", "sat", "sun", "die", "mit", "don", "fre", "sam", "son",
		"lun", "mer", "jeu", "ven", "dim", "mié", "mie", "jue", "vie", "sáb", "sab", "dom",
		"maa", "din", "woe", "vri", "zat", "zon", "gio",
	} {
		if strings.HasPrefix(word, day) {
			return true
		}
	}
	return false
}

// noOffset is the offset of a time that tells none.
const noOffset = math.MinInt16

// clockTime is a time of day: seconds since its midnight, 0 to 86,400, and
// minutes ahead of UTC or noOffset.
type clockTime struct {
	seconds int
	offset  int16
}

// parseClock reads a time of day: 14:30, with seconds and parts of them, which
// are left out, of 24 hours up to 24:00 or of 12 with AM or PM, and with an
// offset from UTC or the name of one in zones. Of 14, where hours are written,
// 1430 and 143000 it takes the digits.
func parseClock(s string, zones map[string]int16, hours bool) (clockTime, bool) {
	c := clockTime{offset: noOffset}
	h, rest, ok := leadingNumber(s, 6)
	if !ok {
		return c, false
	}
	width := len(s) - len(rest)
	m, sec := 0, 0
	switch {
	case rest != "" && rest[0] == ':' && width <= 2:
		m, rest, ok = leadingNumber(rest[1:], 2)
		if !ok {
			return c, false
		}
		if len(rest) > 1 && rest[0] == ':' {
			sec, rest, ok = leadingNumber(rest[1:], 2)
			if !ok {
				return c, false
			}
		}
		if len(rest) > 1 && (rest[0] == '.' || rest[0] == ',' || rest[0] == ':') {
			_, rest, ok = leadingNumber(rest[1:], 9)
			if !ok {
				return c, false
			}
		}
	case hours && width <= 2:
	case width == 3 || width == 4:
		h, m = h/100, h%100
	case width == 6:
		h, m, sec = h/10_000, h/100%100, h%100
	default:
		return c, false
	}
	if rest = strings.TrimSpace(rest); rest != "" {
		half, after := cutHalf(rest)
		if half != 0 {
			if h < 1 || h > 12 {
				return c, false
			}
			h %= 12
			if half == 'p' {
				h += 12
			}
		}
		if rest = strings.TrimSpace(after); rest != "" {
			if c.offset, ok = parseOffset(rest, zones); !ok {
				return c, false
			}
		}
	}
	if m > 59 || sec > 60 || h > 24 || h == 24 && (m > 0 || sec > 0) {
		return c, false
	}
	c.seconds = 3600*h + 60*m + min(sec, 59) // A leap second is the one before.
	return c, true
}

// leadingNumber reads a number of one to most digits.
func leadingNumber(s string, most int) (n int, rest string, ok bool) {
	i := 0
	for ; i < len(s) && i < most && '0' <= s[i] && s[i] <= '9'; i++ {
		n = 10*n + int(s[i]-'0')
	}
	return n, s[i:], i > 0 && (i == len(s) || s[i] < '0' || s[i] > '9')
}

// cutHalf takes the half of the day off the front of s: "AM", "p.m.", "a".
func cutHalf(s string) (half byte, rest string) {
	half = s[0] | 0x20
	if half != 'a' && half != 'p' {
		return 0, s
	}
	word, after, _ := strings.Cut(s, " ")
	if rest, ok := strings.CutPrefix(after, "m."); ok && len(word) == 2 { // "a. m."
		return half, rest
	}
	switch strings.ToLower(strings.ReplaceAll(word, ".", "")) {
	case "a", "am", "p", "pm":
		return half, after
	}
	return 0, s
}

// parseOffset reads an offset from UTC, such as "Z", "+02:00", "-0400" and
// "GMT-04:00", or the name of one in zones, in minutes.
func parseOffset(s string, zones map[string]int16) (int16, bool) {
	switch s {
	case "Z", "z", "UTC", "GMT":
		return 0, true
	}
	if m, ok := zones[s]; ok {
		return m, true
	}
	if len(s) > 3 && (strings.EqualFold(s[:3], "UTC") || strings.EqualFold(s[:3], "GMT")) {
		s = strings.TrimSpace(s[3:])
	}
	sign := int16(1)
	switch {
	case strings.HasPrefix(s, "+"):
		s = s[1:]
	case strings.HasPrefix(s, "-"):
		s, sign = s[1:], -1
	case strings.HasPrefix(s, "\u2212"):
		s, sign = s[len("\u2212"):], -1
	default:
		return 0, false
	}
	h, rest, ok := leadingNumber(s, 4)
	if !ok {
		return 0, false
	}
	m := 0
	switch width := len(s) - len(rest); {
	case width > 2:
		if rest != "" {
			return 0, false
		}
		h, m = h/100, h%100
	case rest != "":
		if m, rest, ok = leadingNumber(strings.TrimPrefix(rest, ":"), 2); !ok || rest != "" {
			return 0, false
		}
	}
	if h > 14 || m > 59 {
		return 0, false
	}
	return sign * int16(60*h+m), true
}

// headingOffset finds an offset from UTC in a heading, such as in
// "Date Time, GMT-04:00" and "Time (UTC)".
func headingOffset(name string) (int16, bool) {
	name = strings.ToUpper(name)
	if strings.Contains(name, "DATEUTC") {
		return 0, true
	}
	for _, utc := range [...]string{"GMT", "UTC"} {
		i := strings.Index(name, utc)
		if i < 0 || i > 0 && 'A' <= name[i-1] && name[i-1] <= 'Z' {
			continue
		}
		rest := strings.TrimSpace(name[i+len(utc):])
		end := strings.IndexFunc(rest, func(r rune) bool {
			return !unicode.IsDigit(r) && r != '+' && r != '-' && r != '\u2212' && r != ':'
		})
		if end >= 0 {
			rest = rest[:end]
		}
		if m, ok := parseOffset(rest, nil); ok {
			return m, true
		}
		return 0, rest == ""
	}
	return 0, false
}

// zoneNames are the short names that the clocks of a zone have in a year, with
// minutes ahead of UTC. Other names are not read, for one name means different
// offsets in different countries.
func zoneNames(zone *time.Location, year int) map[string]int16 {
	names := map[string]int16{}
	for _, month := range [...]time.Month{time.January, time.July} {
		name, seconds := time.Date(year, month, 15, 12, 0, 0, 0, zone).Zone()
		if name == "" || name[0] < 'A' || name[0] > 'Z' {
			continue
		}
		names[name] = int16(seconds / 60)
		switch name { // As Germany calls them.
		case "CET":
			names["MEZ"] = int16(seconds / 60)
		case "CEST":
			names["MESZ"] = int16(seconds / 60)
		}
	}
	return names
}

// dates are the different dates of a file as they are written, for their order
// is only known when all are seen.
type dates struct {
	all   []writtenDate
	at    map[string]int32
	last  string
	where int32
}

// writtenDate is one of dates.
type writtenDate struct {
	written
	text  string
	row   int  // The first with it.
	read  bool // It is a date in some order.
	day   Date
	fault string // Why it is no date after all, or "".
}

// add returns the place of a date.
func (d *dates) add(text string, row int) int32 {
	if text == d.last && d.all != nil {
		return d.where
	}
	i, found := d.at[text]
	if !found {
		if d.at == nil {
			d.at = map[string]int32{}
		}
		i = int32(len(d.all))
		d.at[text] = i
		w := writtenDate{text: text, row: row}
		w.written, w.read = parseWritten(text)
		d.all = append(d.all, w)
	}
	d.last, d.where = text, i
	return i
}

// evidence is what the dates whose order is open say about it.
type evidence struct {
	n             int
	first         *writtenDate
	day, month    *writtenDate // The first that can only be read with it first.
	dmy, mdy, ymd int          // That can be read so.
	dots, dashes  int
	same          int          // With equal numbers of day and month.
	firsts, lasts map[int]bool // First and last parts.
}

func (d *dates) evidence() evidence {
	e := evidence{firsts: map[int]bool{}, lasts: map[int]bool{}}
	for i := range d.all {
		w := &d.all[i]
		if !w.read || w.done {
			continue
		}
		_, dmy := w.written.day(DayFirst)
		_, mdy := w.written.day(MonthFirst)
		_, ymd := w.written.day(YearFirst)
		if !dmy && !mdy && !ymd {
			continue
		}
		if e.n++; e.n == 1 {
			e.first = w
		}
		e.dmy += count(dmy)
		e.mdy += count(mdy)
		e.ymd += count(ymd)
		e.dots += count(w.sep == '.')
		e.dashes += count(w.sep == '-')
		e.same += count(w.part[0] == w.part[1])
		e.firsts[w.part[0]], e.lasts[w.part[2]] = true, true
		switch {
		case dmy && !mdy && e.day == nil:
			e.day = w
		case mdy && !dmy && e.month == nil:
			e.month = w
		}
	}
	return e
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}

// can is how many of the dates can be read in an order.
func (e *evidence) can(o DateOrder) int {
	switch o {
	case DayFirst:
		return e.dmy
	case MonthFirst:
		return e.mdy
	}
	return e.ymd
}

// order finds the order of the dates: said, or the one that the heading hints
// at, or the only one in which they can be read, or day first with dots, which
// is the custom of the countries that write dots. Otherwise it asks.
//
// Dates of two digits in each part may also begin with the year, if the whole
// file can be read so; that is asked where the first part moves less than the
// last, for in a file a year does.
func (d *dates) order(said, hint DateOrder) (order DateOrder, why string, q *Question, err error) {
	e := d.evidence()
	switch {
	case e.n == 0:
		return YearFirst, "", nil, nil
	case said != "" && 2*e.can(said) < e.n:
		bad := d.unable(said)
		return "", "", nil, fileError(ErrAmbiguous, "the request says %s, but %d of %d dates, such as %q in row %d, cannot be read so",
			orderName(said), e.n-e.can(said), e.n, clip(bad.text), bad.row)
	case said != "":
		return said, "by the request", nil, nil
	case hint != "" && e.can(hint) == e.n:
		return hint, "by the heading", nil, nil
	case e.day != nil && e.month != nil:
		return "", "", &Question{
			Option: OptionDates,
			Text: fmt.Sprintf("Row %d has the date %q, in which the day comes first, and row %d %q, in which the month does: say which holds; rows that contradict it are refused.",
				e.day.row, clip(e.day.text), e.month.row, clip(e.month.text)),
			Choices: []string{string(DayFirst), string(MonthFirst)},
		}, nil
	}
	// As many of both make a dash the sign of a year in front.
	maybeYear := e.ymd == e.n && (len(e.firsts) < len(e.lasts) || len(e.firsts) == len(e.lasts) && e.dashes == e.n)
	switch {
	case e.ymd == e.n && e.dmy < e.n && e.mdy < e.n:
		return YearFirst, fmt.Sprintf("as %q shows", clip(e.first.text)), nil, nil
	case maybeYear:
	case e.day != nil:
		return DayFirst, fmt.Sprintf("as %q shows", clip(e.day.text)), nil, nil
	case e.month != nil:
		return MonthFirst, fmt.Sprintf("as %q shows", clip(e.month.text)), nil, nil
	case e.same == e.n:
		return DayFirst, "for day and month are the same", nil, nil
	case e.dots == e.n:
		return DayFirst, "as usual with dots", nil, nil
	}
	var choices, words []string
	for _, o := range [...]struct {
		order DateOrder
		word  string
		may   bool
	}{{DayFirst, "the day", e.month == nil}, {MonthFirst, "the month", e.day == nil}, {YearFirst, "the year", maybeYear}} {
		if o.may {
			choices, words = append(choices, string(o.order)), append(words, o.word)
		}
	}
	return "", "", &Question{
		Option:  OptionDates,
		Text:    fmt.Sprintf("Dates such as %q in row %d can be read in more than one order: say whether %s comes first.", clip(e.first.text), e.first.row, strings.Join(words, " or ")),
		Choices: choices,
	}, nil
}

// unable returns the first date that cannot be read in an order.
func (d *dates) unable(order DateOrder) *writtenDate {
	for i := range d.all {
		w := &d.all[i]
		if _, ok := w.written.day(order); w.read && !w.done && !ok {
			return w
		}
	}
	return &d.all[0]
}

// settle reads all dates in an order.
func (d *dates) settle(order DateOrder) {
	for i := range d.all {
		w := &d.all[i]
		var ok bool
		if w.read {
			w.day, ok = w.written.day(order)
		}
		switch {
		case w.text == "":
			w.fault = "date is empty"
		case !w.read:
			w.fault = fmt.Sprintf("date %q is no date", clip(w.text))
		case ok && yearFault(w.day) == "":
		case ok:
			w.fault = "date " + yearFault(w.day)
		case w.done:
			w.fault = fmt.Sprintf("date %q is not in the calendar", clip(w.text))
		default:
			w.fault = fmt.Sprintf("date %q is not in the calendar with the %s", clip(w.text), orderName(order))
		}
	}
}

func orderName(o DateOrder) string {
	switch o {
	case DayFirst:
		return "day before the month"
	case MonthFirst:
		return "month before the day"
	}
	return "year first"
}
