package weather

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// nwsGrid is the gridpoint forecast of the US National Weather Service
// (api.weather.gov/gridpoints/OFFICE/X,Y), which holds the extremes of days and
// nights, each with the interval it is of:
//
//	"maxTemperature": {"uom": "wmoUnit:degC", "values": [
//	    {"validTime": "2026-06-10T12:00:00+00:00/PT13H", "value": 29.444444444444443}, …
//
// A max is of a day and belongs to the date on which its interval begins; a min
// is of a night and belongs to the date on which its interval ends, the morning
// after; both by the calendar of the farm. The first interval of each may be
// the rest of one that has begun: of shortNWS or less, its value is no extreme
// of a day. Values are whole °F that were converted, so they are rounded to
// 0.1 °C. A day is whole with both; days before the date of issue are history.
//
// The service's period forecast (…/forecast) has words and numbers for half
// days; it is recognised, to say what to take instead. So are the description of
// a place (/points/…) and errors (RFC 9457). From the service's documentation and a
// forecast that it publishes for tests.
var nwsGrid = format{
	name: "nws-grid",
	recognise: func(head []byte) bool {
		root := jsonHead(head)
		for m := root.get("properties").members(); m.next(); {
			switch m.name {
			case "gridId", "maxTemperature", "minTemperature", "forecastGridData", "periods", "forecastGenerator":
				return true
			}
		}
		return nwsProblem(root)
	},
	readOutlook: readNWSGrid,
}

// nwsProblem reports whether root is an error by RFC 9457.
func nwsProblem(root jsonValue) bool {
	var title, status, detail, kind, properties jsonValue
	root.pick(map[string]*jsonValue{"title": &title, "status": &status, "detail": &detail, "type": &kind, "properties": &properties})
	return title.kind() == '"' && status != "" && properties == "" && (detail.kind() == '"' || kind.kind() == '"')
}

func readNWSGrid(body string, opt ReadOptions) (*OutlookReading, error) {
	root, err := parseJSON(body)
	if err != nil {
		return nil, err
	}
	if nwsProblem(root) {
		return nil, serviceError(root.get("title").text(), root.get("detail").plain())
	}
	var maxima, minima, periods, place, told jsonValue
	p := root.get("properties")
	p.pick(map[string]*jsonValue{
		"maxTemperature": &maxima, "minTemperature": &minima, "periods": &periods, "forecastGridData": &place, "updateTime": &told,
	})
	switch {
	case maxima != "" && minima != "":
	case periods != "":
		return nil, fileError(ErrUnknownFormat,
			"the file is a forecast in words for half days: take the gridpoint's address without /forecast at its end")
	case place != "":
		return nil, fileError(ErrUnknownFormat,
			"the file describes a place: take the address that it gives as forecastGridData, %s", clipTo(place.text(), 60))
	case maxima == "":
		return nil, fileError(ErrBadHeader, "the file has no properties.maxTemperature")
	default:
		return nil, fileError(ErrBadHeader, "the file has no properties.minTemperature")
	}
	r := &OutlookReading{}
	if told != "" {
		at, err := time.Parse(time.RFC3339, told.text())
		if err != nil {
			return nil, fileError(ErrBadHeader, "updateTime %q is no moment", clip(told.plain()))
		}
		r.IssuedAt = at.UTC()
	}
	c := nwsDays{zone: opt.zone(), said: opt.Unit, byDate: map[Date]*predicted{}}
	if err := c.add(maxima, "max"); err != nil {
		return nil, err
	}
	if err := c.add(minima, "min"); err != nil {
		return nil, err
	}
	days := c.sorted()
	if len(days) == 0 {
		return nil, fileError(ErrNoRows, "the forecast has no max and no min")
	}
	if !r.IssuedAt.IsZero() {
		issue := DateIn(r.IssuedAt.In(opt.zone()))
		for len(days) > 0 && days[0].date < issue {
			r.refuse(days[0], "the day is before the forecast was issued")
			days = days[1:]
		}
	}
	r.Findings = []Finding{
		{"grid", nwsGridName(p)},
		{"unit", c.unit.sign()},
		{"days", "a max is of the date it begins on, a min of the date it ends on, in " + opt.zone().String()},
	}
	return r, r.take(days)
}

