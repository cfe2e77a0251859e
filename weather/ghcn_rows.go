package weather

import (
	"fmt"
	"strings"
)

// ghcnRows is GHCN-Daily by year, a row for each value:
//
//	ID,YYYYMMDD,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,HHMM
//
// with no header or with one, by which the columns are found then. Values are
// tenths of °C; HHMM is the hour of observation, which no other layout of the
// record has. A row is a day; its number is that of the first row of the file
// that gives its TMIN or TMAX.
var ghcnRows = format{
	name: "ghcn-rows",
	recognise: func(head []byte) bool {
		rows := newRows(string(head), ',')
		cells, _ := rows.next()
		if isGhcnRow(cells) {
			return true
		}
		c := findGhcnColumns(cells)
		if c.fault() != "" {
			return false
		}
		// Others name columns so too, but the codes of elements are the network's.
		cells, _ = rows.next()
		_, whole := wholeNumber(strings.TrimSpace(ghcnCellAt(cells, c.value)))
		return whole && likeElement(ghcnCellAt(cells, c.element))
	},
	read: readGhcnRows,
}

// ghcnColumns are places in a row, -1 for none.
type ghcnColumns struct {
	id, date, element, value, quality, hour int
	n                                       int
}

// officialColumns are those of the files without a header.
var officialColumns = ghcnColumns{id: 0, date: 1, element: 2, value: 3, quality: 5, hour: 7, n: 8}

// findGhcnColumns finds them by the names of official files and of what
// clients write, some of which name the four behind the value a to d.
func findGhcnColumns(header []string) ghcnColumns {
	return ghcnColumns{
		id:      ghcnHeading(header, "id", "station"),
		date:    ghcnHeading(header, "date", "yyyymmdd", "year/month/day"),
		element: ghcnHeading(header, "element", "attr", "datatype"),
		value:   ghcnHeading(header, "value", "data_value", "data value"),
		quality: ghcnHeading(header, "q_flag", "qflag", "q-flag", "b"),
		hour:    ghcnHeading(header, "obs_time", "obs-time", "obstime", "time", "d"),
		n:       len(header),
	}
}

// fault says which column there is not, or "".
func (c *ghcnColumns) fault() string {
	switch {
	case c.date < 0:
		return "no column date"
	case c.element < 0:
		return "no column element"
	case c.value < 0:
		return "no column value"
	}
	return ""
}

// isGhcnRow reports whether cells are a row of an official file.
func isGhcnRow(cells []string) bool {
	if len(cells) < 4 || !startsLikeStation(cells[0]) || len(cells[1]) != len("YYYYMMDD") || !likeElement(cells[2]) {
		return false
	}
	_, fault := ghcnDate(cells[1])
	_, number := wholeNumber(strings.TrimSpace(cells[3]))
	return fault == "" && number
}

// ghcnRow is a row that gives one value.
type ghcnRow struct {
	row      int
	id, date string
	element  int
	value    string
	flag     byte
	hour     int8
	fault    string
}

// each goes through the rows that are about TMIN or TMAX, or unreadable.
func (c *ghcnColumns) each(rows rows, header bool, yield func(ghcnRow)) {
	if header {
		rows.next()
	}
	rows.columns = c.n
	for n := 1; ; n++ {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			return
		}
		r := ghcnRow{row: n, date: strings.TrimSpace(ghcnCellAt(cells, c.date)), id: strings.TrimSpace(ghcnCellAt(cells, c.id)), fault: fault}
		el, ok := ghcnElement(strings.TrimSpace(ghcnCellAt(cells, c.element)))
		needed := max(c.date, c.element, c.value, c.id) + 1
		switch {
		case len(cells) > c.element && !ok: // Another element.
			continue
		case fault != "":
		case len(cells) < needed, len(cells) < c.n && rows.cutOff():
			r.fault = fmt.Sprintf("row has %d of %d cells, it is cut off", len(cells), c.n)
		default:
			r.element, r.value = el, cells[c.value]
			r.flag, r.hour = qualityFlag(ghcnCellAt(cells, c.quality)), readingHour(ghcnCellAt(cells, c.hour))
			if c.id >= 0 && r.id == "" {
				r.fault = "station is empty"
			}
		}
		yield(r)
	}
}

func readGhcnRows(body string, opt ReadOptions) (*Reading, error) {
	unit, err := unitOf(Tenths, opt.Unit)
	if err != nil {
		return nil, err
	}
	rows := newRows(body, ',')
	peek := rows
	first, fault := peek.next()
	c, header := officialColumns, false
	if !isGhcnRow(first) {
		c, header = findGhcnColumns(first), true
		if fault == "" {
			fault = c.fault()
		}
		if fault != "" {
			return nil, fileError(ErrBadHeader, "header: %s", fault)
		}
	}
	var stations ghcnStations
	c.each(rows, header, func(r ghcnRow) {
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
	c.each(rows, header, func(r ghcnRow) {
		if r.id == station || r.id == "" {
			days.setRow(r, ghcnTenths)
		}
	})
	days.put(opt.Latest)
	return ghcnDone(b, ghcnAbout{station: station, unit: tenthsByFormat, flags: c.quality >= 0})
}

// setRow adds a row; number reads its value.
func (g *ghcnDays) setRow(r ghcnRow, number func(string) value) {
	d, fault := Date(0), r.fault
	if fault == "" {
		d, fault = ghcnDate(r.date)
	}
	if fault != "" {
		g.batch.Refuse(r.row, r.date, fault)
		return
	}
	g.day(d).set(r.element, r.row, number(r.value), r.flag, r.hour)
}
