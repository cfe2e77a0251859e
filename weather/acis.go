package weather

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// acis is what StnData of the Applied Climate Information System of the US
// regional climate centers gives: meta about a station, and data with a row
//
//	[date, value, …]
//
// for each day. A value is a string, a number or a letter or both: M missing, S
// part of a later day's, T a trace, A behind a number a sum or an extreme of
// several days. Asked with add:"f,t" it is [value, flag, local hour of
// observation], -1 for an unknown hour. Temperatures are in °F. None of the
// flags says that a value failed a test.
//
// The reply does not name its columns. Temperatures are read in whole degrees,
// so a column with decimals holds averages or rain. If just two columns are
// left and one of them is never below the other and once above it, that is the
// max; anything else is asked.
//
// A list of stations, {"data": [{"meta": …, "data": …}]}, is read if its rows
// have dates, which those of MultiStnData have not. Rows are counted within a
// station. From the service's reference (docs.rcc-acis.org/acisws) and replies
// that others recorded.
var acis = format{
	name: "acis",
	recognise: func(head []byte) bool {
		root := jsonHead(head)
		data := root.get("data")
		switch first := data.first(); {
		case root.get("error").kind() == '"':
			return root.get("reason") == "" && data == ""
		case data.kind() != '[':
			return false
		case first.kind() == '[':
			_, fault := parseDate(first.first().text())
			return fault == "" || root.get("meta").kind() == '{'
		case first.kind() == '{':
			return first.get("data").kind() == '['
		}
		return root.get("meta").kind() == '{'
	},
	read: readACIS,
}

