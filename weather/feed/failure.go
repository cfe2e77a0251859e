package feed

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"ripetide/weather"
)

// failure is why a fetch did not do what it should.
type failure struct {
	outcome    Outcome
	detail     string // A sentence without capital and full stop.
	status     int    // Of the answer; 0 if there was none or it was good.
	retryAfter time.Duration
	err        error // The cause; nil if the detail says all.
}

func fail(o Outcome, err error, detail string, args ...any) *failure {
	return &failure{outcome: o, detail: fmt.Sprintf(detail, args...), err: err}
}

func (e *failure) Error() string {
	if e.err == nil {
		return e.detail
	}
	return e.detail + ": " + e.err.Error()
}

func (e *failure) Unwrap() error { return e.err }

// failures returns the failures that err joins; those that decide the outcome
// come last.
func failures(err error) []*failure {
	var all, last []*failure
	errs := []error{err}
	if joined, ok := err.(interface{ Unwrap() []error }); ok { // By errors.Join.
		errs = joined.Unwrap()
	}
	for _, err := range errs {
		x, ok := errors.AsType[*failure](err)
		if !ok {
			x = fail(Failed, err, "it failed")
		}
		if x.outcome == Stale {
			all = append(all, x)
		} else {
			last = append(last, x)
		}
	}
	return append(all, last...)
}

func retryAfter(err error) time.Duration {
	if x, ok := errors.AsType[*failure](err); ok {
		return x.retryAfter
	}
	return 0
}

// unreadable is an answer that is not the data of the service.
func unreadable(err error, body string) error {
	if strings.HasPrefix(strings.TrimSpace(body), "<") {
		return fail(Failed, err, "the service answered with a web page instead of data")
	}
	if said := saidIn(body); said != "" {
		return fail(Failed, err, "the service answered: %s", said)
	}
	if x, ok := errors.AsType[*weather.FileError](err); ok {
		return fail(Failed, err, "the service's answer cannot be read: %s", x.Detail())
	}
	return fail(Failed, err, "the service's answer cannot be read")
}

// unreached is a request without an answer; err is of the connection.
func unreached(ctx context.Context, host string, err error) error {
	if ended := ctx.Err(); ended != nil { // The connection may tell it in other words.
		err = fmt.Errorf("%w: %w", ended, err)
	}
	var (
		dns    *net.DNSError
		cert   *tls.CertificateVerificationError
		header tls.RecordHeaderError
		slow   net.Error
	)
	switch {
	case errors.As(err, &dns) && dns.IsNotFound:
		return fail(Failed, err, "the name %s is not known", host)
	case errors.As(err, &dns):
		return fail(Failed, err, "the name %s could not be looked up", host)
	case errors.As(err, &cert):
		return fail(Failed, err, "%s does not prove by its certificate that it is %s", host, host)
	case errors.As(err, &header):
		return fail(Failed, err, "%s does not answer by https", host)
	case errors.Is(err, context.DeadlineExceeded) || errors.As(err, &slow) && slow.Timeout():
		return fail(Failed, err, "%s did not answer in time", host)
	case errors.Is(err, context.Canceled):
		return fail(Failed, err, "the request was broken off")
	case errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF):
		return fail(Failed, err, "the connection to %s broke off", host)
	}
	return fail(Failed, err, "%s could not be reached", host)
}

// status is an answer other than 200. Those that say that something is wrong
// with the request are for a person to mend; the rest may pass.
func status(host string, resp *http.Response, said string, wait time.Duration) error {
	outcome := Failed
	switch code := resp.StatusCode; {
	case code == http.StatusRequestTimeout, code == http.StatusTooEarly, code == http.StatusTooManyRequests:
	case 400 <= code && code < 500:
		outcome = Refused
	}
	text := fmt.Sprintf("%s answered %d", host, resp.StatusCode)
	if name := http.StatusText(resp.StatusCode); name != "" {
		text += " " + name
	}
	if said != "" {
		text += ": " + said
	}
	return &failure{outcome: outcome, detail: text, status: resp.StatusCode, retryAfter: wait}
}

// saidIn returns what a service says in an answer in JSON that is no data: a
// problem of RFC 9457, {"error": "…"} or {"error": true, "reason": "…"}. "" if
// it says nothing.
func saidIn(body string) string {
	var said struct{ Detail, Title, Reason, ErrorMessage, Message, Error any }
	if len(body) > 64<<10 || json.Unmarshal([]byte(body), &said) != nil {
		return ""
	}
	for _, v := range []any{said.Detail, said.Reason, said.Error, said.ErrorMessage, said.Message, said.Title} {
		if s, ok := v.(string); ok && strings.TrimSpace(s) != "" {
			return strings.TrimRight(clip(strings.TrimSpace(s)), ".")
		}
	}
	return ""
}

// clip makes what a stranger sent short and printable.
func clip(s string) string {
	const most = 160 // Runes.
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s[:min(len(s), most*utf8.UTFMax)])
	if runes := []rune(s); len(runes) > most {
		s = string(runes[:most]) + "…"
	}
	return s
}

// capital returns s with a capital first letter, unless it begins with the name
// of a host.
func capital(s string) string {
	word, _, _ := strings.Cut(s, " ")
	if s == "" || strings.ContainsAny(word, ".:0123456789") {
		return s
	}
	first, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[n:]
}
