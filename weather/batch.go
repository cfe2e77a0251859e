package weather

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Batch is the one door for daily rows, of a file of any format and of JSON:
// rows go in one by one, and [Batch.Done] gives the good days and says of
// every other row why it was refused. A row is refused when
//
//   - its date is no date of the calendar, or lies after the latest day,
//   - min or max is missing, empty, or not a finite number,
//   - min or max is outside [Coldest] to [Warmest], or min is above max,
//   - another row gives the same date with other values. All of them are
//     refused then, for the batch cannot know which one is right; a row that
//     is refused for its values still contradicts one that is not, but a row
//     without two numbers contradicts nobody.
//
// The same date with the same values is kept once and counted as a repeat.
type Batch struct {
	unit     Unit
	latest   Date
	received int
	numbers  int // Rows with two finite numbers.
	blank    int
	remarks  bool // Whether a row came with one.
	entries  []entry
	refused  []Refusal
	hot      hotDays
}

// entry is a row with a date and two finite numbers, refused or not.
type entry struct {
	day     Day
	remark  Remark
	row     int32
	refused bool
}

// Reading is what was read of one body of daily rows. Received is always
// len(Days) + Repeats + len(Refused).
type Reading struct {
	Format   string   // Name of the file format, or "".
	Unit     Unit     // The unit the values were given in; Days are in °C.
	Days     []Day    // The good ones, each date once, in rising order.
	Remarks  []Remark // Of each of Days; nil if the source makes none.
	Received int      // Rows.
	Repeats  int      // Rows that said again what an earlier one had said.
	Blank    int      // Dates for which the source says that it has nothing; no rows.
	Refused  []Refusal
	Findings []Finding // How the file was understood, for the person who sent it.
}

// Remark is what a source says of a day beside its extremes.
type Remark struct {
	// Flag is in what the day failed the source's own tests, in words, such as
	// "min: spatial consistency (S)"; "" if it did not. At most 80 bytes.
	Flag string
	// Hour is the local hour at which the thermometers were read, 1 to 24; 0 if
	// it is not told or the day ends at midnight by itself.
	Hour int8
}

// Finding is one thing that a reader understood of a file.
type Finding struct {
	What  string // One or two words, such as "dates" or "decimal sign".
	Found string // One clause, such as `day before month, as in "25/06/2026"`.
}

// Refusal says why a row was refused.
type Refusal struct {
	Row    int    // Counts rows of data from 1.
	Date   string // As it was sent, cut short and made printable.
	Reason string // One clause, such as "max 75 °C is above 60 °C, is it °F?".
}

// maxRows bounds the memory of a batch. A station has one row a day, and from
// minYear to maxYear there are 256,035 days.
const maxRows = 300_000

// NewBatch returns an empty batch of values in unit, for days up to and
// including latest. An unknown unit is an error that matches [ErrUnitUnknown].
func NewBatch(unit Unit, latest Date) (*Batch, error) {
	if !unit.known() {
		return nil, ask(askUnit())
	}
	return &Batch{unit: unit, latest: latest}, nil
}

// Add adds a row of text, such as a line of a file. Blanks around a value do
// not matter; numbers have a decimal point.
func (b *Batch) Add(row int, date, minText, maxText string) {
	b.add(row, date, readValue(minText), readValue(maxText))
}

// AddNumbers adds a row of numbers, such as an item of JSON; nil is a missing
// one.
func (b *Batch) AddNumbers(row int, date string, minimum, maximum *float64) {
	b.add(row, date, pointValue(minimum), pointValue(maximum))
}

// AddDay adds a row that its format has already made out, in the unit of the
// batch; nil is a missing value.
func (b *Batch) AddDay(row int, date Date, minimum, maximum *float64, r Remark) {
	if b.full() {
		return
	}
	b.remarks = b.remarks || r != Remark{}
	lo, hi := pointValue(minimum), pointValue(maximum)
	fault := valuesFault(lo, hi)
	if fault == "" {
		b.numbers++
		b.hot.see(b.unit.Celsius(lo.number), b.unit.Celsius(hi.number))
		fault = yearFault(date)
	}
	if fault != "" {
		b.refuse(row, date.String(), fault)
		return
	}
	b.addDay(row, "", date, lo.number, hi.number, r)
}

