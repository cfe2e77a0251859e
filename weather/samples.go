package weather

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// reading is one row of readings within the day.
type reading struct {
	// at is seconds since 1970: at first on the clock that wrote them, then of
	// UTC. Before the dates are known it is the place of the date in
	// tableReader.written, shifted by dateShift, and the seconds of its day.
	at     int64
	x      float64
	row    int32
	offset int16 // Minutes ahead of UTC, or noOffset.
	state  cellState
	unit   int8 // That its cell tells: 0 none, 1 °C, 2 °F.
}

const dateShift = 17 // A day has less than 2^17 seconds.

// How much of a day must be there for its extremes to be those of the day; a
// half day has a false one. The shares are common practice for field loggers.
const (
	minCover = 90          // Percent of the readings that the usual step makes.
	maxHole  = 2 * 60 * 60 // Seconds without a reading;
	maxSteps = 1.5         // steps, where the usual step is maxHole or more.
	maxStep  = 3 * 60 * 60 // Seconds. Readings further apart miss the extremes.
	// A thermometer that does not move by deadRange, °C, for deadTime, seconds,
	// has probably died; looked at where the usual step is deadStep at most.
	// After the persistence test of the World Meteorological Organization (from
	// memory), which is much shorter and would warn of every fog.
	deadRange = 0.1 // Of numbers with tenths, which do not subtract exactly.
	deadTime  = 6 * 60 * 60
	deadStep  = 30 * 60
)

// hotShare is the share, percent, of readings above Warmest from which on a
// file is in another unit than it says, if they have hotKinds different values
// at least. A sensor that lies in the sun or is broken now and then has less.
const (
	hotShare = 5
	hotKinds = 10
)

