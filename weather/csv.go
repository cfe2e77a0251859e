package weather

import (
	"fmt"
	"slices"
	"strings"
)

// plainCSV is the house's own simple form: UTF-8, comma and decimal point,
// lines that end in LF, CRLF or CR, and a header of any order and case with
//
//	date        YYYY-MM-DD
//	min, max    or tmin, tmax; with _c or _f if the file is to tell its unit
//
// Other columns are passed over, whatever they hold, and so are blank lines; but
// where one names stations and there are several, it is asked which to take. A
// row may leave out columns at its end that are not needed, but not the last
// row if its line does not end: it may be cut off. What a row has beyond the
// header is refused, for it is mostly a decimal comma.
var plainCSV = format{
	name: "csv",
	recognise: func(head []byte) bool {
		rows := newRows(string(head), ',')
		header, _ := rows.next()
		c, _ := findColumns(header)
		if c.date < 0 || c.min < 0 && c.max < 0 {
			return false
		}
		// Dates in another spelling are for the table, and so are units in a column.
		if c.unit == "" && slices.ContainsFunc(header, func(cell string) bool { return nameColumn(label(cell)).kind == unitColumn }) {
			return false
		}
		first, _ := rows.next()
		return c.date >= len(first) || !strings.ContainsAny(first[c.date], "/.")
	},
	read: readCSV,
}

// columns are places in the header, -1 for none.
type columns struct {
	date, min, max int
	n              int
	unit           Unit // That the header tells, or "".
}

// findColumns looks for the columns in the cells of a header; fault is what is
// wrong with them, or "".
func findColumns(header []string) (c columns, fault string) {
	c = columns{date: -1, min: -1, max: -1, n: len(header)}
	var minUnit, maxUnit Unit
	for i, cell := range header {
		name := strings.ToLower(strings.TrimSpace(cell))
		at, unit := &c.date, (*Unit)(nil)
		if name != "date" {
			stem, u := cutUnit(name)
			switch stem {
			case "min", "tmin":
				at, unit = &c.min, &minUnit
			case "max", "tmax":
				at, unit = &c.max, &maxUnit
			default:
				continue
			}
			*unit = u
		}
		if *at >= 0 && fault == "" {
			fault = fmt.Sprintf("columns %q and %q are the same", clip(header[*at]), clip(cell))
		}
		*at = i
	}
	c.unit = minUnit
	switch {
	case fault != "":
	case c.date < 0:
		fault = "no column date"
	case c.min < 0:
		fault = "no column min, nor tmin"
	case c.max < 0:
		fault = "no column max, nor tmax"
	case minUnit != maxUnit:
		fault = fmt.Sprintf("columns %q and %q do not tell the same unit", clip(header[c.min]), clip(header[c.max]))
	}
	return c, fault
}

// cutUnit takes the unit off a column's name.
func cutUnit(name string) (string, Unit) {
	if stem, ok := strings.CutSuffix(name, "_c"); ok {
		return stem, Celsius
	}
	if stem, ok := strings.CutSuffix(name, "_f"); ok {
		return stem, Fahrenheit
	}
	return name, ""
}

func readCSV(body string, opt ReadOptions) (*Reading, error) {
	rows := newRows(body, ',')
	header, fault := rows.next()
	var c columns
	if fault == "" {
		c, fault = findColumns(header)
	}
	if fault != "" {
		return nil, fileError(ErrBadHeader, "header: %s", fault)
	}
	rows.columns = c.n
	of := stationColumnOf(header)
	stations := of.all(rows)
	var open []Question
	if len(stations) > 1 && opt.Station == "" {
		open = append(open, askStation(header[of.at], stations))
	}
	if c.unit == "" && opt.Unit == "" {
		open = append(open, askUnit())
	}
	if len(open) > 0 {
		return nil, ask(open...)
	}
	if opt.Station != "" && len(stations) > 0 && !slices.ContainsFunc(stations, func(s string) bool { return of.same(s, opt.Station) }) {
		return nil, noRowOf(opt.Station, stations[0])
	}
	unit, err := unitOf(c.unit, opt.Unit)
	if err != nil {
		return nil, err
	}
	b, err := NewBatch(unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	n := 0
	for {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			break
		}
		n++
		if s := textAt(cells, of.at); s != "" && opt.Station != "" && !of.same(s, opt.Station) {
			continue
		}
		if fault == "" {
			fault = c.fault(cells, rows.cutOff())
		}
		if fault != "" {
			date := ""
			if c.date < len(cells) {
				date = cells[c.date]
			}
			b.Refuse(n, strings.TrimSpace(date), fault)
			continue
		}
		b.Add(n, cells[c.date], cells[c.min], cells[c.max])
	}
	if n == 0 {
		return nil, fileError(ErrNoRows, "the file has a header but no rows")
	}
	r, err := b.Done()
	if err != nil {
		return nil, err
	}
	by := "by the request"
	if c.unit != "" {
		by = "by the heading"
	}
	r.Findings = []Finding{{"unit", unit.sign() + ", " + by}}
	return r, nil
}

// stationsIn is the column that names the station of a row, or -1.
type stationsIn struct{ at int }

func stationColumnOf(header []string) stationsIn {
	return stationsIn{slices.IndexFunc(header, func(cell string) bool { return nameColumn(label(cell)).kind == stationColumn })}
}

// all returns the different stations of rows, at most maxStations.
func (c stationsIn) all(rows rows) []string {
	var all []string
	for c.at >= 0 {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			break
		}
		s := label(textAt(cells, c.at))
		if n := len(all); fault == "" && s != "" && n < maxStations && !slices.ContainsFunc(all, func(known string) bool { return c.same(known, s) }) {
			all = append(all, s)
		}
	}
	return all
}

func (c stationsIn) same(a, b string) bool { return strings.EqualFold(label(a), label(b)) }

// fault says what is wrong with the number of cells of a row, or "".
func (c *columns) fault(cells []string, cutOff bool) string {
	needed := max(c.date, c.min, c.max) + 1
	switch n := len(cells); {
	case n < needed, n < c.n && cutOff:
		return fmt.Sprintf("row has %d of %d cells, it is cut off", n, c.n)
	case n > c.n && strings.TrimSpace(strings.Join(cells[c.n:], "")) != "":
		return fmt.Sprintf("row has %d cells instead of %d, is a comma its decimal sign?", n, c.n)
	}
	return ""
}

// headerCells returns the cells of the first line that is not blank, or none.
func headerCells(body string) []string {
	rows := newRows(body, ',')
	cells, _ := rows.next()
	return cells
}