// AddBlank counts a date for which the source says that it has neither of the
// two values. It is no row.
func (b *Batch) AddBlank() { b.blank++ }

// Refuse adds a row that its format refuses: reason is one clause that names
// the field and its value.
func (b *Batch) Refuse(row int, date, reason string) {
	if !b.full() {
		b.refuse(row, date, reason)
	}
}

func (b *Batch) add(row int, date string, lo, hi value) {
	if b.full() {
		return
	}
	date = strings.TrimSpace(date)
	d, fault := parseDate(date)
	switch {
	case date == "":
		fault = "date is empty"
	case fault != "":
		fault = "date " + fault
	}
	bad := valuesFault(lo, hi)
	if bad == "" {
		b.numbers++
		b.hot.see(b.unit.Celsius(lo.number), b.unit.Celsius(hi.number))
	}
	if fault == "" {
		fault = bad
	}
	if fault != "" {
		b.refuse(row, date, fault)
		return
	}
	b.addDay(row, date, d, lo.number, hi.number, Remark{})
}

// addDay adds a row that has a date, sent as text or, with "", already made out,
// and two finite numbers.
func (b *Batch) addDay(row int, text string, d Date, lo, hi float64, r Remark) {
	e := entry{day: Day{d, b.unit.Celsius(lo), b.unit.Celsius(hi)}, remark: r, row: int32(row)}
	fault := extremesFault(lo, hi, b.unit)
	if d > b.latest {
		fault = fmt.Sprintf("date %s is after today", d)
	}
	if fault != "" {
		e.refused = true
		if text == "" { // Writing it for every good row was half of the time.
			text = d.String()
		}
		b.refuse(row, text, fault)
	}
	b.entries = append(b.entries, e)
}

func (b *Batch) refuse(row int, date, reason string) {
	b.refused = append(b.refused, Refusal{Row: row, Date: clip(date), Reason: reason})
}

// full counts a row and reports whether it is one too many.
func (b *Batch) full() bool {
	b.received++
	return b.received > maxRows
}

// Done returns what the batch has come to. Whatever the rows were, it is an
// error only for a body that is refused as a whole: one whose values are
// evidently not in the unit of the batch ([ErrWrongUnit], by the rule of
// hotDays), and one of more rows than a station has days ([ErrTooLarge]).
// The batch must not be used afterwards.
func (b *Batch) Done() (*Reading, error) {
	if b.received > maxRows {
		return nil, fileError(ErrTooLarge, "more than %d rows: a station has one row a day", maxRows)
	}
	if err := b.hot.fault(b.numbers, b.unit); err != nil {
		return nil, err
	}
	r := &Reading{Unit: b.unit, Received: b.received, Blank: b.blank, Days: make([]Day, 0, len(b.entries))}
	if b.remarks {
		r.Remarks = make([]Remark, 0, len(b.entries))
	}
	byDate := func(x, y entry) int { return cmp.Compare(x.day.Date, y.day.Date) }
	if !slices.IsSortedFunc(b.entries, byDate) {
		slices.SortStableFunc(b.entries, byDate)
	}
	for i, j := 0, 0; i < len(b.entries); i = j {
		for j = i + 1; j < len(b.entries) && b.entries[j].day.Date == b.entries[i].day.Date; j++ {
		}
		b.settle(b.entries[i:j], r)
	}
	slices.SortStableFunc(b.refused, func(x, y Refusal) int { return cmp.Compare(x.Row, y.Row) })
	r.Refused = b.refused
	return r, nil
}

// settle decides about the rows of one date.
func (b *Batch) settle(rows []entry, r *Reading) {
	first := rows[0]
	other := slices.IndexFunc(rows, func(e entry) bool { return e.day != first.day })
	if other < 0 {
		if !first.refused { // Nor are the others, being equal.
			r.Days = append(r.Days, first.day)
			if b.remarks {
				r.Remarks = append(r.Remarks, first.remark)
			}
			r.Repeats += len(rows) - 1
		}
		return
	}
	for _, e := range rows {
		if e.refused {
			continue
		}
		rival := first
		if e.day == first.day {
			rival = rows[other]
		}
		b.refuse(int(e.row), e.day.Date.String(),
			fmt.Sprintf("date %s is also in row %d, with other values", e.day.Date, rival.row))
	}
}

