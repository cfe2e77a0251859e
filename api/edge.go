package api

import (
	"cmp"
	"log/slog"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"
)

// ErrorPage sets what answers a browser where no operation and no page does:
// unknown paths and methods, and what has gone wrong badly. Until it is set
// browsers get problems, as programs do.
func (s *Server) ErrorPage(page func(c echo.Context, status int) error) { s.page = page }

// edgeError answers what no operation has answered: unknown paths and methods.
func (s *Server) edgeError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	r := c.Request()
	p := &Problem{Type: "about:blank", Status: http.StatusInternalServerError}
	if he, ok := err.(*echo.HTTPError); ok { //nolint:errorlint // echo returns it bare.
		p.Status = he.Code
	} else {
		*p = *s.Problem(r.Context(), err)
	}
	if wait := RetryAfter(p.Status, err); wait != "" {
		c.Response().Header().Set("Retry-After", wait)
	}
	if s.page != nil && wantsPage(r) {
		if err = s.page(c, p.Status); err == nil {
			return
		}
		s.log.ErrorContext(r.Context(), "error page failed", slog.String("error", err.Error()))
	}
	p.Title = cmp.Or(p.Title, http.StatusText(p.Status))
	s.locate(p, r.URL.Path)
	c.Response().Header().Set("Content-Type", "application/problem+json")
	if err := c.JSON(p.Status, p); err != nil {
		s.log.WarnContext(r.Context(), "answer not sent", slog.String("error", err.Error()))
	}
}

// wantsPage reports whether somebody looks at the answer: a browser says that it
// takes HTML, and the API has none.
func wantsPage(r *http.Request) bool {
	if strings.HasPrefix(r.URL.Path, "/v1/") {
		return false
	}
	for part := range strings.SplitSeq(strings.Join(r.Header.Values("Accept"), ","), ",") {
		if mt, _, _ := strings.Cut(part, ";"); strings.EqualFold(strings.TrimSpace(mt), "text/html") {
			return true
		}
	}
	return false
}
