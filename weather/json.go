package weather

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
)

// jsonValue is one value of a JSON text, as it is written, without blanks
// before it; "" is none. Its methods look at it where it lies, so that a large
// file takes no memory beside its own, and do not recurse. They tell all of a
// text that parseJSON has passed; of the beginning of a file they tell what can
// be made out, and of anything else nothing that must be believed.
type jsonValue string

// parseJSON returns the value that a file is. What is no JSON, such as a file
// that is cut off, or one nested more than 10,000 deep, matches [ErrDamaged].
func parseJSON(body string) (jsonValue, error) {
	b := []byte(body)
	if json.Valid(b) {
		return jsonValue(trimJSON(body)), nil
	}
	var unused any
	err := json.Unmarshal(b, &unused) // Stores nothing, for it checks first.
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok && syntax.Offset < int64(len(b)) {
		return "", fileError(ErrDamaged, "the file is no JSON from its byte %d on", syntax.Offset)
	}
	return "", fileError(ErrDamaged, "the file is JSON that is cut off after %d bytes", len(b))
}

// jsonHead is the value that begins a file.
func jsonHead(head []byte) jsonValue { return jsonValue(trimJSON(string(head))) }

// kind returns the first byte of the value, of a number '0', of none 0.
func (v jsonValue) kind() byte {
	if v == "" {
		return 0
	}
	if c := v[0]; c != '-' && (c < '0' || c > '9') {
		return c
	}
	return '0'
}

// get returns the member of that name, the last one if there are several, as
// is usual; "" if v has none or is no object.
func (v jsonValue) get(name string) jsonValue {
	var found jsonValue
	v.pick(map[string]*jsonValue{name: &found})
	return found
}

// pick puts the members of the given names, as get does, where they are wanted.
// It goes through v once.
func (v jsonValue) pick(wanted map[string]*jsonValue) {
	for m := v.members(); m.next(); {
		if place := wanted[m.name]; place != nil {
			*place = m.value
		}
	}
}

// text returns what a string says; "" of anything else.
func (v jsonValue) text() string {
	if len(v) < 2 || v[0] != '"' || v[len(v)-1] != '"' {
		return ""
	}
	if strings.IndexByte(string(v), '\\') < 0 {
		return string(v[1 : len(v)-1])
	}
	var s string
	if json.Unmarshal([]byte(v), &s) != nil {
		return ""
	}
	return s
}

// plain returns what a string says and anything else as it is written.
func (v jsonValue) plain() string {
	if v.kind() == '"' {
		return v.text()
	}
	return string(v)
}

// temperature returns a number, also one in a string, as services write now
// and then. A negative zero, which they write too, comes as zero.
func (v jsonValue) temperature() value {
	var x value
	switch v.kind() {
	case 0, 'n':
		return value{absent: "missing"}
	case '"', '0':
		x = readValue(v.plain())
	default:
		return value{fault: fmt.Sprintf("%q is not a number", clip(string(v)))}
	}
	if x.number == 0 {
		x.number = 0
	}
	return x
}

// jsonMembers goes through the members of an object.
type jsonMembers struct {
	rest  string
	name  string // Of the last member.
	value jsonValue
}

// members returns the members of v, none if it is no object.
func (v jsonValue) members() jsonMembers {
	if v.kind() != '{' {
		return jsonMembers{}
	}
	return jsonMembers{rest: string(v[1:])}
}

// next goes to the next member and reports whether there is one.
func (m *jsonMembers) next() bool {
	rest := trimJSON(strings.TrimPrefix(trimJSON(m.rest), ","))
	name := jsonFirst(rest)
	rest, colon := strings.CutPrefix(trimJSON(rest[len(name):]), ":")
	if name.kind() != '"' || !colon {
		return false
	}
	rest = trimJSON(rest)
	m.name, m.value = name.text(), jsonFirst(rest)
	m.rest = rest[len(m.value):]
	return m.value != ""
}

// jsonItems goes through the items of an array.
type jsonItems struct {
	rest  string
	value jsonValue // The last one.
}

// items returns the items of v, none if it is no array.
func (v jsonValue) items() jsonItems {
	if v.kind() != '[' {
		return jsonItems{}
	}
	return jsonItems{rest: string(v[1:])}
}

// next goes to the next item and reports whether there is one.
func (it *jsonItems) next() bool {
	it.rest = trimJSON(strings.TrimPrefix(trimJSON(it.rest), ","))
	it.value = jsonFirst(it.rest)
	it.rest = it.rest[len(it.value):]
	return it.value != ""
}

// first returns the first item, or "".
func (v jsonValue) first() jsonValue {
	it := v.items()
	it.next()
	return it.value
}

// jsonFirst returns the value at the beginning of s, after blanks: as much of it
// as there is, if s ends within it, and "" where there is none.
func jsonFirst(s string) jsonValue {
	s = trimJSON(s)
	if s == "" {
		return ""
	}
	switch s[0] {
	case '"':
		return jsonValue(s[:quotedLen(s)])
	case '{', '[':
		return jsonValue(s[:nestedLen(s)])
	}
	for i := range len(s) {
		switch s[i] {
		case ',', ':', '}', ']', ' ', '\t', '\n', '\r':
			return jsonValue(s[:i])
		}
	}
	return jsonValue(s)
}

// quotedLen returns the length of the string that begins s.
func quotedLen(s string) int {
	for i := 1; i < len(s); i++ {
		switch s[i] {
		case '"':
			return i + 1
		case '\\':
			i++
		}
	}
	return len(s)
}

// nestedLen returns the length of the object or array that begins s.
func nestedLen(s string) int {
	depth := 0
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '"':
			i += quotedLen(s[i:]) - 1
		case '{', '[':
			depth++
		case '}', ']':
			if depth--; depth == 0 {
				return i + 1
			}
		}
	}
	return len(s)
}

func trimJSON(s string) string {
	for s != "" && (s[0] == ' ' || s[0] == '\t' || s[0] == '\n' || s[0] == '\r') {
		s = s[1:]
	}
	return s
}

// more reports whether v is a list of more than n items. It does not look
// further.
func (v jsonValue) more(n int) bool {
	it := v.items()
	for range n + 1 {
		if !it.next() {
			return false
		}
	}
	return true
}

// maxPlaces bounds the stations or places of one reply. No service gives as
// many.
const maxPlaces = 10_000

func tooManyPlaces() *FileError {
	return fileError(ErrTooLarge, "more than %d stations or places", maxPlaces)
}

func tooManyRows() *FileError {
	return fileError(ErrTooLarge, "more than %d rows: a station has one row a day", maxRows)
}

// serviceError is the refusal of a reply in which a service says that it has no
// data, and why.
func serviceError(words ...string) *FileError {
	return fileError(ErrNoRows, "the service gave no data but an error: %s", clipTo(strings.Join(words, ": "), 80))
}
