package feed

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripetide/weather"
)

const (
	maxRedirects = 3
	// maxFresh and maxRetryAfter bound how long a service may make us wait.
	maxFresh      = 6 * time.Hour
	maxRetryAfter = 24 * time.Hour

	keyParameter = "apikey" // Where Open-Meteo takes its key.
)

// request is what is asked of a service.
type request struct {
	url         *url.URL
	post        []byte // JSON; nil asks by GET.
	conditional bool   // Ask for the answer only if it is not the last one.
}

// send sends a request, follows redirects and reads the answer. Its errors are
// failures.
func (f *fetch) send(ctx context.Context, q request) (*answer, error) {
	asked := f.asked(q)
	at, strange := q.url, false // strange: another server than the one that was meant.
	for redirects := 0; ; redirects++ {
		if err := f.c.guard.address(at); err != nil {
			return nil, fail(Refused, err, "%s may not be reached: %s", clip(at.Hostname()), err)
		}
		if strange && f.clean(at.String()) != at.String() {
			return nil, fail(Refused, nil, "%s passes the key on to another server", q.url.Hostname())
		}
		resp, err := f.roundTrip(ctx, q, at, asked, strange)
		if err != nil {
			return nil, err
		}
		next, err := f.redirect(q, at, resp)
		if err != nil || next == nil {
			a, err := f.receive(ctx, resp, at, err)
			if a != nil {
				a.asked = asked
			}
			return a, err
		}
		resp.Body.Close() //nolint:errcheck // Nothing of it is read.
		if redirects == maxRedirects {
			return nil, fail(Failed, nil, "%s redirects more than %d times", q.url.Hostname(), maxRedirects)
		}
		if hostPort(next) != hostPort(at) || next.Scheme != at.Scheme {
			strange = true
			dropKey(next)
		}
		at = next
	}
}

// asked tells a request from others without its key.
func (f *fetch) asked(q request) string {
	u := *q.url
	dropKey(&u)
	return digest(u.String(), string(q.post))
}

func dropKey(u *url.URL) {
	if values := u.Query(); values.Has(keyParameter) {
		values.Del(keyParameter)
		u.RawQuery = values.Encode()
	}
}

// roundTrip sends one request; the body of the response must be closed.
func (f *fetch) roundTrip(ctx context.Context, q request, at *url.URL, asked string, strange bool) (*http.Response, error) {
	method, body := http.MethodGet, io.Reader(nil)
	if q.post != nil {
		method, body = http.MethodPost, strings.NewReader(string(q.post))
	}
	r, err := http.NewRequestWithContext(ctx, method, at.String(), body)
	if err != nil {
		return nil, fail(Refused, nil, "the address of %s cannot be asked", q.url.Hostname())
	}
	r.Header.Set("User-Agent", f.userAgent())
	r.Header.Set("Accept", services[f.spec.Kind].accept)
	r.Header.Set("Accept-Encoding", "gzip")
	if q.post != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if q.conditional && !strange && asked == f.st.Asked {
		if f.st.ETag != "" {
			r.Header.Set("If-None-Match", f.st.ETag)
		}
		if f.st.LastModified != "" {
			r.Header.Set("If-Modified-Since", f.st.LastModified)
		}
	}
	f.res.Requests++
	f.res.Status = 0
	resp, err := f.c.transport.RoundTrip(r)
	if err != nil {
		if g, ok := errors.AsType[*guardError](err); ok {
			return nil, fail(Refused, err, "%s may not be reached: %s", clip(at.Hostname()), g.reason)
		}
		return nil, unreached(ctx, at.Hostname(), err)
	}
	f.res.Status = resp.StatusCode
	return resp, nil
}

func (f *fetch) userAgent() string {
	if f.spec.Contact == "" {
		return f.c.opt.UserAgent
	}
	return f.c.opt.UserAgent + " (" + f.spec.Contact + ")"
}

// redirect returns where resp redirects, or nil if it does not.
func (f *fetch) redirect(q request, at *url.URL, resp *http.Response) (*url.URL, error) {
	switch resp.StatusCode {
	case http.StatusTemporaryRedirect, http.StatusPermanentRedirect:
	case http.StatusMovedPermanently, http.StatusFound, http.StatusSeeOther:
		if q.post != nil { // It would become a GET, without the question.
			return nil, nil
		}
	default:
		return nil, nil
	}
	to := resp.Header.Get("Location")
	if to == "" {
		return nil, nil
	}
	next, err := at.Parse(to)
	switch {
	case err != nil || len(to) > 2048:
		return nil, fail(Failed, nil, "%s redirects to an address that is none", at.Hostname())
	case at.Scheme == "https" && next.Scheme == "http":
		return nil, fail(Refused, nil, "%s redirects from https to http", at.Hostname())
	}
	next.Fragment, next.RawFragment = "", ""
	return next, nil
}

