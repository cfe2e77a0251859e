package api

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
)

// Drawing is a picture with its entity tag: whoever has the same need not be
// sent it again.
type Drawing struct {
	Body []byte
	Tag  string
}

// NewDrawing returns a picture with its tag.
func NewDrawing(body []byte) Drawing {
	sum := sha256.Sum256(body)
	return Drawing{body, `"` + hex.EncodeToString(sum[:12]) + `"`}
}

// unchangedAnswer documents it.
var unchangedAnswer = &huma.Response{Description: "The picture is the one whose tag If-None-Match names"}

// unchanged answers 304 in place of an answer with a tag that the asker has.
// Such answers are for one person, who asks whether they still hold.
func (s *Server) unchanged(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			return next(c)
		}
		w := &taggedWriter{ResponseWriter: c.Response().Writer, asked: r.Header.Values("If-None-Match")}
		c.Response().Writer = w
		err := next(c)
		if w.same {
			c.Response().Status, c.Response().Size = http.StatusNotModified, 0
		}
		return err
	}
}

// taggedWriter holds back the body of an answer that the asker has.
type taggedWriter struct {
	http.ResponseWriter
	asked   []string // Tags, as they were sent.
	written bool
	same    bool
}

// Unwrap is for [http.ResponseController].
func (w *taggedWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// WriteHeader implements [http.ResponseWriter].
func (w *taggedWriter) WriteHeader(status int) {
	w.written = true
	h := w.Header()
	if tag := h.Get("ETag"); tag != "" && status == http.StatusOK {
		if h.Get("Cache-Control") == "" {
			h.Set("Cache-Control", "private, no-cache")
		}
		if w.same = hasTag(w.asked, tag); w.same {
			status = http.StatusNotModified
			h.Del("Content-Type")
			h.Del("Content-Length")
		}
	}
	w.ResponseWriter.WriteHeader(status)
}

// Write implements [http.ResponseWriter].
func (w *taggedWriter) Write(b []byte) (int, error) {
	if !w.written {
		w.WriteHeader(http.StatusOK)
	}
	if w.same {
		return len(b), nil
	}
	return w.ResponseWriter.Write(b)
}

// hasTag reports whether a tag is among those of If-None-Match, compared weakly,
// as RFC 9110, section 13.1.2, has it.
func hasTag(asked []string, tag string) bool {
	for part := range strings.SplitSeq(strings.Join(asked, ","), ",") {
		part = strings.TrimSpace(part)
		if part == "*" || strings.TrimPrefix(part, "W/") == tag {
			return true
		}
	}
	return false
}
