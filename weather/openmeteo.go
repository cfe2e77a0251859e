package weather

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// openMeteo is the JSON of Open-Meteo (open-meteo.com), of the past, of the days
// ahead or of both. Under daily there is a list for each quantity, all as long
// as time, and under daily_units the unit of each. A missing value is null.
// Dates are written YYYY-MM-DD or, as "unixtime", as the second at which the
// day begins, to which utc_offset_seconds is to be added. That is one number for
// the whole reply, so a day in the other half of the year may begin an hour
// early or late.
//
// Days are those of the zone that was asked for, which is GMT unless another
// was. A reply whose days begin more than zoneSlack off the farm's is refused.
//
// A reply about several places is a list of such objects; the identifier of a
// place is its location_id, which counts from 0. Rows are counted along time. From
// the service's documentation and replies that others recorded.
var openMeteo = format{
	name: "open-meteo",
	recognise: func(head []byte) bool {
		root := jsonHead(head)
		if root.kind() == '[' {
			root = root.first()
		}
		for m := root.members(); m.next(); {
			switch m.name {
			case "generationtime_ms", "daily_units", "hourly_units":
				return true
			case "daily", "hourly":
				if m.value.get("time").kind() == '[' {
					return true
				}
			}
		}
		return root.get("reason").kind() == '"' && root.get("error") != ""
	},
	read:        readOpenMeteo,
	readOutlook: readOpenMeteoOutlook,
}