func readACIS(body string, opt ReadOptions) (*Reading, error) {
	unit, err := unitOf(Fahrenheit, opt.Unit)
	if err != nil {
		return nil, err
	}
	root, err := parseJSON(body)
	if err != nil {
		return nil, err
	}
	var told, data, meta jsonValue
	root.pick(map[string]*jsonValue{"error": &told, "data": &data, "meta": &meta})
	if told != "" {
		return nil, serviceError(told.plain())
	}
	stations, err := acisStations(data, meta)
	if err != nil {
		return nil, err
	}
	station, open, err := stations.choose(opt.Station)
	if err != nil {
		return nil, err
	}
	if station.data.more(maxRows) {
		return nil, tooManyRows()
	}
	columns, more, err := stations.columns(opt.Column)
	if err != nil {
		return nil, err
	}
	if open = append(open, more...); len(open) > 0 {
		return nil, ask(open...)
	}
	b, err := NewBatch(unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	n := 0
	for rows := station.data.items(); rows.next(); {
		n++
		columns.add(b, n, rows.value)
	}
	if n == 0 {
		return nil, fileError(ErrNoRows, "the reply has no day")
	}
	r, err := b.Done()
	if err != nil {
		return nil, err
	}
	r.Findings = []Finding{
		{"station", station.label()},
		{"unit", "°F, by the format"},
		{"columns", columns.found},
	}
	return r, nil
}

// acisStation is one station of a reply.
type acisStation struct{ meta, data jsonValue }

// ids returns the station's identifiers, each as the service writes it: the
// identifier, a blank and the code of its kind.
func (s acisStation) ids() []string {
	var ids []string
	for it := s.meta.get("sids").items(); it.next() && len(ids) < maxChoices; {
		ids = append(ids, it.value.text())
	}
	return ids
}

// id returns one identifier, of the Global Historical Climatology Network if the
// station has one; "" if it has none.
func (s acisStation) id() string {
	ids := s.ids()
	for _, id := range ids {
		if id, ok := strings.CutSuffix(id, " 6"); ok {
			return id
		}
	}
	if len(ids) > 0 {
		id, _, _ := strings.Cut(ids[0], " ")
		return id
	}
	return s.meta.get("uid").plain()
}

// has reports whether id is one of the station's identifiers, with the code of
// its kind or without.
func (s acisStation) has(id string) bool {
	return s.meta.get("uid").plain() == id || slices.ContainsFunc(s.ids(), func(own string) bool {
		bare, _, _ := strings.Cut(own, " ")
		return own == id || bare == id
	})
}

func (s acisStation) label() string {
	name, id := s.meta.get("name").text(), s.id()
	switch {
	case name == "" && id == "":
		return "the reply does not name it"
	case name == "" || id == "":
		return clip(name + id)
	}
	return clip(name) + ", " + clip(id)
}

// acisReply is the stations of a reply, which may be one.
type acisReply struct {
	list jsonValue // Of stations; "" if there is just one.
	one  acisStation
}

// acisStations looks for the stations of a reply.
func acisStations(data, meta jsonValue) (*acisReply, error) {
	if data.kind() != '[' {
		return nil, fileError(ErrBadHeader, "the reply has no list named data")
	}
	first := data.first()
	if first.kind() != '{' {
		return &acisReply{one: acisStation{meta, data}}, nil
	}
	if rows := first.get("data"); rows != "" {
		if _, fault := parseDate(rows.first().first().text()); fault != "" && rows.first() != "" {
			return nil, fileError(ErrBadHeader, "the rows have no dates, as those of MultiStnData: ask StnData for one station")
		}
	}
	if data.more(maxPlaces) {
		return nil, tooManyPlaces()
	}
	return &acisReply{list: data}, nil
}

// each calls f for each station.
func (r *acisReply) each(f func(acisStation)) {
	if r.list == "" {
		f(r.one)
		return
	}
	for it := r.list.items(); it.next(); {
		var s acisStation
		it.value.pick(map[string]*jsonValue{"meta": &s.meta, "data": &s.data})
		f(s)
	}
}

// maxChoices bounds the answers offered to a question.
const maxChoices = 20

// choose returns the station of that identifier, or the only one, or asks.
func (r *acisReply) choose(id string) (found acisStation, open []Question, err error) {
	var ids []string
	n, fit := 0, 0
	r.each(func(s acisStation) {
		n++
		own := s.id()
		if len(ids) < maxChoices && own != "" {
			ids = append(ids, clip(own))
		}
		// What does not name itself is believed to be what was asked for, if it
		// is alone.
		if id == "" || s.has(id) || r.list == "" && own == "" {
			found = s
			fit++
		}
	})
	switch {
	case fit == 1:
		return found, nil, nil
	case fit == 0:
		return found, nil, fileError(ErrNoRows, "the reply has no station %s; it is about %s",
			clip(id), clipTo(cmp.Or(strings.Join(ids, ", "), "others"), 60))
	case id != "" || len(ids) == 0:
		return found, nil, fileError(ErrBadHeader, "%d of the stations in the reply have the same identifier or none", fit)
	}
	return found, []Question{{
		Option:  OptionStation,
		Text:    fmt.Sprintf("The reply is about %d stations: say which one to take.", n),
		Choices: ids,
	}}, nil
}

// The answers to which column is which.
const (
	acisMaxFirst = "max first"
	acisMinFirst = "min first"
)

// acisColumns are the places of the two values in a row, the date's being 0.
type acisColumns struct {
	max, min int
	found    string // How they were told apart.
}

// acisMost is how many columns are looked at. The service has eleven elements
// of a day.
const acisMost = 12

// columns tells which columns of the reply are max and min, from all of its
// stations, for they were all asked alike.
func (r *acisReply) columns(said string) (c acisColumns, open []Question, err error) {
	if said != "" && said != acisMaxFirst && said != acisMinFirst {
		return c, nil, fileError(ErrBadHeader, "column %q is neither %q nor %q", clip(said), acisMaxFirst, acisMinFirst)
	}
	var n int
	var numbers, decimals [acisMost + 1]bool
	r.rows(func(_ jsonValue, cells []jsonValue) {
		n = max(n, len(cells)-1)
		for i, cell := range cells[min(1, len(cells)):] {
			x, _ := acisValue(cell)
			numbers[i+1] = numbers[i+1] || x.isNumber()
			decimals[i+1] = decimals[i+1] || acisDecimal(cell)
		}
	})
	if n == 1 {
		return c, nil, fileError(ErrBadHeader, "the rows have one value: ask for both maxt and mint")
	}
	var whole []int
	for i := 1; i <= n; i++ {
		if numbers[i] && !decimals[i] {
			whole = append(whole, i)
		}
	}
	first, second := 1, 2
	if len(whole) >= 2 {
		first, second = whole[0], whole[1]
	}
	// In the first of these rows, the pair is shown to whom is asked.
	var above, below bool
	var shown string
	r.rows(func(date jsonValue, cells []jsonValue) {
		if len(cells) <= second {
			return
		}
		x, _ := acisValue(cells[first])
		y, _ := acisValue(cells[second])
		if !x.isNumber() || !y.isNumber() {
			return
		}
		above = above || x.number > y.number
		below = below || x.number < y.number
		if shown == "" {
			shown = fmt.Sprintf(", such as %g and %g of %s", x.number, y.number, clip(date.text()))
		}
	})
	content := ""
	switch {
	case len(whole) != 2 || above == below:
	case above:
		content = acisMaxFirst
	default:
		content = acisMinFirst
	}
	empty := !slices.Contains(numbers[:], true)
	switch {
	case content != "" && said != "" && content != said:
		return c, nil, fileError(ErrBadHeader, "the values tell %s, for that is never below the other, the request says %s", content, said)
	case content != "":
		c.found = content + ", for that is never below the other"
	case said != "":
		c.found = said + ", as was said"
	case empty: // Then nothing hangs on it.
		c.found = "without a value"
	default:
		text := "The reply does not name its columns" + shown + ": say whether max or min is first"
		if decimals[first] || decimals[second] {
			text += "; decimals are mostly those of an average"
		}
		return c, []Question{{OptionColumn, text + ".", []string{acisMaxFirst, acisMinFirst}}}, nil
	}
	c.max, c.min = first, second
	if content == acisMinFirst || said == acisMinFirst {
		c.max, c.min = second, first
	}
	if n > 2 {
		c.found += fmt.Sprintf("; %d of %d columns are left out", n-2, n)
	}
	return c, nil, nil
}

// rows calls f for the rows of all stations, with as many of their cells as are
// looked at, the date among them.
func (r *acisReply) rows(f func(date jsonValue, cells []jsonValue)) {
	cells := make([]jsonValue, 0, acisMost+1)
	r.each(func(s acisStation) {
		for rows := s.data.items(); rows.next(); {
			cells = acisCells(rows.value, cells[:0])
			if len(cells) > 0 {
				f(cells[0], cells)
			}
		}
	})
}

// acisCells appends the cells of a row to cells, at most acisMost values.
func acisCells(row jsonValue, cells []jsonValue) []jsonValue {
	for it := row.items(); it.next() && len(cells) <= acisMost; {
		cells = append(cells, it.value)
	}
	return cells
}

// add adds row n to b.
func (c *acisColumns) add(b *Batch, n int, row jsonValue) {
	var place [acisMost + 1]jsonValue
	cells := acisCells(row, place[:0])
	switch last := max(c.max, c.min); {
	case len(cells) == 0:
		b.Refuse(n, "", "row is no list of a date and values")
		return
	case len(cells) <= last:
		b.Refuse(n, cells[0].plain(), fmt.Sprintf("row has %d of %d values", len(cells)-1, last))
		return
	}
	text := cells[0].plain()
	lo, loHour := acisValue(cells[c.min])
	hi, hiHour := acisValue(cells[c.max])
	date, fault := parseDate(strings.TrimSpace(text))
	switch {
	case fault == "" && lo.absent != "" && hi.absent != "":
		b.AddBlank()
	case fault != "" || !lo.isNumber() || !hi.isNumber():
		b.add(n, text, lo, hi) // Says what is wrong.
	default:
		b.AddDay(n, date, &lo.number, &hi.number, Remark{Hour: hourOf(loHour, hiHour)})
	}
}

// isNumber reports whether x is a finite number.
func (x value) isNumber() bool { return x.absent == "" && x.fault == "" }

// acisValue reads a value, with its flag and hour if it has them; the hour is 0
// if it is not known.
func acisValue(v jsonValue) (x value, hour int8) {
	var extra [3]jsonValue
	if v.kind() == '[' {
		n := 0
		for it := v.items(); it.next() && n < len(extra); n++ {
			extra[n] = it.value
		}
		v = extra[0]
	}
	plain, flag := strings.TrimSpace(v.plain()), strings.TrimSpace(extra[1].text())
	// The letter stands behind the number, or apart.
	if stem := strings.TrimRight(plain, "MSTA"); stem != plain {
		plain, flag = stem, plain[len(stem):]
	}
	switch {
	case flag == "M" || flag == "S":
		return value{absent: "missing"}, 0
	case flag == "A" && plain != "":
		return value{fault: fmt.Sprintf("%s is of several days (A)", clip(plain))}, 0
	case flag != "":
		return value{fault: fmt.Sprintf("%q has the flag %s, which a temperature cannot have", clip(plain), clip(flag))}, 0
	case v.kind() == '"':
		x = readValue(plain)
	default:
		x = v.temperature()
	}
	if x.number == 0 {
		x.number = 0 // And not its negative.
	}
	if extra[1].kind() == '"' { // Otherwise something else was asked for beside the value.
		hour = acisHour(extra[2])
	}
	return x, hour
}

// acisHour reads the hour of observation. Midnight is written 24; a 0 could be
// nothing else.
func acisHour(v jsonValue) int8 {
	h := v.temperature()
	switch {
	case !h.isNumber() || v == "" || !(0 <= h.number && h.number <= 24):
		return 0
	case h.number < 0.5:
		return 24
	}
	return int8(math.Round(h.number))
}

// acisDecimal reports whether a value is written with a decimal point.
func acisDecimal(v jsonValue) bool {
	if v.kind() == '[' {
		v = v.first()
	}
	return strings.Contains(v.plain(), ".")
}
