package weather

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// ghcnWide is GHCN-Daily as a CSV of one station, in the two layouts that
// clients of the network write:
//
//	ID,YEAR,MONTH,ELEMENT,VALUE1,MFLAG1,QFLAG1,SFLAG1,VALUE2 … SFLAG31
//	date,tmin_c,tmax_c,tmin_mflag,tmin_qflag,tmin_sflag,tmax_mflag … obs_time
//
// The first is a .dly with commas: tenths of °C, -9999 is missing, and a row is
// a day whose number is that of the first line with TMIN or TMAX of its month.
// The second has a row a day, and is told from the plain CSV by a column of
// quality flags; its unit is told by _c or _f or else asked. Columns are found by
// name. The CSV of a station that NCEI itself
// publishes is laid out as nceiCSV.
var ghcnWide = format{
	name: "ghcn-wide",
	recognise: func(head []byte) bool {
		cells := headerCells(string(head))
		if c := findMonthColumns(cells); c.fault() == "" {
			return true
		}
		c, fault := findNceiColumns(cells)
		return fault == "" && (c.quality[tmin] >= 0 || c.quality[tmax] >= 0)
	},
	read: func(body string, opt ReadOptions) (*Reading, error) {
		rows := newRows(body, ',')
		header, fault := rows.next()
		if fault != "" {
			return nil, fileError(ErrBadHeader, "header: %s", fault)
		}
		if c := findMonthColumns(header); c.fault() == "" || ghcnHeading(header, "month") >= 0 {
			return readMonthRows(c, rows, opt)
		}
		return readNceiTable(body, opt)
	},
}

// monthColumns are places in a row that is a month of an element, -1 for none.
type monthColumns struct {
	id, year, month, element int
	values, quality          [31]int
	n                        int
}

func findMonthColumns(header []string) monthColumns {
	c := monthColumns{
		id:      ghcnHeading(header, "id", "station"),
		year:    ghcnHeading(header, "year"),
		month:   ghcnHeading(header, "month"),
		element: ghcnHeading(header, "element"),
		n:       len(header),
	}
	for i := range c.values {
		c.values[i], c.quality[i] = -1, -1
	}
	for at, cell := range header {
		name := strings.ToLower(strings.TrimSpace(cell))
		places := &c.values
		day, ok := strings.CutPrefix(name, "value")
		if !ok {
			places = &c.quality
			day, ok = strings.CutPrefix(name, "qflag")
		}
		if n, err := strconv.Atoi(day); ok && err == nil && 1 <= n && n <= len(places) && places[n-1] < 0 {
			places[n-1] = at
		}
	}
	return c
}

// fault says which column there is not, or "".
func (c *monthColumns) fault() string {
	switch {
	case c.year < 0:
		return "no column year"
	case c.month < 0:
		return "no column month"
	case c.element < 0:
		return "no column element"
	}
	if i := slices.Index(c.values[:], -1); i >= 0 {
		return fmt.Sprintf("no column value%d", i+1)
	}
	return ""
}

// monthRow is the beginning of a row that is a month of TMIN or TMAX.
type monthRow struct {
	row         int
	id          string
	element     int
	year, month int
	cells       []string
	fault       string
}

// each goes through the rows that are about TMIN or TMAX, or unreadable. Cells
// are valid until the following row.
func (c *monthColumns) each(rows rows, yield func(monthRow)) {
	rows.columns = c.n
	for n := 1; ; n++ {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			return
		}
		el, ok := ghcnElement(strings.TrimSpace(ghcnCellAt(cells, c.element)))
		if len(cells) > c.element && !ok {
			continue
		}
		r := monthRow{row: n, id: strings.TrimSpace(ghcnCellAt(cells, c.id)), element: el, cells: cells, fault: fault}
		yearText, monthText := strings.TrimSpace(ghcnCellAt(cells, c.year)), strings.TrimSpace(ghcnCellAt(cells, c.month))
		var okYear, okMonth bool
		r.year, okYear = wholeNumber(yearText)
		r.month, okMonth = wholeNumber(monthText)
		switch {
		case fault != "":
		case len(cells) <= max(c.id, c.year, c.month, c.element), len(cells) < c.n && rows.cutOff():
			r.fault = fmt.Sprintf("row has %d of %d cells, it is cut off", len(cells), c.n)
		case !okYear, !okMonth, r.month < 1, r.month > 12:
			r.fault = fmt.Sprintf("year %q and month %q are no month", clip(yearText), clip(monthText))
		case r.year < minYear, r.year > maxYear:
			r.fault = fmt.Sprintf("date year %d is outside %d to %d", r.year, minYear, maxYear)
		case c.id >= 0 && r.id == "":
			r.fault = "station is empty"
		}
		yield(r)
	}
}

func readMonthRows(c monthColumns, rows rows, opt ReadOptions) (*Reading, error) {
	if fault := c.fault(); fault != "" {
		return nil, fileError(ErrBadHeader, "header: %s", fault)
	}
	unit, err := unitOf(Tenths, opt.Unit)
	if err != nil {
		return nil, err
	}
	var stations ghcnStations
	c.each(rows, func(r monthRow) {
		if r.fault == "" {
			stations.see(r.id)
		}
	})
	station, open, err := stations.choose(opt.Station)
	if err != nil {
		return nil, err
	}
	if len(open) > 0 {
		return nil, ask(open...)
	}
	b, err := NewBatch(unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	days := newGhcnDays(b)
	c.each(rows, func(r monthRow) {
		switch {
		case r.id != station && r.id != "":
		case r.fault != "":
			b.Refuse(r.row, "", r.fault)
		default:
			days.setMonth(&c, r)
		}
	})
	days.put(opt.Latest)
	flags := slices.ContainsFunc(c.quality[:], func(at int) bool { return at >= 0 })
	return ghcnDone(b, ghcnAbout{station: station, unit: tenthsByFormat, flags: flags})
}

// setMonth adds a row.
func (g *ghcnDays) setMonth(c *monthColumns, r monthRow) {
	month, last := g.month(r.year, r.month), daysIn(r.year, r.month)
	for i := range len(month) {
		v := ghcnTenths(ghcnCellAt(r.cells, c.values[i]))
		switch {
		case i < last:
			month[i].set(r.element, r.row, v, qualityFlag(ghcnCellAt(r.cells, c.quality[i])), 0)
		case v.absent == "":
			g.refuseNoDate(r.row, r.year, r.month, i+1)
		}
	}
}