// addReadings makes days of the readings of a table and adds them to a batch.
//
// A day is a civil day of the farm. Times with an offset, or a heading with
// one, are instants; others are of the farm's own clock, also where it is
// changed: of an hour that comes twice, the second one begins where the file's
// clock goes back. If the file has times that the farm's clock skips, its clock
// is not changed, and days are by it.
//
// A day counts if it has minCover of the readings that the usual step, the
// median of the file, makes in the real length of the day, and no stretch
// longer than maxHole without one, from its midnight to the next.
func (t *tableReader) addReadings(b *Batch) ([]Finding, error) {
	t.dateReadings(b)
	oob, err := t.convert(b)
	if err != nil {
		return nil, err
	}
	zone, clock := t.toInstants()
	byTime := func(x, y reading) int { return cmp.Compare(x.at, y.at) }
	if !slices.IsSortedFunc(t.readings, byTime) {
		slices.SortStableFunc(t.readings, byTime)
	}
	step, err := t.usualStep()
	if err != nil {
		return nil, err
	}
	d := dailies{b: b, zone: zone, step: step, latest: t.opt.Latest}
	d.add(t.readings)
	findings := []Finding{{"clock", clock}}
	findings = append(findings, Finding{"step", fmt.Sprintf("%s, %s", duration(step), countOf(t.inC+t.inF+t.silent, "reading"))})
	findings = append(findings, Finding{"days", fmt.Sprintf("%d kept, %d too thin: a day needs %d %% of its readings and no stretch without one longer than %s",
		d.kept, d.thin, minCover, duration(longestHole(step)))})
	if t.blanks > 0 {
		findings = append(findings, Finding{"missing", countOf(t.blanks, "row") + " without a temperature passed over"})
	}
	if t.faulty.n > 0 {
		findings = append(findings, Finding{"unreadable", fmt.Sprintf("%s passed over, first row %d: %s",
			countOf(t.faulty.n, "reading"), t.faulty.row, clip(t.faulty.text))})
	}
	if oob.n > 0 {
		findings = append(findings, Finding{"impossible", fmt.Sprintf("%s below %d or above %d °C passed over, first row %d: %s",
			countOf(oob.n, "reading"), Coldest, Warmest, oob.row, oob.text)})
	}
	if d.repeats > 0 {
		findings = append(findings, Finding{"repeats", countOf(d.repeats, "reading") + " that an earlier row had given"})
	}
	if d.dead.n > 0 {
		findings = append(findings, Finding{"sensor", fmt.Sprintf("did not move by %g °C for %s or more %s, first from %s: it may be dead",
			deadRange, duration(deadTime), times(d.dead.n), d.dead.text)})
	}
	return findings, nil
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// dateReadings puts the dates of the file into the readings; a date that is
// none is refused, once.
func (t *tableReader) dateReadings(b *Batch) {
	if t.dates != textDate {
		return
	}
	for i := range t.written.all {
		if w := &t.written.all[i]; w.fault != "" {
			b.Refuse(w.row, w.text, w.fault)
		}
	}
	kept := t.readings[:0]
	for _, r := range t.readings {
		w := &t.written.all[r.at>>dateShift]
		if w.fault == "" {
			r.at = int64(w.day)*secondsPerDay + r.at&(1<<dateShift-1)
			kept = append(kept, r)
		}
	}
	t.readings = kept
}

// convert brings all readings into the unit of the batch and takes out those
// that no air has.
func (t *tableReader) convert(b *Batch) (oob tally, err error) {
	numbers, hot := 0, 0
	kinds := map[float64]bool{}
	for i := range t.readings {
		r := &t.readings[i]
		if r.state != cellNumber {
			continue
		}
		numbers++
		own := b.unit
		switch r.unit {
		case 1:
			own = Celsius
		case 2:
			own = Fahrenheit
		}
		c := own.Celsius(r.x)
		if !(Coldest <= c && c <= Warmest) {
			oob.add(int(r.row), fmt.Sprintf("%g %s", r.x, own.sign()))
			if c > Warmest {
				hot++
				if len(kinds) < hotKinds {
					kinds[c] = true
				}
			}
			r.state = cellBad
			continue
		}
		if own != b.unit {
			r.x = b.unit.of(c)
		}
	}
	if len(kinds) == hotKinds && 100*hot >= hotShare*numbers {
		return oob, fileError(ErrWrongUnit, "%d of %d readings are above %g %s, which no air is: are the temperatures in another unit?",
			hot, numbers, b.unit.of(Warmest), b.unit.sign())
	}
	return oob, nil
}

// toInstants makes instants of the times of the readings, and returns the zone
// whose days count and how the clock was understood.
func (t *tableReader) toInstants() (*time.Location, string) {
	zone := t.opt.zone()
	with := 0
	for _, r := range t.readings {
		if r.offset != noOffset {
			with++
		}
	}
	if with > 0 && 2*with >= len(t.readings) {
		kept := t.readings[:0]
		for _, r := range t.readings {
			if r.offset == noOffset {
				t.unclear(r, "its time has no offset from UTC, those of others have")
				continue
			}
			r.at -= 60 * int64(r.offset)
			kept = append(kept, r)
		}
		t.readings = kept
		how := "times tell their offset from UTC"
		switch {
		case t.dates == epochDate:
			how = "times are instants"
		case t.offset == 0:
			how = "times are UTC, by the heading"
		case t.offset != noOffset:
			how = fmt.Sprintf("times are UTC%s, by the heading", offsetText(t.offset))
		}
		return zone, fmt.Sprintf("%s; days are those of %s", how, zone)
	}
	kept := t.readings[:0]
	up, down := 0, 0
	for i, r := range t.readings {
		if r.offset != noOffset {
			t.unclear(r, "its time has an offset from UTC, those of others have none")
			continue
		}
		if n := len(kept); i > 0 && n > 0 {
			up += count(r.at > kept[n-1].at)
			down += count(r.at < kept[n-1].at)
		}
		kept = append(kept, r)
	}
	t.readings = kept
	if down > up {
		slices.Reverse(t.readings) // The newest stands first.
	}
	if skipped, found := localInstants(t.readings, zone); found {
		return time.UTC, fmt.Sprintf("the file has readings at %s, which the clocks of %s skip: its clock is not changed, and days are by it",
			time.Unix(skipped, 0).UTC().Format("2006-01-02 15:04"), zone)
	}
	return zone, fmt.Sprintf("times are taken as those of the farm's own clock, %s", zone)
}

// unclear counts a reading whose time is not like that of the others.
func (t *tableReader) unclear(r reading, why string) {
	if r.state == cellNumber {
		t.faulty.add(int(r.row), why)
	}
}

func offsetText(minutes int16) string {
	sign := "+"
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	return fmt.Sprintf("%s%02d:%02d", sign, minutes/60, minutes%60)
}

// localInstants makes instants of times on the clock of a zone, which are in
// the order of the file. If one is in an hour that the clock skips, it returns
// it and changes nothing.
func localInstants(readings []reading, zone *time.Location) (skipped int64, found bool) {
	instants := make([]int64, len(readings))
	var d clockDay
	twice := map[Date][]int{} // Readings whose hour comes twice.
	for i, r := range readings {
		if !d.has(r.at) {
			d = newClockDay(Date(floorDiv(r.at, secondsPerDay)), zone)
		}
		at, times := d.instant(r.at)
		switch times {
		case 0:
			if r.state == cellNumber {
				return r.at, true
			}
		case 2:
			twice[d.date] = append(twice[d.date], i)
		}
		instants[i] = at
	}
	for date, of := range twice {
		d := newClockDay(date, zone)
		shift := d.before - d.after
		for _, i := range secondPass(readings, of) {
			instants[i] += shift
		}
	}
	for i := range readings {
		readings[i].at = instants[i]
	}
	return 0, false
}

// secondPass returns those of readings, all in an hour that comes twice, that
// are of its second pass: it begins where the clock goes back and ends where it
// goes back again. Where it never goes back, as with one reading an hour, the
// same time again is the second pass.
func secondPass(readings []reading, of []int) []int {
	back := func(k int, same bool) bool {
		now, last := readings[of[k]].at, readings[of[k-1]].at
		return now < last || same && now == last
	}
	same := true
	for k := 1; k < len(of); k++ {
		if back(k, false) {
			same = false
		}
	}
	var second []int
	pass := 1
	for k, i := range of {
		if k > 0 && back(k, same) {
			pass = 3 - pass
		}
		if pass == 2 {
			second = append(second, i)
		}
	}
	return second
}

// clockDay is a civil date on the clock of a zone, which may change in it once.
type clockDay struct {
	date          Date
	start, change int64 // Instants; change is 0 if there is none.
	before, after int64 // Seconds ahead of UTC.
	known         bool
}

func newClockDay(date Date, zone *time.Location) clockDay {
	start, end := dayStart(date, zone), dayStart(date+1, zone)
	_, before := start.Zone()
	d := clockDay{known: true, date: date, start: start.Unix(), before: int64(before), after: int64(before)}
	if _, change := start.ZoneBounds(); !change.IsZero() && change.Before(end) {
		_, after := change.Zone()
		d.change, d.after = change.Unix(), int64(after)
	}
	return d
}

// has reports whether a time on the clock is of the date.
func (d *clockDay) has(at int64) bool {
	return d.known && floorDiv(at, secondsPerDay) == int64(d.date)
}

// instant returns the instant of a time on the clock and how often the date has
// it: 0, 1 or 2 times. Of two it is the first.
func (d *clockDay) instant(at int64) (int64, int) {
	first, second := at-d.before, at-d.after
	switch {
	case first < d.start:
		return first, 0 // The day begins later than midnight.
	case d.change == 0 || first < d.change && second < d.change:
		return first, 1
	case first < d.change:
		return first, 2
	case second < d.change:
		return first, 0
	}
	return second, 1
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// civilDay is the date of an instant in a zone.
func civilDay(at int64, zone *time.Location) Date { return DateIn(time.Unix(at, 0).In(zone)) }

// dayStart returns the first instant of a date in a zone: midnight, or where
// the clock skips midnight, the change; of two midnights the first.
func dayStart(date Date, zone *time.Location) time.Time {
	y, m, d := date.Civil()
	t := time.Date(y, m, d, 0, 0, 0, 0, zone)
	from, to := t.ZoneBounds()
	if DateIn(t) < date && !to.IsZero() { // Read by the clock before the change.
		return to
	}
	if from.IsZero() {
		return t
	}
	if hour, minute, second := t.Clock(); hour+minute+second > 0 { // Read by the clock after it.
		return from
	}
	_, before := from.Add(-time.Second).Zone()
	_, after := t.Zone()
	if first := t.Add(time.Duration(after-before) * time.Second); first.Before(from) && DateIn(first) == date {
		return first
	}
	return t
}

// usualStep returns the median of the seconds between rows, also those without
// a reading: they show when the logger would have taken one.
func (t *tableReader) usualStep() (int64, error) {
	var steps []int64
	for i, r := range t.readings[min(1, len(t.readings)):] {
		if before := t.readings[i].at; r.at > before {
			steps = append(steps, r.at-before)
		}
	}
	if len(steps) == 0 {
		return 0, fileError(ErrNoRows, "the readings are all of one moment, which makes no day")
	}
	slices.Sort(steps)
	step := steps[(len(steps)-1)/2]
	if step > maxStep {
		return 0, fileError(ErrNoRows, "the readings are usually %s apart: a day's min and max need one every %s at least; a file with one row a day needs columns min and max",
			duration(step), duration(maxStep))
	}
	return step, nil
}

// longestHole is the longest stretch without a reading that a day may have,
// seconds.
func longestHole(step int64) int64 {
	if step >= maxHole {
		return int64(maxSteps * float64(step))
	}
	return maxHole
}

// duration writes seconds, such as "1 h 30 min".
func duration(seconds int64) string {
	h, m, s := seconds/3600, seconds/60%60, seconds%60
	var parts []string
	for _, p := range [...]struct {
		n    int64
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.unit))
		}
	}
	if parts == nil {
		return "0 min"
	}
	return strings.Join(parts, " ")
}

