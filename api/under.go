package api

import (
	"bytes"
	"net/http"
	"strings"

	"golang.org/x/net/html"
)

// Under a path of another site everything speaks of paths of the service, as if it
// had a site for itself, and what is sent to browsers gets the path in front here.

// ServeHTTP implements [http.Handler]. Under a path it answers with and without the
// path in front, for some proxies take it off and some do not.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if s.under == "" {
		s.echo.ServeHTTP(w, r)
		return
	}
	u := &underWriter{ResponseWriter: w, s: s}
	s.echo.ServeHTTP(u, s.stripped(r))
	u.finish()
}

// Mounted returns where browsers find an address of ours: a path with the path in
// front that the service is under, unless it has it already. Other addresses stay.
func (s *Server) Mounted(address string) string {
	if !strings.HasPrefix(address, "/") || strings.HasPrefix(address, "//") || s.isMounted(address) {
		return address
	}
	return s.under + address
}

// isMounted reports whether an address begins with the path that the service is
// under. None of its own paths does: the settings refuse such a path.
func (s *Server) isMounted(address string) bool {
	rest, ok := strings.CutPrefix(address, s.under)
	return ok && (rest == "" || strings.ContainsRune("/?#", rune(rest[0])))
}

// locate says at which of our paths a problem is, and mounts its addresses.
func (s *Server) locate(p *Problem, path string) {
	p.Type, p.Instance = s.Mounted(p.Type), s.Mounted(path)
}

// stripped returns a request without the path in front.
func (s *Server) stripped(r *http.Request) *http.Request {
	if !s.isMounted(r.URL.Path) || r.URL.RawPath != "" && !s.isMounted(r.URL.RawPath) {
		return r
	}
	out, u := *r, *r.URL
	strip := func(path string) string { return "/" + strings.TrimPrefix(path[len(s.under):], "/") }
	u.Path = strip(u.Path)
	if u.RawPath != "" {
		u.RawPath = strip(u.RawPath)
	}
	out.URL = &u
	return &out
}

// underWriter mounts the addresses of an answer: those of an HTML page, and where a
// redirect goes.
type underWriter struct {
	http.ResponseWriter
	s      *Server
	status int // 0: not known yet.
	isPage bool
	page   bytes.Buffer // Held back until it is whole.
}

// Unwrap is for [http.ResponseController].
func (w *underWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// WriteHeader implements [http.ResponseWriter].
func (w *underWriter) WriteHeader(status int) {
	if w.status != 0 || status < http.StatusOK {
		w.ResponseWriter.WriteHeader(status)
		return
	}
	w.status = status
	h := w.Header()
	if to := h.Get("Location"); to != "" {
		h.Set("Location", w.s.Mounted(to))
	}
	if w.isPage = strings.HasPrefix(h.Get("Content-Type"), "text/html"); w.isPage {
		h.Del("Content-Length")
		return
	}
	w.ResponseWriter.WriteHeader(status)
}

// Write implements [http.ResponseWriter].
func (w *underWriter) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.WriteHeader(http.StatusOK)
	}
	if w.isPage {
		return w.page.Write(b)
	}
	return w.ResponseWriter.Write(b)
}

// finish sends the page that was held back.
func (w *underWriter) finish() {
	if !w.isPage {
		return
	}
	w.ResponseWriter.WriteHeader(w.status)
	_, _ = w.ResponseWriter.Write(mountPage(w.page.Bytes(), w.s.Mounted)) // Who asked may be gone.
}

// mountPage returns a page with the addresses of its tags changed. Tags without any,
// text, scripts and styles stay as they are, byte for byte.
func mountPage(page []byte, mounted func(string) string) []byte {
	var out bytes.Buffer
	out.Grow(len(page) + len(page)/16)
	z := html.NewTokenizer(bytes.NewReader(page))
	for {
		kind := z.Next()
		start := out.Len()
		out.Write(z.Raw()) // Before Token, which works on the same bytes.
		switch kind {
		case html.ErrorToken:
			return out.Bytes() // Its end: there is nothing else to fail.
		case html.StartTagToken, html.SelfClosingTagToken:
			if t := z.Token(); mountTag(t.Attr, mounted) {
				out.Truncate(start)
				out.WriteString(t.String())
			}
		}
	}
}

// mountTag changes the addresses among the attributes of a tag, and reports whether
// there were any to change.
func mountTag(attributes []html.Attribute, mounted func(string) string) (changed bool) {
	for i := range attributes {
		a := &attributes[i]
		was := a.Val
		switch a.Key {
		case "href", "xlink:href", "src", "action", "formaction", "poster":
			a.Val = mounted(a.Val)
		case "srcset":
			a.Val = mountSet(a.Val, mounted)
		}
		changed = changed || a.Val != was
	}
	return changed
}

// mountSet changes the addresses of a srcset: each stands before what it is for,
// and may have commas within.
func mountSet(set string, mounted func(string) string) string {
	const space = " \t\n\f\r"
	var out strings.Builder
	take := func(n int) string {
		if n < 0 {
			n = len(set)
		}
		part := set[:n]
		set = set[n:]
		return part
	}
	for set != "" {
		out.WriteString(take(len(set) - len(strings.TrimLeft(set, space+","))))
		address := take(strings.IndexAny(set, space))
		out.WriteString(mounted(address))
		if !strings.HasSuffix(address, ",") {
			out.WriteString(take(strings.IndexByte(set, ',')))
		}
	}
	return out.String()
}
