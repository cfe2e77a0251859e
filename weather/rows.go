package weather

import (
	"fmt"
	"strings"
)

// rows goes through the rows of delimited text. It is forgiving where encoding/csv
// gives up, for one bad row must not cost the good ones: a quote that is not
// closed costs the line it is in.
type rows struct {
	rest    string
	comma   byte     // What stands between cells.
	columns int      // Cells of a whole row; 0 before the header is known.
	cells   []string // Of the last row.
	ended   bool     // The last row's line had an end.
}

const (
	maxLine   = 64 << 10 // Bytes of a row.
	maxJoined = 20       // Lines that a quoted cell may run over.
)

func newRows(body string, comma byte) rows {
	if !strings.Contains(body, "\n") { // Old spreadsheets end lines so.
		body = strings.ReplaceAll(body, "\r", "\n")
	}
	return rows{rest: body, comma: comma}
}

// next returns the cells of the next row that is not blank, which are valid
// until the following call; no cells and no fault mean the end. With a fault,
// cells are those before it.
func (r *rows) next() (cells []string, fault string) {
	for r.rest != "" {
		line, rest, ended := strings.Cut(r.rest, "\n")
		start := r.rest
		r.rest, r.ended = rest, ended
		line = strings.TrimSuffix(line, "\r")
		if len(line) > maxLine {
			return nil, fmt.Sprintf("row is longer than %d bytes", maxLine)
		}
		r.cells, fault = splitCells(line, r.comma, r.cells[:0])
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
func (r *rows) cutOff() bool { return !r.ended }

// join tries to read a row over several lines at the beginning of text, the
// first of which leaves a quote open. It only takes one that comes out as a
// whole row, so the header cannot be one.
func (r *rows) join(text string) bool {
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
		cells, fault = splitCells(strings.TrimSuffix(text[:stop], "\r"), r.comma, cells[:0])
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

// splitCells appends the cells of a line, which comma parts, to cells. A cell may be in quotes,
// with each quote within it doubled; blanks may stand around the quotes.
func splitCells(line string, comma byte, cells []string) ([]string, string) {
	if strings.IndexByte(line, '"') < 0 {
		for {
			cell, rest, more := cutByte(line, comma)
			cells = append(cells, cell)
			if !more {
				return cells, ""
			}
			line = rest
		}
	}
	for {
		inner, quoted := strings.CutPrefix(trimBlanks(line, comma), `"`)
		if !quoted {
			cell, rest, more := cutByte(line, comma)
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
		line = trimBlanks(inner[end+1:], comma)
		cells = append(cells, cell)
		if line == "" {
			return cells, ""
		}
		if line[0] != comma {
			return cells, afterQuote
		}
		line = line[1:]
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

// cutByte is [strings.Cut] at a byte.
func cutByte(s string, sep byte) (before, after string, found bool) {
	if i := strings.IndexByte(s, sep); i >= 0 {
		return s[:i], s[i+1:], true
	}
	return s, "", false
}

// trimBlanks cuts blanks off the front, but not a tab that parts cells.
func trimBlanks(s string, comma byte) string {
	for s != "" && (s[0] == ' ' || s[0] == '\t') && s[0] != comma {
		s = s[1:]
	}
	return s
}
