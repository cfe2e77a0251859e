package weather

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
)

// nceiCSV is the daily summaries of the access service of NCEI as CSV, and the
// CSV of a station that NCEI publishes: a row a day with
//
//	STATION, DATE   YYYY-MM-DD
//	TMIN, TMAX      padded with blanks
//	…_ATTRIBUTES    "MFLAG,QFLAG,SFLAG,HHMM", where they were asked for
//
// The header is the same whether the values are °C with a decimal, whole °F or
// whole tenths of °C, as the request to the service had it. A value with a
// decimal other than 0 proves °C; else the unit is asked. (A decimal of 0
// proves nothing: spreadsheets put it behind whole numbers.)
var nceiCSV = format{
	name:      "ncei-csv",
	recognise: func(head []byte) bool { return isNceiHeader(headerCells(string(head))) },
	read:      readNceiTable,
}

// isNceiHeader recognises the headings of NCEI, which are in capitals: others
// name columns alike, but not with its rule for units.
func isNceiHeader(cells []string) bool {
	has := func(name string) bool {
		return slices.ContainsFunc(cells, func(cell string) bool { return strings.TrimSpace(cell) == name })
	}
	return has("STATION") && has("DATE") && (has("TMIN") || has("TMAX"))
}

// nceiJSON is the same as JSON: a list of objects with the columns as keys,
// where a missing value has no key. It is also the answer of the older service,
// {"results": [{"date", "datatype", "station", "attributes", "value"}]}, which
// gives each value on its own. A row is an item of the list, or of the older
// service a day, whose number is that of its first item.
var nceiJSON = format{
	name:      "ncei-json",
	recognise: isNceiJSON,
	read:      readNceiJSON,
}

// nceiRow is a row that gives a day.
type nceiRow struct {
	row                 int
	station, name, date string
	values, attributes  [ghcnElements]string
	quality             [ghcnElements]string // Where it has a column of its own.
	hour                string               // The same.
	fault               string
}

// nceiRows are rows that can be gone through more than once.
type nceiRows struct {
	each            func(yield func(nceiRow) bool)
	unit            Unit // That the header tells, or "".
	stations, flags bool // Whether rows have them.
	service         bool // Whether they are those of NCEI, whose decimals tell the unit.
}

// readNceiRows reads rows of which each is a day. First it goes through all of them
// for the stations and the unit, so that it asks everything at once.
func readNceiRows(rows nceiRows, opt ReadOptions) (*Reading, error) {
	var stations ghcnStations
	var unit unitSeen
	named, n, some := "", 0, false
	flags := rows.flags
	for r := range iter.Seq[nceiRow](rows.each) {
		n++
		if r.fault != "" || r.values[tmin] == "" && r.values[tmax] == "" {
			continue
		}
		some = true
		stations.see(r.station)
		if rows.service {
			unit.see(r.values[tmin])
			unit.see(r.values[tmax])
		}
		flags = flags || r.attributes[tmin] != "" || r.attributes[tmax] != ""
		if len(stations.ids) == 1 && r.name != "" {
			named = r.name
		}
	}
	switch {
	case n == 0:
		return nil, fileError(ErrNoRows, "the file has no rows")
	case !some: // Nothing that a unit or a station could be asked for.
		return nil, fileError(ErrNoRows, "no row of the file can be read and has TMIN or TMAX")
	}
	u, station, about, err := settleNcei(&unit, rows.unit, &stations, opt)
	if err != nil {
		return nil, err
	}
	b, err := NewBatch(u, opt.Latest)
	if err != nil {
		return nil, err
	}
	for r := range iter.Seq[nceiRow](rows.each) {
		switch {
		case r.station != station && r.station != "":
		case r.fault != "":
			b.Refuse(r.row, r.date, r.fault)
		case rows.stations && r.station == "":
			b.Refuse(r.row, r.date, "station is empty")
		default:
			addNceiRow(b, r, opt.Latest)
		}
	}
	about.flags = flags
	if named != "" && len(stations.ids) == 1 {
		about.station += ", " + clip(named)
	}
	return ghcnDone(b, about)
}

