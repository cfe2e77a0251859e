package pages

import (
	"crypto/rand"
	"encoding/base32"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"ripetide/api"
)

// How often an address may fail to sign in.
const (
	mostFails  = 10
	failWindow = 15 * time.Minute
)

// sessionTime is how long a browser stays signed in: a season.
const sessionTime = 120 * 24 * time.Hour

// NewSecret returns 160 random bits as text, for a cookie or a link.
func NewSecret() string {
	b := make([]byte, 20)
	rand.Read(b) // Never fails, by its documentation.
	return strings.ToLower(base32.StdEncoding.EncodeToString(b))
}

// toSignIn sends a browser to the sign-in page, and back afterwards.
func (p *Pages) toSignIn(c echo.Context) error {
	to := "/sign-in"
	if r := c.Request(); r.Method == http.MethodGet && r.URL.Path != "/" {
		to += "?back=" + url.QueryEscape(r.URL.RequestURI())
	}
	return c.Redirect(http.StatusSeeOther, to)
}

type signInPage struct {
	Back  string
	Fault string
	Name  string // Whom a link is for.
}

func (p *Pages) signInForm(c echo.Context) error {
	return p.render(c, http.StatusOK, nil, "sign-in", "Sign in", signInPage{Back: back(c.QueryParam("back"))})
}

// signInKey signs in with an access key.
func (p *Pages) signInKey(c echo.Context) error {
	if err := p.ours(c); err != nil {
		return err
	}
	to := back(c.FormValue("back"))
	if wait, ok := p.tries.Allow(api.Address(c.Request())); !ok {
		return p.tooMany(c, wait)
	}
	who, err := p.Store.Caller(c.Request().Context(), api.HashKey(strings.TrimSpace(c.FormValue("key"))), p.Now())
	if errors.Is(err, api.ErrUnauthorized) {
		p.tries.Failed(api.Address(c.Request()))
		return p.render(c, http.StatusUnprocessableEntity, nil, "sign-in", "Sign in",
			signInPage{Back: to, Fault: "This key opens nothing. It may have been revoked, or a letter is missing."})
	}
	if err != nil {
		return err
	}
	if err := p.endSession(c); err != nil {
		return err
	}
	secret, now := NewSecret(), p.Now()
	if err := p.People.OpenSession(c.Request().Context(), who.KeyID, api.HashKey(secret), now, now.Add(sessionTime)); err != nil {
		return err
	}
	p.setCookie(c, secret, sessionTime)
	return c.Redirect(http.StatusSeeOther, to)
}

// linkForm shows whom a link is for. Looking at it does not use it up, for some
// programs look at every link they show.
func (p *Pages) linkForm(c echo.Context) error {
	if wait, ok := p.tries.Allow(api.Address(c.Request())); !ok {
		return p.tooMany(c, wait)
	}
	who, err := p.People.LinkCaller(c.Request().Context(), api.HashKey(c.Param("link")), p.Now())
	if errors.Is(err, ErrLinkSpent) {
		p.tries.Failed(api.Address(c.Request()))
		return p.render(c, http.StatusGone, nil, "link", "Sign in",
			signInPage{Fault: "This link opens nothing any more: each works once and for a short time. Ask for a new one; on the machine itself \"ripetide link\" makes it."})
	}
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, nil, "link", "Sign in", signInPage{Name: who.Name})
}

// linkUse signs in by a link.
func (p *Pages) linkUse(c echo.Context) error {
	if err := p.ours(c); err != nil {
		return err
	}
	if wait, ok := p.tries.Allow(api.Address(c.Request())); !ok {
		return p.tooMany(c, wait)
	}
	secret, now := NewSecret(), p.Now()
	_, err := p.People.UseLink(c.Request().Context(), api.HashKey(c.Param("link")), api.HashKey(secret), now, now.Add(sessionTime))
	if errors.Is(err, ErrLinkSpent) {
		return p.linkForm(c)
	}
	if err != nil {
		return err
	}
	p.setCookie(c, secret, sessionTime) // First: the link is spent.
	if err := p.endSession(c); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/")
}

func (p *Pages) signOut(c echo.Context) error {
	if err := p.ours(c); err != nil {
		return err
	}
	if err := p.endSession(c); err != nil {
		return err
	}
	p.setCookie(c, "", -1)
	// The pages that are kept for the row go with it, by worker.js and shell.js;
	// what was entered and is not sent yet stays: it is sent when the same person
	// signs in again.
	c.Response().Header().Set("Clear-Site-Data", `"cache"`)
	return c.Redirect(http.StatusSeeOther, "/sign-in")
}

// endSession ends the session that the browser has had, if any: whoever has
// learned of its cookie must not stay signed in.
func (p *Pages) endSession(c echo.Context) error {
	k, err := c.Cookie(api.SessionCookie)
	if err != nil || k.Value == "" {
		return nil //nolint:nilerr // There is none.
	}
	return p.People.EndSession(c.Request().Context(), api.HashKey(k.Value), p.Now())
}

// ours refuses a form that a page of another site has sent.
func (p *Pages) ours(c echo.Context) error {
	if err := http.NewCrossOriginProtection().Check(c.Request()); err != nil {
		return api.ErrForeignPage
	}
	return nil
}

func (p *Pages) setCookie(c echo.Context, value string, keep time.Duration) {
	k := &http.Cookie{
		Name: api.SessionCookie, Value: value, Path: p.API.Mounted("/"), MaxAge: int(keep / time.Second),
		HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: c.Scheme() == "https",
	}
	if keep < 0 {
		k.MaxAge = -1
	}
	c.SetCookie(k)
}

// back returns an address of ours to go to after signing in: a path, and of no
// other site.
func back(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n") {
		return "/"
	}
	return to
}

func (p *Pages) tooMany(c echo.Context, wait time.Duration) error {
	c.Response().Header().Set("Retry-After", strconv.Itoa(int(wait/time.Second)+1))
	return p.render(c, http.StatusTooManyRequests, nil, "message", "Too many tries",
		message{Text: "There were too many tries to sign in from here. Wait a quarter of an hour, then try again."})
}
