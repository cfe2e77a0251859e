package weather

import (
	"fmt"
	"strings"
)

// dwd: daily climate observations (KL) of Deutscher Wetterdienst, the file
// produkt_klima_tag_… of its archives, historical and recent alike: cells
// between semicolons, with blanks before the values, "eor" at the end of a line.
// TXK is max and TNK min, °C with a decimal point; -999 is missing. QN_4 is the
// level of quality, of which 1 is a formal check only.
//
// Since 2001-04-01 a day runs from 0 to 24 UTC; before, extremes were those
// since the evening reading of the day before. Layout: files of the service.
// Levels and days: the service's descriptions of the data set.
var dwd = format{
	name:      "dwd",
	recognise: func(head []byte) bool { return hasHeading(string(head), ';', dwdHeading) },
	read:      readDWD,
}

// dwdMissing stands for a missing value.
const dwdMissing = -999

var dwdMidnight = DateOf(2001, 4, 1) // Since then days end at 24 UTC.

// dwdHeading finds the columns. It takes all files of stations of the service,
// hourly ones and those of other things too, to say what is wrong with them.
func dwdHeading(cells []string) (c serviceColumns, fault string, ok bool) {
	c = noServiceColumns(len(cells))
	for i, cell := range cells {
		switch columnName(cell) {
		case "stations_id":
			c.station = i
		case "mess_datum":
			c.date = i
		case "qn_4":
			c.quality = i
		case "txk":
			c.max = i
		case "tnk":
			c.min = i
		}
	}
	switch {
	case c.max < 0:
		fault = "no column TXK, the highest temperature; that is in the daily climate data, the file produkt_klima_tag"
	case c.min < 0:
		fault = "no column TNK, the lowest temperature; that is in the daily climate data, the file produkt_klima_tag"
	}
	return c, fault, c.station >= 0 && c.date >= 0
}

func readDWD(body string, opt ReadOptions) (*Reading, error) {
	l, err := newServiceLines(body, ';', Celsius, opt, dwdHeading)
	if err != nil {
		return nil, err
	}
	early, formal := 0, 0
	for l.next() {
		date := l.cell(l.columns.date)
		d, fault := dateYMD(date)
		lo, hi := dwdValue(l.cell(l.columns.min)), dwdValue(l.cell(l.columns.max))
		if !l.add(date, d, fault, lo, hi, Remark{}) {
			continue
		}
		if d < dwdMidnight {
			early++
		}
		if l.cell(l.columns.quality) == "1" {
			formal++
		}
	}
	findings := []Finding{{"unit", "°C, by the format"}, {"day", "0 to 24 UTC"}}
	if early > 0 {
		findings[1].Found = fmt.Sprintf("0 to 24 UTC since %s; %s at the evening reading", dwdMidnight, numbered(early, "day before that ends", "days before that end"))
	}
	if formal > 0 {
		findings = append(findings, Finding{"quality", numbered(formal, "day has had a formal check only (QN_4 is 1); it is used", "days have had a formal check only (QN_4 is 1); they are used")})
	}
	return l.done(findings)
}

// dwdValue reads a temperature; -999 in any form is missing.
func dwdValue(text string) value {
	v := readValue(text)
	if v.absent != "" || v.fault == "" && v.number == dwdMissing {
		return value{absent: "missing"}
	}
	return v
}

// dateYMD reads "YYYYMMDD", with the fault as a clause, or "".
func dateYMD(s string) (Date, string) {
	if len(s) == len("20060102") {
		if d, fault := parseDate(s[:4] + "-" + s[4:6] + "-" + s[6:]); fault == "" || strings.HasPrefix(fault, "year") {
			return d, fault
		}
	}
	return 0, fmt.Sprintf("%q is not a calendar date YYYYMMDD", clip(s))
}
