package forecast

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// faults gathers every fault of one value.
type faults struct{ errs []error }

func (v *faults) add(field, reason string, args ...any) {
	v.errs = append(v.errs, &FieldError{field, fmt.Sprintf(reason, args...)})
}

// within demands lo <= x <= hi; NaN is within nothing.
func (v *faults) within(field string, x, lo, hi float64) {
	if !(lo <= x && x <= hi) {
		v.add(field, "must be between %g and %g", lo, hi)
	}
}

// text demands a name that [ValidName] finds nothing wrong with.
func (v *faults) text(field, s string) {
	if reason := ValidName(s); reason != "" {
		v.add(field, "%s", reason)
	}
}

// ValidName says what is wrong with a name that people are shown, or "": it
// needs 1 to 100 characters, and no control or direction marks, so that it
// cannot reorder the line it is printed on.
func ValidName(s string) string {
	switch {
	case strings.TrimSpace(s) == "":
		return "must not be empty"
	case utf8.RuneCountInString(s) > 100:
		return "must be at most 100 characters"
	case !utf8.ValidString(s) || strings.ContainsFunc(s, hidden):
		return "must not hold control characters"
	}
	return ""
}

// note demands a remark of one line that may be empty.
func (v *faults) note(field, s string) {
	switch {
	case utf8.RuneCountInString(s) > 200:
		v.add(field, "must be at most 200 characters")
	case !utf8.ValidString(s) || strings.ContainsFunc(s, hidden):
		v.add(field, "must not hold control characters")
	}
}

func hidden(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }

// slug demands an identifier that is safe in an address and a file name.
func (v *faults) slug(field, s string) {
	if !ValidSlug(s) {
		v.add(field, "must be 1 to 64 of a-z, 0-9, - and _, beginning with a letter or digit")
	}
}

// ValidSlug reports whether s may identify a farm, station, variety or
// planting: 1 to 64 of a-z, 0-9, hyphen and underscore, beginning with a
// letter or digit.
func ValidSlug(s string) bool {
	if len(s) < 1 || len(s) > 64 || s[0] == '-' || s[0] == '_' {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' || c == '_') {
			return false
		}
	}
	return true
}