// settleNcei decides about unit and station, or asks for both.
func settleNcei(seen *unitSeen, told Unit, stations *ghcnStations, opt ReadOptions) (Unit, string, ghcnAbout, error) {
	about := ghcnAbout{}
	station, open, err := stations.choose(opt.Station)
	if err != nil {
		return "", "", about, err
	}
	about.station = clip(station)
	switch {
	case told != "":
		about.unit = told.sign() + ", by the heading"
	case seen.proof != "":
		told, about.unit = Celsius, fmt.Sprintf("°C, for values have decimals, as in %q", clip(seen.proof))
	case opt.Unit != "":
		about.unit = unitSaid(opt.Unit)
	default:
		return "", "", about, ask(append([]Question{askUnit(Tenths)}, open...)...)
	}
	if len(open) > 0 {
		return "", "", about, ask(open...)
	}
	u, err := unitOf(told, opt.Unit)
	return u, station, about, err
}

// unitSeen looks for a value that proves °C.
type unitSeen struct{ proof string }

func (u *unitSeen) see(text string) {
	if u.proof != "" {
		return
	}
	if _, decimals, ok := strings.Cut(text, "."); ok && strings.ContainsAny(decimals, "123456789") && readValue(text).fault == "" {
		u.proof = strings.Clone(strings.TrimSpace(text))
	}
}

// addNceiRow adds a row.
func addNceiRow(b *Batch, r nceiRow, latest Date) {
	d, fault := ghcnDate(r.date)
	if fault != "" {
		b.Refuse(r.row, r.date, fault)
		return
	}
	var values [ghcnElements]value
	var flags [ghcnElements]byte
	var hours [ghcnElements]int8
	for el := range values {
		values[el] = ghcnNumber(r.values[el])
		flags[el], hours[el] = ghcnAttributes(r.attributes[el])
		if q := qualityFlag(r.quality[el]); q != 0 {
			flags[el] = q
		}
		if h := readingHour(r.hour); h != 0 {
			hours[el] = h
		}
		if fault == "" && values[el].fault != "" {
			fault = ghcnElementNames[el] + " " + values[el].fault
		}
	}
	lo, hi := &values[tmin], &values[tmax]
	switch {
	case fault != "":
		b.Refuse(r.row, r.date, fault)
	case lo.absent != "" && hi.absent != "":
		if d <= latest {
			b.AddBlank()
		}
	default:
		b.AddDay(r.row, d, lo.pointer(), hi.pointer(), Remark{failedTests(flags[tmin], flags[tmax]), hourOf(hours[tmin], hours[tmax])})
	}
}

// pointer returns the number, nil if it is missing.
func (v *value) pointer() *float64 {
	if v.absent != "" {
		return nil
	}
	return &v.number
}

// nceiColumns are places in the header of a table with a row a day, -1 for none.
type nceiColumns struct {
	station, name, date, hour   int
	values, attributes, quality [ghcnElements]int
	n                           int
	unit                        Unit // That the header tells, or "".
}

// findNceiColumns looks for the columns; fault is what is wrong with them, or "".
func findNceiColumns(header []string) (c nceiColumns, fault string) {
	c = nceiColumns{
		station: ghcnHeading(header, "station", "id"),
		name:    ghcnHeading(header, "name"),
		date:    ghcnHeading(header, "date"),
		hour:    ghcnHeading(header, "obs_time", "obstime"),
		n:       len(header),
	}
	var units [ghcnElements]Unit
	for el, name := range [ghcnElements]string{"tmin", "tmax"} {
		c.values[el] = ghcnHeading(header, name, name+"_c", name+"_f")
		c.attributes[el] = ghcnHeading(header, name+"_attributes")
		c.quality[el] = ghcnHeading(header, name+"_qflag")
		if c.values[el] < 0 {
			if fault == "" {
				fault = "no column " + strings.ToUpper(name)
			}
			continue
		}
		_, units[el] = cutUnit(strings.ToLower(strings.TrimSpace(header[c.values[el]])))
	}
	c.unit = units[tmin]
	switch {
	case c.date < 0:
		return c, "no column DATE"
	case fault != "":
		return c, fault
	case units[tmin] != units[tmax]:
		return c, fmt.Sprintf("columns %q and %q do not tell the same unit", clip(header[c.values[tmin]]), clip(header[c.values[tmax]]))
	}
	return c, ""
}

