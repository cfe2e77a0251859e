package weather

import (
	"fmt"
	"math"
	"strings"
)

// knmi: daily values of KNMI, the file etmgeg_… of a station or what its web
// service sends: pages of prose in two languages, a heading that begins
// "# STN,YYYYMMDD", and a day a line. TN is min and TX max, whole tenths of °C;
// blanks are missing. Days run from 0 to 24 UTC. TNH and TXH are the hours in
// which the extremes fell, and no hours of reading. Layout: files of the service
// and the legend within them.
var knmi = format{
	name:      "knmi",
	recognise: func(head []byte) bool { return hasHeading(string(head), ',', knmiHeading) },
	read:      readKNMI,
}

// knmiHeading finds the columns. It takes hourly files too, to say what is wrong
// with them.
func knmiHeading(cells []string) (c serviceColumns, fault string, ok bool) {
	c = noServiceColumns(len(cells))
	if len(cells) < 2 || strings.Trim(columnName(cells[0]), "# \t") != "stn" || columnName(cells[1]) != "yyyymmdd" {
		return c, "", false
	}
	c.station, c.date = 0, 1
	for i, cell := range cells {
		switch columnName(cell) {
		case "hh":
			fault = "the values are hourly; the daily ones are in the file etmgeg of the station"
		case "tn":
			c.min = i
		case "tx":
			c.max = i
		}
	}
	switch {
	case fault != "":
	case c.max < 0:
		fault = "no column TX, the highest temperature"
	case c.min < 0:
		fault = "no column TN, the lowest temperature"
	}
	return c, fault, true
}

func readKNMI(body string, opt ReadOptions) (*Reading, error) {
	l, err := newServiceLines(body, ',', Tenths, opt, knmiHeading)
	if err != nil {
		return nil, err
	}
	for l.next() {
		date := l.cell(l.columns.date)
		d, fault := dateYMD(date)
		l.add(date, d, fault, knmiValue(l.cell(l.columns.min)), knmiValue(l.cell(l.columns.max)), Remark{})
	}
	return l.done([]Finding{{"unit", "tenths of °C, by the format"}, {"day", "0 to 24 UTC"}})
}

// knmiValue reads a temperature in tenths of °C. One with decimals is none.
func knmiValue(text string) value {
	v := readValue(text)
	switch {
	case v.absent != "":
		v.absent = "missing"
	case v.fault == "" && v.number != math.Trunc(v.number):
		v.fault = fmt.Sprintf("%q is no whole number of tenths", clip(text))
	}
	return v
}
