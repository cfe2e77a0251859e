package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"slices"
	"strings"
)

// A list body keeps its good items and tells the bad ones, so its items are
// read one by one instead of failing the body as a whole.

// wantJSON refuses a body of another type than JSON; one without a type is
// taken for JSON.
func wantJSON(contentType string) error {
	if contentType == "" {
		return nil
	}
	if mt, _, err := mime.ParseMediaType(contentType); err == nil && mt == jsonType {
		return nil
	}
	return unsupported("Content-Type must be application/json")
}

func unsupported(detail string) *Problem {
	return &Problem{
		Type: "about:blank", Title: http.StatusText(http.StatusUnsupportedMediaType),
		Status: http.StatusUnsupportedMediaType, Detail: detail,
	}
}

// readObject reads the members of a JSON object. Members that are not named
// in want are faults; so is a missing one.
func readObject(raw []byte, want ...string) (map[string]json.RawMessage, error) {
	if len(bytes.TrimSpace(raw)) == 0 {
		return nil, &Problem{Type: "/problems/unreadable", Title: "Unreadable body", Status: http.StatusBadRequest, Detail: "a body is needed"}
	}
	var m map[string]json.RawMessage
	if err := json.Unmarshal(raw, &m); err != nil || m == nil {
		return nil, &Problem{
			Type: "/problems/unreadable", Title: "Unreadable body", Status: http.StatusBadRequest,
			Detail: "the body is not a JSON object" + jsonPlace(err),
		}
	}
	p := &Problem{Type: "/problems/invalid-body", Title: "Invalid value", Status: http.StatusUnprocessableEntity}
	for k := range m {
		if !slices.Contains(want, k) {
			p.Errors = append(p.Errors, Fault{Pointer: pointer(k), Detail: "unknown field"})
		}
	}
	for _, k := range want {
		if v, ok := m[k]; !ok || string(v) == "null" {
			p.Errors = append(p.Errors, Fault{Pointer: pointer(k), Detail: "is needed"})
		}
	}
	if len(p.Errors) > 0 {
		slices.SortFunc(p.Errors, func(a, b Fault) int { return strings.Compare(a.Pointer, b.Pointer) })
		return nil, p
	}
	return m, nil
}

// readItems reads a JSON array without looking into its items.
func readItems(raw json.RawMessage, name string) ([]json.RawMessage, error) {
	var items []json.RawMessage
	if err := json.Unmarshal(raw, &items); err != nil {
		return nil, oneFault("/"+name, "must be a list")
	}
	if len(items) == 0 {
		return nil, oneFault("/"+name, "must hold at least one item")
	}
	return items, nil
}

func oneFault(pointer, detail string) *Problem {
	return &Problem{
		Type: "/problems/invalid-body", Title: "Invalid value", Status: http.StatusUnprocessableEntity,
		Errors: []Fault{{Pointer: pointer, Detail: detail}},
	}
}

// readItem reads one item strictly. The reason is one clause for a person.
func readItem(raw json.RawMessage, into any) (reason string) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil {
		return ""
	}
	var te *json.UnmarshalTypeError
	switch {
	case errors.As(err, &te) && te.Field == "":
		return "must be an object"
	case errors.As(err, &te):
		return fmt.Sprintf("%s must be a %s, not a %s", te.Field, plainType(te.Type.String()), te.Value)
	case strings.HasPrefix(err.Error(), "json: unknown field "):
		return "unknown field " + strings.TrimPrefix(err.Error(), "json: unknown field ")
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "is cut off"
	}
	return "cannot be read"
}

func plainType(goType string) string {
	switch strings.TrimPrefix(goType, "*") {
	case "float64":
		return "number"
	case "int":
		return "whole number"
	case "bool":
		return "true or false"
	}
	return "text"
}

// jsonPlace says where JSON broke.
func jsonPlace(err error) string {
	if se, ok := errors.AsType[*json.SyntaxError](err); ok {
		return fmt.Sprintf(": broken at byte %d", se.Offset)
	}
	return ""
}
