package weather

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// datePart is what a column of a table holds of a date whose parts stand in
// columns of their own.
type datePart uint8

const (
	noPart datePart = iota
	yearPart
	monthPart
	dayPart     // Of the month.
	yearDayPart // Of the year, from 1.
	minutePart  // Beside a column of hours.
	partKinds   // Their number.
)

// partNames are the headings of such columns, without what is no letter. Many
// are short and mean other things too, so that only several together count. A
// year and a bare "day" are not enough: it may be that of a month.
var partNames = [partKinds]map[string]bool{
	yearPart:    setOf("year yr yyyy yy y jahr année annee año ano anno jaar"),
	monthPart:   setOf("month mon mo mm m monat mois mes mese maand"),
	dayPart:     setOf("day dy dd d dayofmonth date tag jour día dia giorno dag"),
	yearDayPart: setOf("doy dayofyear dayoftheyear yday jday julian julianday"),
	minutePart:  setOf("minute minutes minuten minuti minutos minuut"),
}

// partNamed returns the part of a date that a heading names.
func partNamed(name string) datePart {
	letters := strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) {
			return -1
		}
		return unicode.ToLower(r)
	}, name)
	return datePart(max(0, slices.IndexFunc(partNames[:], func(names map[string]bool) bool { return names[letters] })))
}

// partsOf returns the columns that make up a date: year, month and day, or
// year and day of the year; none if the heading has not all of them.
func partsOf(columns []tableColumn) []int {
	var at [partKinds]int
	for p := range at {
		at[p] = partColumn(columns, datePart(p))
	}
	switch {
	case at[yearPart] >= 0 && at[monthPart] >= 0 && at[dayPart] >= 0:
		return []int{at[yearPart], at[monthPart], at[dayPart]}
	case at[yearPart] >= 0 && at[yearDayPart] >= 0:
		return []int{at[yearPart], at[yearDayPart]}
	}
	return nil
}

// partColumn returns the column of a part, or -1.
func partColumn(columns []tableColumn, p datePart) int {
	return slices.IndexFunc(columns, func(c tableColumn) bool { return c.part == p })
}

// joinParts writes the date that the columns of parts hold, year first and with
// three digits for a day of the year, as parseWritten reads it.
func joinParts(cells []string, parts []int) string {
	texts, some := make([]string, len(parts)), false
	for i, column := range parts {
		texts[i] = textAt(cells, column)
		some = some || texts[i] != ""
	}
	if !some {
		return ""
	}
	if y := texts[0]; len(y) == 2 && allDigits(y) {
		n, _ := strconv.Atoi(y) // It is digits.
		texts[0] = strconv.Itoa(fullYear(n, 2))
	}
	if last := len(texts) - 1; last == 1 && len(texts[last]) < 3 && allDigits(texts[last]) {
		texts[last] = strings.Repeat("0", 3-len(texts[last])) + texts[last]
	}
	return strings.Join(texts, "-")
}
