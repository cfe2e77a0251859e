package pages

import (
	"context"
	"embed"
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"ripetide/api"
	"ripetide/forecast"
)

// Config is what the pages are made of. All fields are needed.
type Config struct {
	API      *api.Server
	Store    api.Store
	People   People
	Access   Access
	Forecast *forecast.Service
	Feeds    api.Fetcher
	Mail     api.Mailer
	Issued   Issued
	States   States
	Now      func() time.Time
	Log      *slog.Logger
	Version  string // Of the program.
}

// People keeps who may sign in and who is signed in. Secrets come as their
// SHA-256.
type People interface {
	// LinkCaller returns whom a sign-in link is for, or ErrLinkSpent.
	LinkCaller(ctx context.Context, link [32]byte, at time.Time) (api.Caller, error)
	// UseLink uses a link up and opens a session; of many at once one does.
	UseLink(ctx context.Context, link, session [32]byte, at, until time.Time) (api.Caller, error)
	OpenSession(ctx context.Context, keyID string, session [32]byte, at, until time.Time) error
	EndSession(ctx context.Context, session [32]byte, at time.Time) error
}

// Errors of the pages; match with [errors.Is].
var (
	// ErrLinkSpent is a sign-in link that was used, has expired or never was.
	ErrLinkSpent = errors.New("pages: sign-in link opens nothing")
	errNoPage    = errors.New("pages: there is no such page")
)

// Pages renders pages. It is safe for concurrent use.
type Pages struct {
	Config
	tries api.Tries
	files string // Version of the static files: changes with what is in them.
	kept  kept
}

//go:embed static
var staticFiles embed.FS

// Add adds the pages to the router of the API.
func Add(c Config) {
	p := &Pages{Config: c, tries: api.Tries{Now: c.Now, Most: mostFails, Window: failWindow}, files: filesVersion()}
	p.kept.pictures.Most, p.kept.charted.Most = picturesKept, picturesKept
	p.kept.reviews.Most, p.kept.splits.Most, p.kept.proposals.Most = reviewsKept, reviewsKept, reviewsKept
	p.kept.orders.Most = ordersKept
	c.API.ErrorPage(p.edge)
	e := c.API.Echo()
	static, err := fs.Sub(staticFiles, "static")
	if err != nil {
		panic(err) // The folder is built in.
	}
	files := http.StripPrefix("/static/", http.FileServerFS(static))
	e.GET("/static/*", func(c echo.Context) error {
		// A file changes with the program; its address carries the version.
		c.Response().Header().Set("Cache-Control", "public, max-age=604800")
		files.ServeHTTP(c.Response(), c.Request())
		return nil
	})
	p.open("GET", "/worker.js", p.worker)
	p.get("/", p.home)
	p.anybody("GET", "/sign-in", p.signInForm)
	p.anybody("POST", "/sign-in", p.signInKey)
	p.anybody("GET", "/sign-in/:link", p.linkForm)
	p.anybody("POST", "/sign-in/:link", p.linkUse)
	p.anybody("POST", "/sign-out", p.signOut)
	p.addSetup()
	p.addBook()
	p.addPeople()
	p.addMail()
	p.addPublic()
	p.addWeather()
	p.addOpening()
	p.addSprays()
	p.get("/f/:farm", p.morning)
	p.get("/f/:farm/season/:year", p.season)
	p.get("/f/:farm/season/:year/planting/:planting", p.story)
	p.get("/f/:farm/season/:year/planting/:planting/narrowing.svg", p.narrowing)
	p.addReview()
	p.addOrder()
	p.addProposals()
	p.page("GET", "/f/:farm/row", api.Grower, p.row)
	p.post("/f/:farm/row", api.Grower, p.rowRecord)
	p.post("/f/:farm/forecast", api.Grower, p.makeForecast)
}

// visit is a request of somebody who is signed in, to a page of a farm that is
// theirs.
type visit struct {
	echo.Context
	who  api.Caller
	farm forecast.Farm // Zero on pages of no farm.
	zone *time.Location
}

// may reports whether the visitor may do what a role may.
func (v *visit) may(least api.Role) bool { return v.who.May(least, v.farm.ID) }

// get adds a page that every role may read.
func (p *Pages) get(path string, do func(*visit) error) { p.page("GET", path, api.Reader, do) }

// post adds a form's target for those who may do what least may.
func (p *Pages) post(path string, least api.Role, do func(*visit) error) {
	p.page("POST", path, least, do)
}

// page adds a page or target for people who are signed in.
func (p *Pages) page(method, path string, least api.Role, do func(*visit) error) {
	p.open(method, path, func(c echo.Context) error {
		v := &visit{Context: c, zone: time.UTC}
		var err error
		if v.who, err = p.API.Session(c.Request()); errors.Is(err, api.ErrUnauthorized) {
			if err := p.API.Admit(c.Request()); err != nil {
				return err
			}
			return p.toSignIn(c)
		} else if err != nil {
			return err
		}
		c.SetRequest(c.Request().WithContext(api.WithCaller(c.Request().Context(), v.who)))
		if id := c.Param("farm"); id != "" {
			if v.who.Farm != "" && v.who.Farm != id {
				return forecast.ErrFarmNotFound
			}
			if v.farm, err = p.Store.Farm(c.Request().Context(), id); err != nil {
				return err
			}
			if v.zone, err = v.farm.Location(); err != nil {
				return err
			}
		}
		// A page of no farm is for everybody who is signed in, unless it needs a role
		// that only somebody of the installation has there.
		if !v.may(least) && (v.farm.ID != "" || least != api.Reader) {
			return api.ErrForbidden
		}
		return do(v)
	})
}

// anybody adds a page for everybody, whose visitors are counted by address.
func (p *Pages) anybody(method, path string, do func(echo.Context) error) {
	p.open(method, path, func(c echo.Context) error {
		if err := p.API.Admit(c.Request()); err != nil {
			return err
		}
		return do(c)
	})
}

// open adds a page. All pages answer errors as pages and carry the same headers.
func (p *Pages) open(method, path string, do func(echo.Context) error) {
	p.API.Echo().Add(method, path, func(c echo.Context) error {
		headers(c.Response().Header())
		if err := do(c); err != nil {
			return p.failed(c, err)
		}
		return nil
	})
}

// headers keep a page to itself: nothing from elsewhere runs or is framed in
// it, and what it shows is not kept by caches on the way.
func headers(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "+
		"connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "private, no-cache")
}
