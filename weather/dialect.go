package weather

import (
	"math"
	"strconv"
	"strings"
	"unicode"
)

// delimiters are what may part the cells of a table, the rarer in prose first:
// of several that would do for a heading the first is taken.
const delimiters = "\t;|,"

// delimiterName is a delimiter in words.
func delimiterName(comma byte) string {
	switch comma {
	case '\t':
		return "tabs"
	case ';':
		return "semicolons"
	case '|':
		return "bars"
	}
	return "commas"
}

const (
	maxPreamble = 100 // Lines that are not blank before a heading.
	maxUnder    = 20  // Lines that are not blank under a heading, one of which must have a date.
)

// heading is where and how a table begins.
type heading struct {
	comma   byte
	columns []tableColumn
	before  int    // Lines before it that are not blank.
	lines   int    // That it takes, 1 or 2.
	rest    string // The text after it.
}

// findHeading looks for the heading of a table: the last line before the data
// that names a column of dates and one of temperatures, where want is the
// label of a column that is wanted for one, or "". Data is known by a date in
// a column of dates. A heading without data is only one if it is the first
// line, for prose has dates and temperatures too.
func findHeading(body, want string) (heading, bool) {
	var open [len(delimiters)]struct {
		heading
		left int // Lines under it that are still looked at; 0: no heading.
	}
	var first heading
	var buf []string
	rest, above := body, ""
	for n := 0; n <= maxPreamble+maxUnder && rest != ""; {
		line, after, _ := strings.Cut(rest, "\n")
		rest = after
		line = strings.TrimSuffix(line, "\r")
		if strings.TrimSpace(line) == "" || len(line) > maxLine {
			continue
		}
		n++
		for k := range delimiters {
			var fault string
			o := &open[k]
			buf, fault = splitCells(line, delimiters[k], buf[:0])
			if fault != "" || len(buf) < 2 {
				continue
			}
			if o.left > 0 {
				if o.dated(buf) {
					return o.heading, true
				}
				o.left--
			}
			if n > maxPreamble+1 {
				continue
			}
			if h, ok := newHeading(buf, above, delimiters[k], want); ok {
				h.before, h.rest = n-h.lines, after
				o.heading, o.left = h, maxUnder
				if n == h.lines && first.columns == nil {
					first = h
				}
			}
		}
		above = line
	}
	return first, first.columns != nil
}

// newHeading makes the heading of cells, if they are one. The line above is a
// part of it where its cells stand over those of one table, with nothing over
// the date: some stations' software names "Temp" over "Out".
func newHeading(cells []string, above string, comma byte, want string) (heading, bool) {
	h := heading{comma: comma, lines: 1, columns: nameColumns(cells, want)}
	date, ok := isHeading(h.columns)
	if !ok {
		return heading{}, false
	}
	over, fault := splitCells(above, comma, nil)
	if fault != "" || len(over) > len(cells) || date < len(over) && strings.TrimSpace(over[date]) != "" {
		return h, true
	}
	filled, joined := 0, append([]string(nil), cells...)
	for i, c := range over {
		c = strings.TrimSpace(c)
		if c == "" {
			continue
		}
		if strings.IndexFunc(c, unicode.IsLetter) < 0 {
			return h, true
		}
		filled++
		joined[i] = c + " " + strings.TrimSpace(joined[i])
	}
	if filled < 2 {
		return h, true
	}
	columns := nameColumns(joined, want)
	if _, ok := isHeading(columns); ok {
		h.columns, h.lines = columns, 2
	}
	return h, true
}

// dated reports whether a row has a date where the heading has dates.
func (h *heading) dated(cells []string) bool {
	for i, c := range h.columns {
		if (c.kind == dateColumn || c.kind == timeColumn) && i < len(cells) && dateKindOf(cells[i]) != noDate {
			return true
		}
	}
	parts := partsOf(h.columns)
	return parts != nil && dateKindOf(joinParts(cells, parts)) == textDate
}

// lineEnds returns text whose lines end in LF; those of old spreadsheets end
// in CR.
func lineEnds(text string) string {
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	return text
}

// cellState is what a cell holds in place of a temperature, or one.
type cellState uint8

const (
	cellMissing cellState = iota // Nothing, or a mark for it.
	cellBad                      // No number.
	cellNumber
)

// cell is a temperature as a table has it.
type cell struct {
	x     float64
	state cellState
	unit  Unit // That stands behind the number, or "".
	sign  byte // Its decimal sign, '.' or ',', or 0.
}

// readCell reads a temperature. The decimal sign is a point or a comma; with
// both the number has thousands, which no temperature has, and is refused. A
// unit may follow.
//
// Marks for a missing value are those of missingMark and the numbers -999,
// -9999 and -99.9. In °F the last is within the bounds of a temperature, but
// no farm is as cold, and that many loggers write it is common knowledge.
func readCell(s string) cell {
	s = strings.TrimSpace(s)
	var c cell
	i, negative := 0, false
	switch {
	case s == "":
		return c
	case s[0] == '-':
		i, negative = 1, true
	case s[0] == '+':
		i = 1
	case strings.HasPrefix(s, "\u2212"): // A printer's minus.
		i, negative = len("\u2212"), true
	}
	mantissa, digits, decimals := int64(0), 0, 0
	for ; i < len(s); i++ {
		b := s[i]
		if '0' <= b && b <= '9' {
			if digits++; digits > 15 { // More than float64 holds exactly.
				return cell{state: cellBad}
			}
			mantissa = 10*mantissa + int64(b-'0')
			if c.sign != 0 {
				decimals++
			}
			continue
		}
		if b != '.' && b != ',' || c.sign != 0 {
			break
		}
		c.sign = b
	}
	if digits == 0 {
		if missingMark(s) {
			return cell{}
		}
		return cell{state: cellBad}
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') && c.sign != ',' {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return cell{state: cellBad}
		}
		c.x, c.state = x, cellNumber
		return c
	}
	c.x = float64(mantissa) / math.Pow10(decimals)
	if negative {
		c.x = -c.x
	}
	c.state = cellNumber
	if i < len(s) {
		unit, ok := unitSuffix(strings.TrimSpace(s[i:]))
		if !ok {
			return cell{state: cellBad}
		}
		c.unit = unit
	}
	if c.x == -999 || c.x == -9999 || c.x == -99.9 {
		c.state = cellMissing
	}
	return c
}

// missingMark reports whether s, which has no digit, says that there is no
// value.
func missingMark(s string) bool {
	switch strings.ToLower(s) {
	case "", "-", "--", "---", "----", "\u2013", "\u2014", "nan", "na", "n/a", "null", "none", "#n/a", "m":
		return true
	}
	return false
}

// unitSuffix reads what stands behind a number, such as "°C", "F" or "deg C".
func unitSuffix(s string) (Unit, bool) {
	switch s {
	case "":
		return "", true
	case "C", "°C", "c":
		return Celsius, true
	case "F", "°F", "f":
		return Fahrenheit, true
	case "°", "\uFFFD":
		return "", true
	}
	if len(s) > 20 || strings.ContainsAny(s, "0123456789.,;:/+-*%<>()") {
		return "", false
	}
	words := wordsOf(s)
	for _, w := range words {
		if !unitWords[w.text] {
			return "", false
		}
	}
	told := unitIn(words)
	return told.unit, told.unit != ""
}

// label is a heading's text as a person can be shown it and answer with it.
func label(s string) string {
	const most = 100 // Runes.
	s = strings.Join(strings.Fields(s), " ")
	n := 0
	for i := range s {
		if n == most {
			s = s[:i] + "…"
			break
		}
		n++
	}
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}
