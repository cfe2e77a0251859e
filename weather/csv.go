package weather

import (
	"fmt"
	"strings"
)

// plainCSV is the house's own simple form: UTF-8, comma and decimal point,
// lines that end in LF, CRLF or CR, and a header of any order and case with
//
//	date        YYYY-MM-DD
//	min, max    or tmin, tmax; with _c or _f if the file is to tell its unit
//
// Other columns are passed over, whatever they hold, and so are blank lines. A
// row may leave out columns at its end that are not needed, but not the last
// row if its line does not end: it may be cut off. What a row has beyond the
// header is refused, for it is mostly a decimal comma.
var plainCSV = format{
	name: "csv",
	recognise: func(head []byte) bool {
		c, _ := findColumns(headerCells(string(head)))
		return c.date >= 0 && (c.min >= 0 || c.max >= 0)
	},
	read: readCSV,
}

// columns are places in the header, -1 for none.
type columns struct {
	date, min, max int
	n              int
	unit           Unit // That the header tells, or "".
}

// findColumns looks for the columns in the cells of a header; fault is what is
// wrong with them, or "".
func findColumns(header []string) (c columns, fault string) {
	c = columns{date: -1, min: -1, max: -1, n: len(header)}
	var minUnit, maxUnit Unit
	for i, cell := range header {
		name := strings.ToLower(strings.TrimSpace(cell))
		at, unit := &c.date, (*Unit)(nil)
		if name != "date" {
			stem, u := cutUnit(name)
			switch stem {
			case "min", "tmin":
				at, unit = &c.min, &minUnit
			case "max", "tmax":
				at, unit = &c.max, &maxUnit
			default:
				continue
			}
			*unit = u
		}
		if *at >= 0 && fault == "" {
			fault = fmt.Sprintf("columns %q and %q are the same", clip(header[*at]), clip(cell))
		}
		*at = i
	}
	c.unit = minUnit
	switch {
	case fault != "":
	case c.date < 0:
		fault = "no column date"
	case c.min < 0:
		fault = "no column min, nor tmin"
	case c.max < 0:
		fault = "no column max, nor tmax"
	case minUnit != maxUnit:
		fault = fmt.Sprintf("columns %q and %q do not tell the same unit", clip(header[c.min]), clip(header[c.max]))
	}
	return c, fault
}

// cutUnit takes the unit off a column's name.
func cutUnit(name string) (string, Unit) {
	if stem, ok := strings.CutSuffix(name, "_c"); ok {
		return stem, Celsius
	}
	if stem, ok := strings.CutSuffix(name, "_f"); ok {
		return stem, Fahrenheit
	}
	return name, ""
}

// headerCells returns the cells of the first line that is not blank, or none.
func headerCells(body string) []string {
	rows := newCSVRows(body)
	cells, _ := rows.next()
	return cells
}

func readCSV(body string, opt ReadOptions) (*Reading, error) {
	rows := newCSVRows(body)
	header, fault := rows.next()
	var c columns
	if fault == "" {
		c, fault = findColumns(header)
	}
	if fault != "" {
		return nil, fileError(ErrBadHeader, "header: %s", fault)
	}
	unit, err := unitOf(c.unit, opt.Unit)
	if err != nil {
		return nil, err
	}
	b, err := NewBatch(unit, opt.Latest)
	if err != nil {
		return nil, err
	}
	rows.columns = c.n
	n := 0
	for {
		cells, fault := rows.next()
		if cells == nil && fault == "" {
			break
		}
		n++
		if fault == "" {
			fault = c.fault(cells, rows.cutOff())
		}
		if fault != "" {
			date := ""
			if c.date < len(cells) {
				date = cells[c.date]
			}
			b.Refuse(n, strings.TrimSpace(date), fault)
			continue
		}
		b.Add(n, cells[c.date], cells[c.min], cells[c.max])
	}
	if n == 0 {
		return nil, fileError(ErrNoRows, "the file has a header but no rows")
	}
	return b.Done()
}

// fault says what is wrong with the number of cells of a row, or "".
func (c *columns) fault(cells []string, cutOff bool) string {
	needed := max(c.date, c.min, c.max) + 1
	switch n := len(cells); {
	case n < needed, n < c.n && cutOff:
		return fmt.Sprintf("row has %d of %d cells, it is cut off", n, c.n)
	case n > c.n && strings.TrimSpace(strings.Join(cells[c.n:], "")) != "":
		return fmt.Sprintf("row has %d cells instead of %d, is a comma its decimal sign?", n, c.n)
	}
	return ""
}

