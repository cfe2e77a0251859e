package weather

import (
	"fmt"
	"strings"
)

// ghcnDly is the fixed-width form of GHCN-Daily. A line is a month of an element
// at a station:
//
//	ID 1-11, YEAR 12-15, MONTH 16-17, ELEMENT 18-21, then 31 times
//	VALUE 5, MFLAG 1, QFLAG 1, SFLAG 1
//
// Values are tenths of °C, -9999 is missing; blanks at the end of a line may be
// stripped. A row is a day; its number is that of the first line with TMIN or
// TMAX of its month, blank lines not counted. The hour of observation is not
// told.
var ghcnDly = format{
	name:      "ghcn-dly",
	recognise: isGhcnDly,
	read:      readGhcnDly,
}

// dlyLine is the beginning of a line, cut up.
type dlyLine struct {
	id, element string
	year, month int
	days        string // 31 times value and flags.
}

const dlyHead, dlyDay = 21, 8 // Bytes.

// cutDly cuts a line up; the fault is a clause, or "".
func cutDly(line string) (l dlyLine, fault string) {
	if len(line) < dlyHead {
		return l, "line is cut off before its values"
	}
	year, okYear := wholeNumber(line[11:15])
	month, okMonth := wholeNumber(strings.TrimLeft(line[15:17], " "))
	l = dlyLine{strings.TrimSpace(line[:11]), line[17:21], year, month, line[dlyHead:]}
	switch {
	case !okYear, !okMonth, month < 1, month > 12:
		return l, fmt.Sprintf("%q is no year and month", clip(line[11:17]))
	case year < minYear, year > maxYear:
		return l, fmt.Sprintf("date year %d is outside %d to %d", year, minYear, maxYear)
	}
	return l, ""
}

func isGhcnDly(head []byte) bool {
	line, _ := dlyNextLine(strings.TrimLeft(string(head[:min(len(head), 512)]), "\r\n"))
	l, fault := cutDly(line)
	if fault != "" || !startsLikeStation(line[:11]) || !likeElement(l.element) || len(l.days) < 5 {
		return false
	}
	_, ok := wholeNumber(strings.TrimLeft(l.days[:5], " "))
	return ok
}

// dlyNextLine cuts the first line off; lines end in LF, CRLF or the end.
func dlyNextLine(body string) (line, rest string) {
	line, rest, _ = strings.Cut(body, "\n")
	return strings.TrimSuffix(line, "\r"), rest
}

func readGhcnDly(body string, opt ReadOptions) (*Reading, error) {
	unit, err := unitOf(Tenths, opt.Unit)
	if err != nil {
		return nil, err
	}
	var stations ghcnStations
	whole := false // Whether any line is of the format.
	for rest := body; rest != ""; {
		var line string
		line, rest = dlyNextLine(rest)
		l, fault := cutDly(line)
		whole = whole || fault == ""
		if _, ok := ghcnElement(l.element); ok && fault == "" {
			stations.see(l.id)
		}
	}
	if !whole {
		return nil, fileError(ErrBadHeader, "no line begins with a station, a year, a month and an element, as those of GHCN-Daily do")
	}
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
	n, ended := 0, strings.HasSuffix(body, "\n")
	for rest := body; rest != ""; {
		var line string
		line, rest = dlyNextLine(rest)
		if strings.TrimSpace(line) == "" {
			continue
		}
		n++
		l, fault := cutDly(line)
		el, ok := ghcnElement(l.element)
		switch {
		case fault != "":
			if l.id == "" || l.id == station && ok {
				b.Refuse(n, "", fault)
			}
		case ok && l.id == station:
			days.setLine(n, el, l, rest == "" && !ended)
		}
	}
	days.put(opt.Latest)
	return ghcnDone(b, ghcnAbout{station: station, unit: tenthsByFormat, flags: true})
}

// setLine adds a line of TMIN or TMAX; cutOff says that it may be cut off.
func (g *ghcnDays) setLine(row, el int, l dlyLine, cutOff bool) {
	month, last := g.month(l.year, l.month), daysIn(l.year, l.month)
	for i := range len(month) {
		at := min(dlyDay*i, len(l.days))
		day := l.days[at:min(at+dlyDay, len(l.days))]
		var v value
		var flag byte
		switch text := strings.TrimLeft(day[:min(5, len(day))], " "); {
		case text != "" && len(day) < 5:
			v.fault = fmt.Sprintf("%q is cut off", clip(text))
		default:
			v = ghcnTenths(text)
			// Of a value that is there the source is there too, at the end.
			if cutOff && len(day) < dlyDay && v.absent == "" {
				v.fault = fmt.Sprintf("%q is cut off before its flags", clip(text))
			}
		}
		if len(day) > 6 {
			flag = qualityFlag(day[6:7])
		}
		switch {
		case i < last:
			month[i].set(el, row, v, flag, 0)
		case v.absent == "":
			g.refuseNoDate(row, l.year, l.month, i+1)
		}
	}
}
