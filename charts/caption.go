package charts

import (
	"errors"
	"strings"
	"unicode/utf8"
)

// ErrInvalidChart is wrapped by every error about the content of a
// [LeadError], a [Reliability], a [BaseProfile], a [Story] or a [Narrowing].
var ErrInvalidChart = errors.New("charts: invalid chart")

const maxSentences = 800 // runes of findings, and of a basis

// caption is the words over a chart, clean.
type caption struct {
	heading, finding, basis string
	hindcast                bool
}

func newCaption(heading, instead, finding, basis string, hindcast bool) caption {
	return caption{
		heading: or(clean(heading), instead), finding: cleanTo(finding, maxSentences),
		basis: cleanTo(basis, maxSentences), hindcast: hindcast,
	}
}

// title is the heading as one line of plain text.
func (c caption) title() string {
	if c.hindcast {
		return c.heading + " (hindcast)"
	}
	return c.heading
}

// or returns s, or instead where s is empty.
func or(s, instead string) string {
	if s == "" {
		return instead
	}
	return s
}

// upper returns s with a capital first letter.
func upper(s string) string {
	_, n := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:n]) + s[n:]
}

// prose joins sentences that are not empty and undoes no-break spaces.
func prose(sentences ...string) string {
	var out []string
	for _, s := range sentences {
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		if !strings.ContainsAny(s[len(s)-1:], ".!?") {
			s += "."
		}
		out = append(out, s)
	}
	return strings.ReplaceAll(strings.Join(out, " "), nbsp, " ")
}