func nwsGridName(p jsonValue) string {
	var office, x, y jsonValue
	p.pick(map[string]*jsonValue{"gridId": &office, "gridX": &x, "gridY": &y})
	if office.text() == "" {
		return "not told"
	}
	return fmt.Sprintf("%s %s,%s", clip(office.text()), clip(x.plain()), clip(y.plain()))
}

// nwsDays gathers extremes by date, °C.
type nwsDays struct {
	zone   *time.Location
	said   Unit
	unit   Unit // Of the values.
	byDate map[Date]*predicted
}

// shortNWS is the length of an interval that is only the rest of a day or a
// night. Whole ones are 13 and 14 h.
const shortNWS = 6 * time.Hour

// add adds the values of one of the two lists, which is "max" or "min".
func (c *nwsDays) add(list jsonValue, which string) error {
	told, err := nwsUnit(list.get("uom"))
	if err != nil {
		return err
	}
	unit, err := unitOf(told, c.said)
	if err != nil {
		return err
	}
	if c.unit != "" && c.unit != unit {
		return fileError(ErrBadHeader, "the max is told in %s and the min in %s", c.unit.sign(), unit.sign())
	}
	c.unit = unit
	n := 0
	for it := list.get("values").items(); it.next(); n++ {
		if n == maxPredicted {
			return fileError(ErrTooLarge, "more than %d values of %s", maxPredicted, which)
		}
		valid := it.value.get("validTime")
		start, length, ok := nwsInterval(valid.text())
		if !ok {
			return fileError(ErrBadHeader, "validTime %q of a %s is no start and duration", clip(valid.plain()), which)
		}
		at, rest := start, "day"
		if which == "min" {
			at, rest = start.Add(length), "night"
		}
		x := it.value.get("value").temperature()
		switch {
		case length <= shortNWS:
			x = value{absent: fmt.Sprintf("of %g h only, the rest of a %s", length.Hours(), rest)}
		case length > 24*time.Hour:
			x = value{absent: fmt.Sprintf("of %g h, which is more than a day", length.Hours())}
		case x.isNumber():
			x.number = toTenth(unit.Celsius(x.number))
		}
		if !c.put(DateIn(at.In(c.zone)), which, x) {
			return fileError(ErrBadHeader, "the forecast has two %s of %s", which, DateIn(at.In(c.zone)))
		}
	}
	return nil
}

// notTold is the value of an extreme that the file does not have.
var notTold = value{absent: "missing"}

// put puts an extreme into its day, and reports false if there is one already.
// That a rest of it is there does not count.
func (c *nwsDays) put(d Date, which string, x value) bool {
	day := c.byDate[d]
	if day == nil {
		day = &predicted{date: d, lo: notTold, hi: notTold}
		c.byDate[d] = day
	}
	place := &day.hi
	if which == "min" {
		place = &day.lo
	}
	switch {
	case place.absent != "":
		*place = x
	case x.absent == "":
		return false
	}
	return true
}

// sorted returns the days in order, with their rows counted from 1.
func (c *nwsDays) sorted() []predicted {
	days := make([]predicted, 0, len(c.byDate))
	for _, d := range c.byDate {
		days = append(days, *d)
	}
	slices.SortFunc(days, func(x, y predicted) int { return cmp.Compare(x.date, y.date) })
	for i := range days {
		days[i].row = i + 1
	}
	return days
}

// nwsUnit reads a unit such as "wmoUnit:degC".
func nwsUnit(uom jsonValue) (Unit, error) {
	_, name, _ := strings.Cut(uom.text(), ":")
	switch {
	case uom == "":
		return "", nil
	case name == "degC":
		return Celsius, nil
	case name == "degF":
		return Fahrenheit, nil
	}
	return "", fileError(ErrBadHeader, "the unit %q is neither wmoUnit:degC nor wmoUnit:degF", clip(uom.plain()))
}