// value is a temperature as it was sent.
type value struct {
	number float64
	fault  string // What is wrong with it: `"M" is not a number`, or "".
	absent string // How nothing was sent: "empty", "missing", or "".
}

// readValue reads text. What strconv would read besides, such as hexadecimal
// numbers and "inf", no thermometer writes.
func readValue(s string) value {
	s = strings.TrimSpace(s)
	if s == "" {
		return value{absent: "empty"}
	}
	plain := s
	if rest, ok := strings.CutPrefix(s, "\u2212"); ok { // The minus sign of some countries' spreadsheets.
		plain = "-" + rest
	}
	for i := range len(plain) {
		if c := plain[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return value{fault: fmt.Sprintf("%q is not a number", clip(s))}
		}
	}
	x, err := strconv.ParseFloat(plain, 64)
	if err != nil {
		return value{fault: fmt.Sprintf("%q is not a number", clip(s))}
	}
	return value{number: x}
}

// pointValue takes a number that may be missing.
func pointValue(x *float64) value {
	switch {
	case x == nil:
		return value{absent: "missing"}
	case math.IsNaN(*x) || math.IsInf(*x, 0):
		return value{fault: fmt.Sprintf("%g is not a number", *x)}
	}
	return value{number: *x}
}

// valuesFault says in one clause why lo and hi are not two numbers, or "".
func valuesFault(lo, hi value) string {
	switch {
	case lo.absent != "" && hi.absent != "":
		return "min and max are " + lo.absent
	case lo.absent != "":
		return "min is " + lo.absent
	case lo.fault != "":
		return "min " + lo.fault
	case hi.absent != "":
		return "max is " + hi.absent
	case hi.fault != "":
		return "max " + hi.fault
	}
	return ""
}

// hotDays finds out bodies that are not in the unit they say. A day is hot
// when its mean is above hotMean and its min above hotNight; the rule is at
// least three hot days, with different minima, in at least a tenth of the rows
// that have numbers. No station on Earth has had one such day, nor does a
// sensor lying in the sun make one, for its nights are cool. So the rule
// cannot fire on a true record, nor on one with a broken value here and there
// or with a number such as 99.9 in place of a missing one. It finds °F given as
// °C by the days whose mean is above 50 °F, and tenths of a degree.
//
// Given in °F as °C, every whole year of Ann Arbor and of Lahr is found, every
// month from April or May to September and nine Octobers in ten, but hardly a
// month from December to February: what gives a winter away is the season, of
// which a batch knows nothing. It cannot find °C given as °F, which pass for a
// cold place, and in a body of less than three rows it finds nothing.
type hotDays struct {
	n      int
	minima [3]float64 // Different ones.
	kinds  int
	mild   int // Of n, those with a max that °F reach too.
}

const (
	hotMean  = 50 // °C. The hottest daily means on record are below 49 (from memory: Death Valley).
	hotNight = 30 // °C. Common in deserts, but not under a mean of 50.
)

// see looks at a row, °C.
func (h *hotDays) see(minC, maxC float64) {
	if !(minC > hotNight && minC <= maxC && (minC+maxC)/2 > hotMean) {
		return
	}
	h.n++
	if maxC <= Fahrenheit.of(Warmest) {
		h.mild++
	}
	if h.kinds < len(h.minima) && !slices.Contains(h.minima[:h.kinds], minC) {
		h.minima[h.kinds] = minC
		h.kinds++
	}
}

// fault returns what is wrong with a body of n rows with numbers, given in u.
func (h *hotDays) fault(n int, u Unit) error {
	if h.kinds < len(h.minima) || 10*h.n < n {
		return nil
	}
	guess := "tenths of a degree"
	if u == Celsius && 2*h.mild >= h.n {
		guess = "°F"
	}
	return fileError(ErrWrongUnit, "%d of %d rows have a mean above %g %s, which no day on record has reached: are the temperatures %s?",
		h.n, n, u.of(hotMean), u.sign(), guess)
}
