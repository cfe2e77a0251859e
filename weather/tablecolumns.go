package weather

import (
	"fmt"
	"slices"
	"strings"
)

// Which of several columns a table is read from.

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