// readNceiTable reads a CSV with a row a day.
func readNceiTable(body string, opt ReadOptions) (*Reading, error) {
	rows := newRows(body, ',')
	header, fault := rows.next()
	var c nceiColumns
	if fault == "" {
		c, fault = findNceiColumns(header)
	}
	if fault != "" {
		return nil, fileError(ErrBadHeader, "header: %s", fault)
	}
	rows.columns = c.n
	return readNceiRows(nceiRows{
		each:     func(yield func(nceiRow) bool) { c.each(rows, yield) },
		unit:     c.unit,
		stations: c.station >= 0,
		flags:    c.quality[tmin] >= 0 || c.quality[tmax] >= 0,
		service:  isNceiHeader(header),
	}, opt)
}

// each goes through the rows.
func (c *nceiColumns) each(rows rows, yield func(nceiRow) bool) {
	needed := max(c.station, c.date, c.values[tmin], c.values[tmax]) + 1
	for n := 1; ; n++ {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			return
		}
		r := nceiRow{
			row:     n,
			station: strings.TrimSpace(ghcnCellAt(cells, c.station)),
			name:    ghcnCellAt(cells, c.name),
			date:    strings.TrimSpace(ghcnCellAt(cells, c.date)),
			hour:    ghcnCellAt(cells, c.hour),
			fault:   fault,
		}
		for el := range ghcnElements {
			r.values[el] = ghcnCell(ghcnCellAt(cells, c.values[el]))
			r.attributes[el] = ghcnCellAt(cells, c.attributes[el])
			r.quality[el] = ghcnCellAt(cells, c.quality[el])
		}
		switch {
		case fault != "":
		case len(cells) < needed, len(cells) < c.n && rows.cutOff():
			r.fault = fmt.Sprintf("row has %d of %d cells, it is cut off", len(cells), c.n)
		case len(cells) > c.n && strings.TrimSpace(strings.Join(cells[c.n:], "")) != "":
			r.fault = fmt.Sprintf("row has %d cells instead of %d, is a comma its decimal sign?", len(cells), c.n)
		}
		if !yield(r) {
			return
		}
	}
}

// isNceiJSON recognises both services by their keys.
func isNceiJSON(head []byte) bool {
	head = bytes.TrimSpace(head)
	if len(head) == 0 {
		return false
	}
	has := func(key string) bool { return bytes.Contains(head, []byte(`"`+key+`"`)) }
	switch head[0] {
	case '[':
		return has("STATION") && has("DATE") && (has("TMIN") || has("TMAX"))
	case '{':
		return has("results") && has("datatype") && has("station") && has("date")
	}
	return false
}

// nceiItem is an item of a list of either service.
type nceiItem struct {
	Station    jsonText `json:"STATION"` // encoding/json does not mind the case of keys.
	Name       jsonText `json:"NAME"`
	Date       jsonText `json:"DATE"`
	Min        jsonText `json:"TMIN"`
	Max        jsonText `json:"TMAX"`
	MinAbout   jsonText `json:"TMIN_ATTRIBUTES"`
	MaxAbout   jsonText `json:"TMAX_ATTRIBUTES"`
	Type       jsonText `json:"datatype"`
	Value      jsonText `json:"value"`
	Attributes jsonText `json:"attributes"`
}

// jsonText is a string or a number as it stands in the file; null and what is
// missing is "".
type jsonText string

// UnmarshalJSON implements [json.Unmarshaler].
func (t *jsonText) UnmarshalJSON(b []byte) error {
	switch b[0] {
	case 'n':
		return nil
	case '"':
		return json.Unmarshal(b, (*string)(t))
	}
	*t = jsonText(b)
	return nil
}

