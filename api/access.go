package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"

	"ripetide/forecast"
)

// Role is what a key may do.
type Role string

// The roles, each of which may do what the ones after it may.
const (
	Owner  Role = "owner"  // Sets up farms, stations, varieties and plantings.
	Grower Role = "grower" // Records weather and sightings, freezes forecasts.
	Reader Role = "reader" // Reads, and computes without freezing.
)

// rank orders roles; 0 is no role.
func (r Role) rank() int {
	switch r {
	case Owner:
		return 3
	case Grower:
		return 2
	case Reader:
		return 1
	}
	return 0
}

// Caller is whom a key belongs to.
type Caller struct {
	KeyID string
	Name  string
	Role  Role
	Farm  string // "": the installation.
}

// May reports whether c may do what the role least may, on a farm.
func (c Caller) May(least Role, farm string) bool {
	return (c.Farm == "" || c.Farm == farm) && c.Role.rank() >= least.rank()
}

// By names who a change is recorded under.
func (c Caller) By() string { return "key " + c.KeyID + " (" + c.Name + ")" }

type callerKey struct{}

// WithCaller tells what is called with the context who calls.
func WithCaller(ctx context.Context, who Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, who)
}

// callerOf returns the caller that authorize or a page admitted.
func callerOf(ctx context.Context) Caller {
	c, _ := ctx.Value(callerKey{}).(Caller)
	return c
}

// needs is the key under which an operation names the least role it asks for.
const needs = "x-needs-role"

// authorize admits a request by its key, the role that its operation needs and
// the farm in its path. It is the one place where access is decided.
func (s *Server) authorize(ctx huma.Context, next func(huma.Context)) {
	role, guarded := ctx.Operation().Metadata[needs].(Role)
	if !guarded {
		if err := s.Admit(humaecho.Unwrap(ctx).Request()); err != nil {
			s.refuse(ctx, err)
			return
		}
		next(ctx)
		return
	}
	caller, err := s.caller(ctx)
	farm := ctx.Param("farm")
	switch {
	case err != nil:
	case farm != "" && caller.Farm != "" && caller.Farm != farm:
		err = forecast.ErrFarmNotFound
	case caller.Role.rank() < role.rank():
		err = ErrForbidden
	}
	if errors.Is(err, ErrUnauthorized) {
		if busy := s.Admit(humaecho.Unwrap(ctx).Request()); busy != nil {
			err = busy
		}
	}
	ctx = huma.WithValue(ctx, callerKey{}, caller)
	leave := func() {}
	if err == nil && ctx.Operation().MaxBodyBytes > bodyLimit {
		leave, err = s.Upload(ctx.Context())
	}
	if err != nil {
		s.refuse(ctx, err)
		return
	}
	defer leave()
	next(ctx)
}

// caller finds out who calls: a program by its key, or a person by the cookie
// of a session. A cookie is sent by browsers also when a page of somebody else
// asks them to, so a request that changes something must come from a page of
// ours.
func (s *Server) caller(ctx huma.Context) (Caller, error) {
	r := humaecho.Unwrap(ctx).Request()
	scheme, key, _ := strings.Cut(ctx.Header("Authorization"), " ")
	if strings.EqualFold(scheme, "Bearer") && strings.TrimSpace(key) != "" {
		return s.known(r, strings.TrimSpace(key))
	}
	return s.Session(r)
}

// SessionCookie is the name of the cookie that a signed-in browser sends.
const SessionCookie = "ripetide_session"

// Session returns who is signed in in the browser that sent r, or
// [ErrUnauthorized]; [ErrForeignPage] if r would change something and was sent by
// a page of another site.
func (s *Server) Session(r *http.Request) (Caller, error) {
	c, err := r.Cookie(SessionCookie)
	if err != nil || c.Value == "" {
		return Caller{}, ErrUnauthorized
	}
	if err := s.sameSite.Check(r); err != nil {
		return Caller{}, ErrForeignPage
	}
	who, err := s.store.SessionCaller(r.Context(), HashKey(c.Value), s.now())
	if err != nil {
		return Caller{}, err
	}
	return who, s.rates.take("key " + who.KeyID)
}

// HashKey returns what is stored of a key. A key has 160 random bits, so that a
// fast hash is enough. Keys are found by their hashes: what the time of a search
// may tell of a hash says nothing of a key that has it.
func HashKey(key string) [32]byte { return sha256.Sum256([]byte(key)) }

// refuse answers with a problem before an operation has begun.
func (s *Server) refuse(ctx huma.Context, err error) {
	p := problemOf(s.fail(ctx.Context(), err))
	if p.Status == http.StatusUnauthorized {
		ctx.SetHeader("WWW-Authenticate", `Bearer realm="ripetide"`)
	}
	if wait := RetryAfter(p.Status, err); wait != "" {
		ctx.SetHeader("Retry-After", wait)
	}
	ctx.SetHeader("Content-Type", "application/problem+json")
	ctx.SetStatus(p.Status)
	q := *p
	s.locate(&q, ctx.URL().Path)
	_ = s.huma.Marshal(ctx.BodyWriter(), "application/json", &q)
}
