package api

import (
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// nullPointers makes the document say what encoding/json does: a pointer
// without omitempty is null when there is nothing. huma says so of plain values
// only, not of objects and of types with a schema of their own. A pointer that
// tells whether something was sent has the tag nullable:"false".
func (s *Server) nullPointers() {
	schemas := s.huma.OpenAPI().Components.Schemas
	for name, schema := range schemas.Map() {
		t := schemas.TypeFromRef("#/components/schemas/" + name)
		if t == nil || t.Kind() != reflect.Struct {
			continue
		}
		for f := range fieldsOf(t) {
			tag, opts, _ := strings.Cut(f.Tag.Get("json"), ",")
			prop := schema.Properties[tag]
			if prop == nil || f.Type.Kind() != reflect.Pointer || strings.Contains(opts, "omitempty") || f.Tag.Get("nullable") == "false" {
				continue
			}
			if prop.Ref != "" {
				schema.Properties[tag] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: prop.Ref}, {Type: "null"}}}
				continue
			}
			own := *prop // It may be shared with other places.
			own.Nullable = true
			schema.Properties[tag] = &own
		}
	}
}

// fieldsOf yields the fields of t and of the structs embedded in it.
func fieldsOf(t reflect.Type) func(func(reflect.StructField) bool) {
	return func(yield func(reflect.StructField) bool) {
		for _, f := range reflect.VisibleFields(t) {
			if !f.Anonymous && !yield(f) {
				return
			}
		}
	}
}

// schemaOf returns a reference to the schema of T, registering it.
func schemaOf[T any](s *Server) *huma.Schema {
	return s.huma.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[T](), true, "")
}