// nceiList goes through the items of a file's list; row counts them from 1. An
// item that is none has a fault.
func nceiList(body string, yield func(row int, item *nceiItem, fault string) bool) error {
	n := 0
	broken := func() error {
		return fileError(ErrDamaged, "the file is no whole JSON: it breaks off or is damaged after item %d of its list", n)
	}
	dec := json.NewDecoder(strings.NewReader(body))
	open, err := dec.Token()
	if err != nil {
		return broken()
	}
	object := open == json.Delim('{')
	if object {
		found := false
		for !found && dec.More() {
			key, err := dec.Token()
			if err != nil {
				return broken()
			}
			if found = key == "results"; !found {
				var skipped json.RawMessage
				if dec.Decode(&skipped) != nil {
					return broken()
				}
			}
		}
		if open = nil; found {
			if open, err = dec.Token(); err != nil {
				return broken()
			}
		}
	}
	if open != json.Delim('[') {
		return fileError(ErrBadHeader, "the JSON holds no list of days, nor one called results")
	}
	for dec.More() {
		var item nceiItem
		err, fault := dec.Decode(&item), ""
		if wrong := (*json.UnmarshalTypeError)(nil); errors.As(err, &wrong) {
			item, fault = nceiItem{}, fmt.Sprintf("item is %s and no object", wrong.Value)
		} else if err != nil {
			return broken()
		}
		n++
		if !yield(n, &item, fault) {
			return nil
		}
	}
	// What follows must be whole and nothing new, else the list may not be all.
	depth := 1
	if object {
		depth++
	}
	for {
		token, err := dec.Token()
		switch {
		case errors.Is(err, io.EOF) && depth == 0:
			return nil
		case err != nil:
			return broken()
		case depth == 0:
			return fileError(ErrDamaged, "something follows the end of the JSON: send one answer of the service at a time")
		case token == json.Delim('['), token == json.Delim('{'):
			depth++
		case token == json.Delim(']'), token == json.Delim('}'):
			depth--
		}
	}
}

func readNceiJSON(body string, opt ReadOptions) (*Reading, error) {
	older, n := false, 0
	err := nceiList(body, func(_ int, item *nceiItem, _ string) bool {
		older = older || item.Type != ""
		n++
		return true
	})
	if err != nil {
		return nil, err
	}
	if n == 0 {
		return nil, fileError(ErrNoRows, "the list of the file is empty")
	}
	if older {
		return readOlderJSON(body, opt)
	}
	each := func(yield func(nceiRow) bool) {
		_ = nceiList(body, func(row int, item *nceiItem, fault string) bool {
			return yield(nceiRow{
				row: row, fault: fault,
				station:    strings.TrimSpace(string(item.Station)),
				name:       string(item.Name),
				date:       strings.TrimSpace(string(item.Date)),
				values:     [ghcnElements]string{ghcnCell(string(item.Min)), ghcnCell(string(item.Max))},
				attributes: [ghcnElements]string{string(item.MinAbout), string(item.MaxAbout)},
			})
		})
	}
	return readNceiRows(nceiRows{each: each, service: true}, opt)
}

// readOlderJSON reads the list of the older service.
func readOlderJSON(body string, opt ReadOptions) (*Reading, error) {
	each := func(yield func(ghcnRow)) {
		_ = nceiList(body, func(row int, item *nceiItem, fault string) bool {
			el, ok := ghcnElement(string(item.Type))
			if !ok && fault == "" && item.Type != "" {
				return true // Another element.
			}
			if fault == "" && item.Type == "" {
				fault = "datatype is missing"
			}
			flag, hour := ghcnAttributes(string(item.Attributes))
			yield(ghcnRow{
				row: row, element: el, fault: fault,
				id:    strings.TrimSpace(string(item.Station)),
				date:  strings.TrimSpace(string(item.Date)),
				value: string(item.Value), flag: flag, hour: hour,
			})
			return true
		})
	}
	var stations ghcnStations
	var unit unitSeen
	some := false
	each(func(r ghcnRow) {
		if r.fault == "" {
			some = true
			stations.see(r.id)
			unit.see(r.value)
		}
	})
	if !some {
		return nil, fileError(ErrNoRows, "no item of the list can be read and has TMIN or TMAX")
	}
	u, station, about, err := settleNcei(&unit, "", &stations, opt)
	if err != nil {
		return nil, err
	}
	b, err := NewBatch(u, opt.Latest)
	if err != nil {
		return nil, err
	}
	days := newGhcnDays(b)
	each(func(r ghcnRow) {
		if r.id == station || r.id == "" {
			days.setRow(r, ghcnNumber)
		}
	})
	days.put(opt.Latest)
	about.flags = true
	return ghcnDone(b, about)
}