// dailies makes days of readings, which are in order of time.
type dailies struct {
	b       *Batch
	zone    *time.Location
	step    int64 // The usual one, seconds.
	latest  Date
	kept    int
	thin    int
	repeats int
	dead    tally
	run     run
}

// run is a stretch in which the thermometer did not move.
type run struct {
	from, to int64
	lo, hi   float64
	told     bool
	some     bool
}

func (d *dailies) add(readings []reading) {
	for i := 0; i < len(readings); {
		date := civilDay(readings[i].at, d.zone)
		start, end := dayStart(date, d.zone).Unix(), dayStart(date+1, d.zone).Unix()
		j := i + 1
		for j < len(readings) && (readings[j].at < end || civilDay(readings[j].at, d.zone) == date) {
			j++
		}
		d.day(date, start, end, readings[i:j])
		i = j
	}
}

// day adds the day from start to end, seconds.
func (d *dailies) day(date Date, start, end int64, readings []reading) {
	row, n, missing, hole, last := readings[0].row, int64(0), 0, int64(0), start
	var lo, hi, x float64
	var lastRow, otherRow int32
	differ := int64(-1)
	for _, r := range readings {
		row = min(row, r.row)
		if r.state != cellNumber {
			missing += count(r.state == cellMissing)
			continue
		}
		if n > 0 && r.at == last {
			if r.x == x {
				d.repeats++
			} else if differ < 0 {
				differ, otherRow = r.at, r.row
			}
			if differ < 0 {
				continue
			}
		}
		if differ < 0 {
			lastRow = r.row
		}
		hole = max(hole, r.at-last)
		last, x = r.at, r.x
		if n == 0 {
			lo, hi = r.x, r.x
		}
		lo, hi = min(lo, r.x), max(hi, r.x)
		n++
		d.alive(r)
	}
	hole = max(hole, end-last)
	length := max(end-start, d.step)
	switch {
	case n == 0 && missing == len(readings):
		d.b.AddBlank()
	case date == d.latest:
		d.b.Refuse(int(row), date.String(), fmt.Sprintf("date %s is today, which is not over", date))
	case date < d.latest && differ >= 0:
		d.b.Refuse(int(row), date.String(), fmt.Sprintf("rows %d and %d differ about %s",
			min(lastRow, otherRow), max(lastRow, otherRow), time.Unix(differ, 0).In(d.zone).Format("15:04:05")))
	case date < d.latest && (100*n*d.step < minCover*length || hole > longestHole(d.step)):
		d.thin++
		d.b.Refuse(int(row), date.String(), fmt.Sprintf("%d of %d readings, the longest stretch without one is %s",
			n, (length+d.step/2)/d.step, duration(hole)))
	default:
		if date < d.latest {
			d.kept++
		}
		d.b.AddDay(int(row), date, &lo, &hi, Remark{})
	}
}

// alive looks whether the thermometer moves.
func (d *dailies) alive(r reading) {
	if d.step > deadStep {
		return
	}
	c, u := &d.run, d.b.unit
	if c.some && r.at-c.to <= maxHole && u.Celsius(max(c.hi, r.x))-u.Celsius(min(c.lo, r.x)) < deadRange-1e-9 {
		c.lo, c.hi, c.to = min(c.lo, r.x), max(c.hi, r.x), r.at
		if !c.told && c.to-c.from >= deadTime {
			c.told = true
			d.dead.add(int(r.row), time.Unix(c.from, 0).In(d.zone).Format("2006-01-02 15:04"))
		}
		return
	}
	*c = run{from: r.at, to: r.at, lo: r.x, hi: r.x, some: true}
}
