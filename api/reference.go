package api

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
)

//go:embed reference.html
var referenceHTML string

var referencePage = template.Must(template.New("reference").Parse(referenceHTML))

// entry is one operation on the reference page.
type entry struct {
	Method, Path, Summary, Description, Role string
	Params                                   []param
	Body                                     string
}

type param struct {
	Name, In, Doc string
	Required      bool
}

// referenceRoutes serve the OpenAPI document and a page made from it.
func (s *Server) referenceRoutes() {
	doc, err := json.MarshalIndent(s.huma.OpenAPI(), "", "  ")
	if err != nil {
		panic("api: the OpenAPI document cannot be encoded: " + err.Error())
	}
	var page bytes.Buffer
	if err := referencePage.Execute(&page, map[string]any{"Entries": s.entries(), "Problems": problemSlugs()}); err != nil {
		panic("api: the reference page cannot be made: " + err.Error())
	}
	s.echo.GET("/openapi.json", func(c echo.Context) error { return c.Blob(http.StatusOK, jsonType, doc) })
	s.echo.GET("/reference", func(c echo.Context) error {
		c.Response().Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
		return c.HTMLBlob(http.StatusOK, page.Bytes())
	})
	texts := problemTexts()
	s.echo.GET("/problems/:slug", func(c echo.Context) error {
		text, ok := texts[c.Param("slug")]
		if !ok {
			return echo.ErrNotFound
		}
		return c.String(http.StatusOK, text)
	})
}

// entries lists the operations by path and method.
func (s *Server) entries() []entry {
	var out []entry
	for path, item := range s.huma.OpenAPI().Paths {
		for method, op := range map[string]*huma.Operation{
			http.MethodGet: item.Get, http.MethodPut: item.Put, http.MethodPost: item.Post, http.MethodDelete: item.Delete,
		} {
			if op == nil {
				continue
			}
			e := entry{Method: method, Path: path, Summary: op.Summary, Description: op.Description}
			e.Role = "none, it is open to everybody"
			if r, ok := op.Metadata[needs].(Role); ok {
				e.Role = string(r)
			}
			for _, p := range op.Parameters {
				e.Params = append(e.Params, param{p.Name, p.In, p.Description, p.Required})
			}
			if op.RequestBody != nil {
				var types []string
				for t := range op.RequestBody.Content {
					types = append(types, t)
				}
				slices.Sort(types)
				e.Body = strings.Join(types, ", ")
			}
			out = append(out, e)
		}
	}
	slices.SortFunc(out, func(a, b entry) int { return strings.Compare(a.Path+a.Method, b.Path+b.Method) })
	return out
}