// receive reads and closes the body of a response; early is an error that is
// already known.
func (f *fetch) receive(ctx context.Context, resp *http.Response, at *url.URL, early error) (*answer, error) {
	defer resp.Body.Close() //nolint:errcheck // It was only read.
	if early != nil {
		return nil, early
	}
	host := at.Hostname()
	switch resp.StatusCode {
	case http.StatusOK:
	case http.StatusNotModified:
		if resp.Request.Header.Get("If-None-Match") == "" && resp.Request.Header.Get("If-Modified-Since") == "" {
			return nil, fail(Failed, nil, "%s answered that nothing has changed, which it was not asked", host)
		}
		f.fresh = freshness(resp.Header)
		return &answer{same: true}, nil
	default:
		said, err := unpack(resp.Header, io.LimitReader(resp.Body, 64<<10))
		if err != nil {
			said = "" // What it says is a help, no more.
		}
		return nil, status(host, resp, saidIn(said), f.retryAfter(resp.Header))
	}
	body, err := unpack(resp.Header, resp.Body)
	switch {
	case errors.Is(err, weather.ErrTooLarge):
		return nil, fail(Failed, err, "the answer of %s is larger than %d MiB", host, weather.MaxBytes>>20)
	case errors.Is(err, weather.ErrDamaged), errors.Is(err, errEncoding):
		return nil, fail(Failed, err, "the answer of %s does not unpack", host)
	case err != nil:
		return nil, unreached(ctx, host, err)
	}
	f.fresh = freshness(resp.Header)
	return &answer{body: body, etag: f.etag(resp.Header), changed: f.lastModified(resp.Header)}, nil
}

var errEncoding = errors.New("feed: not in the encoding it says")

// unpack reads a body, packed by gzip or not, up to weather.MaxBytes.
func unpack(h http.Header, body io.Reader) (string, error) {
	in := bufio.NewReader(body)
	switch strings.ToLower(strings.TrimSpace(h.Get("Content-Encoding"))) {
	case "", "identity":
	case "gzip", "x-gzip":
		if magic, err := in.Peek(2); err == nil && string(magic) != "\x1f\x8b" {
			return "", errEncoding
		}
	default:
		return "", errEncoding
	}
	return weather.Unpack(in)
}

// etag returns the validator of an answer, "" if it is none.
func (f *fetch) etag(h http.Header) string {
	if e := h.Get("ETag"); strings.HasSuffix(e, `"`) && printable(e, maxText) {
		return e
	}
	return ""
}

// lastModified returns the date of an answer, "" if it is none. One in the
// future, which servers of NWS have sent, would make every later answer seem
// old.
func (f *fetch) lastModified(h http.Header) string {
	text := h.Get("Last-Modified")
	t, err := http.ParseTime(text)
	if err != nil {
		return ""
	}
	sent, err := http.ParseTime(h.Get("Date"))
	if err != nil {
		sent = f.now
	}
	if t.After(sent) {
		return ""
	}
	return text
}

// freshness returns for how long an answer is fresh by its Cache-Control and
// Age, 0 to maxFresh.
func freshness(h http.Header) time.Duration {
	var fresh time.Duration
	for part := range strings.SplitSeq(strings.ToLower(strings.Join(h.Values("Cache-Control"), ",")), ",") {
		part = strings.TrimSpace(part)
		if part == "no-store" || part == "no-cache" {
			return 0
		}
		if s, ok := strings.CutPrefix(part, "max-age="); ok {
			fresh = seconds(strings.Trim(s, `"`), maxFresh) - seconds(h.Get("Age"), maxFresh)
		}
	}
	return max(fresh, 0)
}

// retryAfter returns how long a service wants not to be asked, 0 to
// maxRetryAfter. An instant is taken by the clock of the service, for it may be
// off.
func (f *fetch) retryAfter(h http.Header) time.Duration {
	text := h.Get("Retry-After")
	if t, err := http.ParseTime(text); err == nil {
		sent, err := http.ParseTime(h.Get("Date"))
		if err != nil {
			sent = f.now
		}
		return min(max(t.Sub(sent), 0), maxRetryAfter)
	}
	return seconds(text, maxRetryAfter)
}

// seconds reads a number of seconds, 0 to most; what is no number is 0.
func seconds(s string, most time.Duration) time.Duration {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsFunc(s, func(r rune) bool { return r < '0' || r > '9' }) {
		return 0
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n > int64(most/time.Second) { // Also what does not fit.
		return most
	}
	return time.Duration(n) * time.Second
}

// get asks an address with parameters by GET, in the order of their names.
func (f *fetch) get(ctx context.Context, base *url.URL, parameters url.Values) (*answer, error) {
	u := *base
	u.RawQuery = parameters.Encode()
	return f.send(ctx, request{url: &u, conditional: true})
}

// withPath returns base with elements behind its path.
func withPath(base *url.URL, elements ...string) *url.URL {
	return base.JoinPath(slices.Clip(elements)...)
}