// csvRows goes through the rows of a CSV. It is forgiving where encoding/csv
// gives up, for one bad row must not cost the good ones: a quote that is not
// closed costs the line it is in.
type csvRows struct {
	rest    string
	columns int      // Cells of a whole row; 0 before the header is known.
	cells   []string // Of the last row.
	ended   bool     // The last row's line had an end.
}

const (
	maxLine   = 64 << 10 // Bytes of a row.
	maxJoined = 20       // Lines that a quoted cell may run over.
)

func newCSVRows(body string) csvRows {
	if !strings.Contains(body, "\n") { // Old spreadsheets end lines so.
		body = strings.ReplaceAll(body, "\r", "\n")
	}
	return csvRows{rest: body}
}

// next returns the cells of the next row that is not blank, which are valid
// until the following call; no cells and no fault mean the end. With a fault,
// cells are those before it.
func (r *csvRows) next() (cells []string, fault string) {
	for r.rest != "" {
		line, rest, ended := strings.Cut(r.rest, "\n")
		start := r.rest
		r.rest, r.ended = rest, ended
		line = strings.TrimSuffix(line, "\r")
		if len(line) > maxLine {
			return nil, fmt.Sprintf("row is longer than %d bytes", maxLine)
		}
		r.cells, fault = splitCells(line, r.cells[:0])
		if fault == openQuote && r.join(start) {
			fault = ""
		}
		if fault != "" {
			return r.cells, fault
		}
		for _, c := range r.cells {
			if strings.TrimSpace(c) != "" {
				return r.cells, ""
			}
		}
	}
	return nil, ""
}

// cutOff reports whether the file may have been cut off within the last row.
func (r *csvRows) cutOff() bool { return !r.ended }

// join tries to read a row over several lines at the beginning of text, the
// first of which leaves a quote open. It only takes one that comes out as a
// whole row, so the header cannot be one.
func (r *csvRows) join(text string) bool {
	var cells []string
	end := strings.IndexByte(text, '\n') + 1
	for n := 1; n < maxJoined && 0 < end && end < len(text); n++ {
		stop, next := len(text), len(text)
		if i := strings.IndexByte(text[end:], '\n'); i >= 0 {
			stop, next = end+i, end+i+1
		}
		if stop > maxLine {
			return false
		}
		var fault string
		cells, fault = splitCells(strings.TrimSuffix(text[:stop], "\r"), cells[:0])
		if fault == "" && len(cells) == r.columns {
			r.cells, r.rest = cells, text[next:]
			return true
		}
		if fault != openQuote {
			return false
		}
		end = next
	}
	return false
}

// The faults of splitCells.
const (
	openQuote  = "a quote is not closed"
	afterQuote = "text follows a closed quote"
)

// splitCells appends the cells of a line to cells. A cell may be in quotes,
// with each quote within it doubled; blanks may stand around the quotes.
func splitCells(line string, cells []string) ([]string, string) {
	if strings.IndexByte(line, '"') < 0 {
		for {
			cell, rest, more := strings.Cut(line, ",")
			cells = append(cells, cell)
			if !more {
				return cells, ""
			}
			line = rest
		}
	}
	for {
		inner, quoted := strings.CutPrefix(strings.TrimLeft(line, " \t"), `"`)
		if !quoted {
			cell, rest, more := strings.Cut(line, ",")
			cells = append(cells, cell)
			if !more {
				return cells, ""
			}
			line = rest
			continue
		}
		end := closingQuote(inner)
		if end < 0 {
			return cells, openQuote
		}
		cell := inner[:end]
		if strings.IndexByte(cell, '"') >= 0 {
			cell = strings.ReplaceAll(cell, `""`, `"`)
		}
		line = strings.TrimLeft(inner[end+1:], " \t")
		cells = append(cells, cell)
		if line == "" {
			return cells, ""
		}
		var more bool
		if line, more = strings.CutPrefix(line, ","); !more {
			return cells, afterQuote
		}
	}
}

// closingQuote returns the place of the first quote in s that is not doubled,
// or -1.
func closingQuote(s string) int {
	for i := 0; i < len(s); i++ {
		if s[i] != '"' {
			continue
		}
		if i+1 == len(s) || s[i+1] != '"' {
			return i
		}
		i++
	}
	return -1
}
