package weather

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// metEireann: daily data of Met Éireann, the file dly… of a station: its name
// and a legend, a heading, and a day a line, dates as in 05-jan-1942. maxtp and
// mintp, maxt and mint in files of some stations, are in °C; the column ind
// before each of them is its indicator. The file says of the indicators nothing
// but their name. In a real file 1 stands exactly with the values below zero and
// 0 with the others, so that these two are taken as the sign. Values with
// another indicator are used and counted, for nothing says that they are wrong.
//
// Layout: a file of the service; the other names of the columns: programs that
// read the files.
var metEireann = format{
	name:      "met-eireann",
	recognise: func(head []byte) bool { return hasHeading(string(head), ',', metEireannHeading) },
	read:      readMetEireann,
}

// metEireannHeading finds the columns. It takes files without temperatures too,
// to say what is wrong with them.
func metEireannHeading(cells []string) (c serviceColumns, fault string, ok bool) {
	c = noServiceColumns(len(cells))
	const indicator = "ind"
	for i, cell := range cells {
		at, mark := &c.date, (*int)(nil)
		switch columnName(cell) {
		case "date":
		case "maxtp", "maxt":
			at, mark = &c.max, &c.maxMark
		case "mintp", "mint":
			at, mark = &c.min, &c.minMark
		default:
			continue
		}
		*at = i
		if mark != nil && i > 0 && columnName(cells[i-1]) == indicator {
			*mark = i - 1
		}
	}
	ok = c.date == 0 && len(cells) > 2 && columnName(cells[1]) == indicator
	switch {
	case c.max < 0:
		fault = "no column maxtp, the highest temperature; many stations measure rain only"
	case c.min < 0:
		fault = "no column mintp, the lowest temperature"
	}
	return c, fault, ok
}

func readMetEireann(body string, opt ReadOptions) (*Reading, error) {
	l, err := newServiceLines(body, ',', Celsius, opt, metEireannHeading)
	if err != nil {
		return nil, err
	}
	hours := ""
	l.prose = func(cells []string) {
		what, found, _ := strings.Cut(cells[0], ":")
		if rest, ok := strings.CutPrefix(columnName(cells[0]), "date"); ok && found == "" {
			what, found = "date", rest
		}
		switch found = strings.Trim(found, " \t:-"); columnName(what) {
		case "station name":
			l.station = found
		case "date":
			hours = clip(found)
		}
	}
	strange := 0
	for l.next() {
		date := l.cell(l.columns.date)
		d, fault := dateDMonY(date)
		lo, hi := metEireannValue(l.cell(l.columns.min)), metEireannValue(l.cell(l.columns.max))
		used := l.add(date, d, fault, lo, hi, Remark{})
		if used && (isStrange(l.cell(l.columns.minMark)) || isStrange(l.cell(l.columns.maxMark))) {
			strange++
		}
	}
	findings := []Finding{{"unit", "°C, by the format"}}
	if hours != "" {
		findings = append(findings, Finding{"day", hours})
	}
	if strange > 0 {
		findings = append(findings, Finding{
			"indicators",
			numbered(strange, "day has one", "days have one") + " other than 0 and 1, whose meaning the file does not tell; the values are used",
		})
	}
	return l.done(findings)
}

// isStrange reports whether an indicator is more than the sign of the value.
func isStrange(indicator string) bool { return indicator != "" && indicator != "0" && indicator != "1" }

func metEireannValue(text string) value {
	v := readValue(text)
	if v.absent != "" {
		v.absent = "missing"
	}
	return v
}

// dateDMonY reads "05-jan-1942", with the fault as a clause, or "".
func dateDMonY(s string) (Date, string) {
	if day, rest, ok := strings.Cut(s, "-"); ok {
		name, year, _ := strings.Cut(rest, "-")
		month := 1 + slices.IndexFunc(monthNames[:], func(m string) bool { return strings.EqualFold(m, name) })
		if month > 0 {
			d, fault := parseDate(fmt.Sprintf("%s-%02d-%s", year, month, day))
			if fault == "" || strings.HasPrefix(fault, "year") {
				return d, fault
			}
		}
	}
	return 0, fmt.Sprintf("%q is not a calendar date dd-mon-yyyy", clip(s))
}

// monthNames are the short names of the months, in English.
var monthNames = func() (names [12]string) {
	for i := range names {
		names[i] = time.Month(i + 1).String()[:3]
	}
	return names
}()