func readOpenMeteo(body string, opt ReadOptions) (*Reading, error) {
	reply, err := openMeteoReply(body, opt)
	if err != nil {
		return nil, err
	}
	b, err := NewBatch(reply.unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	n, ahead := 0, 0
	for days := reply.days(); days.next(); {
		n++
		switch d := &days.day; {
		case d.fault != "":
			b.Refuse(d.row, d.text, d.fault)
		case d.date >= opt.Latest: // Today is not over: its values are predicted too.
			ahead++
		case d.lo.absent != "" && d.hi.absent != "":
			b.AddBlank()
		default:
			b.add(d.row, d.date.String(), d.lo, d.hi)
		}
	}
	switch n {
	case 0:
		return nil, fileError(ErrNoRows, "the reply has no day")
	case ahead:
		return nil, fileError(ErrOutlook, "no day of the reply is over, so all are predicted: send it as an outlook")
	}
	r, err := b.Done()
	if err != nil {
		return nil, err
	}
	r.Findings = reply.findings
	if ahead > 0 {
		r.Findings = append(r.Findings, Finding{"predicted days", fmt.Sprintf("%d from today on are passed over", ahead)})
	}
	return r, nil
}

func readOpenMeteoOutlook(body string, opt ReadOptions) (*OutlookReading, error) {
	reply, err := openMeteoReply(body, opt)
	if err != nil {
		return nil, err
	}
	r := &OutlookReading{Findings: reply.findings}
	var ahead []predicted
	n, past := 0, 0
	for days := reply.days(); days.next(); {
		n++
		switch d := &days.day; {
		case d.fault != "":
			return nil, fileError(ErrBadHeader, "day %d of the reply: %s", d.row, d.fault)
		case d.date < opt.Latest:
			past++
		case len(ahead) == maxPredicted:
			return nil, fileError(ErrTooLarge, "more than %d days ahead", maxPredicted)
		default:
			ahead = append(ahead, predicted{d.row, d.date, d.lo.to(reply.unit), d.hi.to(reply.unit)})
		}
	}
	switch {
	case n == 0:
		return nil, fileError(ErrNoRows, "the reply has no day")
	case n == past:
		return nil, fileError(ErrOutlook, "all days of the reply are before today, so it holds no outlook")
	case past > 0:
		r.Findings = append(r.Findings, Finding{"days before today", fmt.Sprintf("%d are passed over", past)})
	}
	return r, r.take(ahead)
}

// to returns x, given in u, in °C.
func (x value) to(u Unit) value {
	if x.isNumber() {
		x.number = u.Celsius(x.number)
	}
	return x
}

// The lists that are needed.
const (
	openMeteoMax = "temperature_2m_max"
	openMeteoMin = "temperature_2m_min"
)

// meteoReply is the daily part of a reply.
type meteoReply struct {
	unit          Unit
	time, lo, hi  jsonValue // Lists of one length.
	offset        int       // Seconds east of UTC.
	offsetUnknown bool
	findings      []Finding
}

func openMeteoReply(body string, opt ReadOptions) (*meteoReply, error) {
	root, err := parseJSON(body)
	if err != nil {
		return nil, err
	}
	place := ""
	if root.kind() == '[' {
		if root, place, err = openMeteoPlace(root, opt.Station); err != nil {
			return nil, err
		}
	}
	var failed, reason, daily, hourly, units, offset, zone jsonValue
	root.pick(map[string]*jsonValue{
		"error": &failed, "reason": &reason, "daily": &daily, "hourly": &hourly, "daily_units": &units,
		"utc_offset_seconds": &offset, "timezone": &zone,
	})
	if failed != "" && failed != "false" {
		return nil, serviceError(cmp.Or(reason.plain(), failed.plain()))
	}
	r := &meteoReply{}
	daily.pick(map[string]*jsonValue{"time": &r.time, openMeteoMin: &r.lo, openMeteoMax: &r.hi})
	if r.time.more(maxRows) {
		return nil, tooManyRows()
	}
	if fault := r.shapeFault(daily, hourly != ""); fault != "" {
		return nil, fileError(ErrBadHeader, "%s", fault)
	}
	told, fault := openMeteoUnit(units)
	if fault != "" {
		return nil, fileError(ErrBadHeader, "%s", fault)
	}
	if r.unit, err = unitOf(told, opt.Unit); err != nil {
		return nil, err
	}
	if r.offset, r.offsetUnknown, err = openMeteoOffset(offset); err != nil {
		return nil, err
	}
	if cell := openMeteoCell(root); cell != "" {
		place += "the model's values at " + cell + ", no thermometer's"
		r.find("place", place)
	}
	r.find("unit", r.unit.sign())
	return r, r.zone(clip(zone.text()), opt)
}

func (r *meteoReply) find(what, found string) {
	r.findings = append(r.findings, Finding{what, found})
}

// openMeteoPlace returns the place of that location_id out of several, and its
// name, or asks.
func openMeteoPlace(list jsonValue, id string) (place jsonValue, name string, err error) {
	if list.more(maxPlaces) {
		return "", "", tooManyPlaces()
	}
	n := 0
	var choices, cells []string
	var found jsonValue
	for it := list.items(); it.next(); n++ {
		own := cmp.Or(it.value.get("location_id").plain(), strconv.Itoa(n))
		if own == id || id == "" {
			found = it.value
		}
		if len(choices) < maxChoices {
			choices = append(choices, clip(own))
			cells = append(cells, clip(own)+" at "+cmp.Or(openMeteoCell(it.value), "?"))
		}
	}
	switch {
	case n == 0:
		return "", "", fileError(ErrNoRows, "the reply is an empty list")
	case found == "":
		return "", "", fileError(ErrNoRows, "the reply has no place %s; it is about places %s", clip(id), strings.Join(choices, ", "))
	case n == 1:
		return found, "", nil
	case id == "":
		text := fmt.Sprintf("The reply is about %d places, %s: say which one to take.", n, clipTo(strings.Join(cells, "; "), 70))
		return "", "", ask(Question{OptionStation, text, choices})
	}
	return found, "number " + clip(id) + ", ", nil
}

// openMeteoCell returns the latitude and longitude of a place, or "".
func openMeteoCell(place jsonValue) string {
	north, east := place.get("latitude"), place.get("longitude")
	if north == "" || east == "" {
		return ""
	}
	return clip(north.plain()) + ", " + clip(east.plain())
}

// shapeFault says in one clause what of the lists is missing, or "".
func (r *meteoReply) shapeFault(daily jsonValue, hourly bool) string {
	if daily.kind() != '{' {
		if hourly {
			return "the reply has hourly values only, and no daily: ask for daily=" + openMeteoMax + "," + openMeteoMin
		}
		return "the reply has no object daily: ask for daily=" + openMeteoMax + "," + openMeteoMin
	}
	n := r.time.count()
	for _, l := range []struct {
		name string
		list jsonValue
	}{{"time", r.time}, {openMeteoMax, r.hi}, {openMeteoMin, r.lo}} {
		if l.list.kind() != '[' {
			return "daily has no list " + l.name + "; it has " + memberNames(daily)
		}
		if m := l.list.count(); m != n {
			return fmt.Sprintf("daily has %d values %s for %d days", m, l.name, n)
		}
	}
	return ""
}

// count returns the number of items of a list.
func (v jsonValue) count() int {
	n := 0
	for it := v.items(); it.next(); {
		n++
	}
	return n
}

// memberNames returns the names of an object's members, or the first of them.
func memberNames(v jsonValue) string {
	var names []string
	for m := v.members(); m.next() && len(names) < maxChoices; {
		names = append(names, clip(m.name))
	}
	return cmp.Or(clipTo(strings.Join(names, ", "), 60), "nothing")
}

// openMeteoUnit reads the unit of both lists.
func openMeteoUnit(units jsonValue) (u Unit, fault string) {
	hi, lo := units.get(openMeteoMax).text(), units.get(openMeteoMin).text()
	if hi != lo {
		return "", fmt.Sprintf("daily_units tells %q for the max and %q for the min", clip(hi), clip(lo))
	}
	switch hi {
	case "":
		return "", ""
	case "°C":
		return Celsius, ""
	case "°F":
		return Fahrenheit, ""
	}
	return "", fmt.Sprintf("daily_units tells %q, which is neither °C nor °F", clip(hi))
}

// openMeteoOffset reads how far east of UTC the days begin, in seconds.
func openMeteoOffset(v jsonValue) (seconds int, unknown bool, err error) {
	const most = 18 * 60 * 60 // No zone is further off.
	switch x := v.temperature(); {
	case x.absent != "":
		return 0, true, nil
	case x.fault != "" || !(math.Abs(x.number) <= most) || x.number != math.Trunc(x.number):
		return 0, false, fileError(ErrBadHeader, "utc_offset_seconds %s is no offset from UTC", clip(v.plain()))
	default:
		return int(x.number), false, nil
	}
}

// zoneSlack is how far off the farm's a day may begin. It leaves room for a
// summer time at one end of a long reply, and for a neighbour's zone.
const zoneSlack = 2 * time.Hour

// zone says by which calendar the days are, that of the zone name, and refuses
// days that are not the farm's. What decides is the last day.
func (r *meteoReply) zone(name string, opt ReadOptions) error {
	if r.offsetUnknown {
		for it := r.time.items(); it.next(); {
			if it.value.kind() == '0' {
				return fileError(ErrBadHeader, "the reply has dates as unixtime but no utc_offset_seconds, by which they are days")
			}
		}
		r.find("warning", "the reply does not tell in which zone its days begin; they are taken as the farm's")
		return nil
	}
	last := opt.Latest
	for days := r.days(); days.next(); {
		if days.day.fault == "" {
			last = days.day.date
		}
	}
	const noon, half = 12 * time.Hour, 183
	off := func(d Date) time.Duration {
		_, farm := d.Time().Add(noon).In(opt.zone()).Zone()
		return time.Duration(r.offset-farm) * time.Second
	}
	if name == "" {
		name = fmt.Sprintf("UTC%+g h", float64(r.offset)/3600)
	}
	switch d := off(last); {
	case d.Abs() > zoneSlack:
		return fileError(ErrBadHeader, "the days are of the zone %s, not of %s: ask for timezone=auto", name, opt.zone())
	case d != 0 && off(last-half) != 0:
		r.find("warning", fmt.Sprintf("the days are of the zone %s and begin %g h off those of %s", name, d.Abs().Hours(), opt.zone()))
	default:
		r.find("zone", name)
	}
	return nil
}

// meteoDays goes through the days of a reply.
type meteoDays struct {
	time, lo, hi jsonItems
	offset       int
	day          meteoDay // The last one.
}

type meteoDay struct {
	row    int
	text   string // The date as it was sent.
	date   Date
	fault  string // What is wrong with the date, or "".
	lo, hi value
}

func (r *meteoReply) days() *meteoDays {
	return &meteoDays{time: r.time.items(), lo: r.lo.items(), hi: r.hi.items(), offset: r.offset}
}

func (m *meteoDays) next() bool {
	if !m.time.next() || !m.lo.next() || !m.hi.next() {
		return false
	}
	date, fault := meteoDate(m.time.value, m.offset)
	m.day = meteoDay{m.day.row + 1, m.time.value.plain(), date, fault, m.lo.value.temperature(), m.hi.value.temperature()}
	return true
}

// meteoDate reads a date. A day that begins within an hour and a half of
// midnight, by the offset of the reply, begins there.
func meteoDate(v jsonValue, offset int) (d Date, fault string) {
	if v.kind() != '0' {
		if d, fault = parseDate(v.plain()); fault != "" {
			fault = "date " + fault
		}
		return d, fault
	}
	const slack = 90 * 60
	second := v.temperature()
	begin := second.number + float64(offset)
	days := math.Round(begin / secondsPerDay)
	switch {
	case second.fault != "" || !(math.Abs(days) <= 1e6):
		return 0, fmt.Sprintf("date %s is no time of these centuries", clip(v.plain()))
	case !(math.Abs(begin-days*secondsPerDay) <= slack):
		return 0, fmt.Sprintf("date %s does not begin at midnight", clip(v.plain()))
	}
	if fault = yearFault(Date(days)); fault != "" {
		fault = "date " + fault
	}
	return Date(days), fault
}