// toTenth rounds to a tenth, and never to a negative zero.
func toTenth(x float64) float64 {
	if x = math.Round(x*10) / 10; x == 0 {
		return 0
	}
	return x
}

// nwsInterval reads a start and a duration, such as
// "2026-06-10T12:00:00+00:00/PT13H" (ISO 8601).
func nwsInterval(s string) (start time.Time, length time.Duration, ok bool) {
	from, span, _ := strings.Cut(s, "/")
	start, err := time.Parse(time.RFC3339, from)
	length, ok = isoDuration(span)
	return start, length, err == nil && ok
}

// isoDuration reads PnDTnHnM, any of which may be left out. It is longer than
// nothing, and a day is 24 hours.
func isoDuration(s string) (d time.Duration, ok bool) {
	s, ok = strings.CutPrefix(s, "P")
	if !ok {
		return 0, false
	}
	days, clock, timed := strings.Cut(s, "T")
	if timed && clock == "" {
		return 0, false
	}
	for _, part := range []struct {
		text  *string
		sign  byte
		worth time.Duration
	}{{&days, 'D', 24 * time.Hour}, {&clock, 'H', time.Hour}, {&clock, 'M', time.Minute}} {
		i := strings.IndexByte(*part.text, part.sign)
		if i < 0 {
			continue
		}
		n, err := strconv.ParseUint((*part.text)[:i], 10, 16)
		if err != nil {
			return 0, false
		}
		d += time.Duration(n) * part.worth
		*part.text = (*part.text)[i+1:]
	}
	return d, days == "" && clock == "" && d > 0
}

// predicted is what a file says of a day ahead, °C.
type predicted struct {
	row    int
	date   Date
	lo, hi value
}

// maxPredicted bounds the days ahead that are looked at.
const maxPredicted = 1000

// refuse tells why a day is left out.
func (r *OutlookReading) refuse(d predicted, reason string) {
	r.Refused = append(r.Refused, Refusal{Row: d.row, Date: d.date.String(), Reason: reason})
}

// take takes days, in the order of their rows, into an outlook. Days at the front
// of which a value is absent are left out, mostly because they have begun; from the
// first whole day on, the list ends before the first day that is missing, not
// whole or impossible, for an outlook has no hole. It is an error that matches
// [ErrNoRows] if nothing is left.
func (r *OutlookReading) take(days []predicted) error {
	ended, over := "", 0
	for _, d := range days {
		fault := predictedFault(d)
		n := len(r.Days)
		switch {
		case n == MaxOutlookDays:
			over++
		case ended == "" && fault == "" && n > 0 && d.date != r.Days[n-1].Date+1:
			ended = fmt.Sprintf("is not the day after %s", r.Days[n-1].Date)
			r.refuse(d, ended)
		case ended != "":
			r.refuse(d, "comes after a day that is left out")
		case fault == "":
			r.Days = append(r.Days, Day{d.date, d.lo.number, d.hi.number})
		default:
			r.refuse(d, fault)
			if n > 0 || d.lo.absent == "" && d.hi.absent == "" {
				ended = fault
			}
		}
	}
	if over > 0 {
		r.Findings = append(r.Findings, Finding{"length", fmt.Sprintf("%d days beyond the first %d are left out", over, MaxOutlookDays)})
	}
	if len(r.Days) == 0 {
		first := r.Refused[0]
		return fileError(ErrNoRows, "no day of the forecast is whole; of %s, %s", first.Date, first.Reason)
	}
	return nil
}

// predictedFault says in one clause why d is no day, or "".
func predictedFault(d predicted) string {
	if d.lo.absent != "" && d.hi.absent != "" && d.lo.absent != d.hi.absent {
		return "min is " + d.lo.absent + ", max is " + d.hi.absent
	}
	if fault := valuesFault(d.lo, d.hi); fault != "" {
		return fault
	}
	return extremesFault(d.lo.number, d.hi.number, Celsius)
}
