package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"reflect"
	"runtime"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"
	"github.com/danielgtaylor/huma/v2/validation"
	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"

	"ripetide/forecast"
	"ripetide/forecast/memo"
	"ripetide/weather"
)

// Config is what a server is made of. All fields are needed.
type Config struct {
	Store    Store
	Forecast *forecast.Service
	Feeds    Fetcher
	Mail     Mailer
	Now      func() time.Time
	Log      *slog.Logger
	Version  string // Of the program.
	// Unavailable reports whether an error of the store means that the database
	// cannot be reached or cannot write now, so that asking again may help. Nil: no
	// error does.
	Unavailable func(error) bool
	Limits      Limits
	// Under is the path of its site under which a proxy shows the service, such as
	// "/berries"; "": it has the site for itself.
	Under string
	// Observe is told of every answer: the route as it is registered, "" for none,
	// and how long it took. Nil: nobody is.
	Observe func(method, route string, status int, took time.Duration)
}

// Server answers requests. It is safe for concurrent use.
type Server struct {
	store    Store
	forecast *forecast.Service
	fetcher  Fetcher
	mailer   Mailer
	now      func() time.Time
	log      *slog.Logger
	away     func(error) bool // See Config.Unavailable.
	observe  func(method, route string, status int, took time.Duration)
	unknown  Tries // Keys that nobody has.
	rates    rates
	places   *places // For work that takes long.
	uploads  *places
	proxies  []netip.Prefix
	under    string // See Config.Under.
	sameSite *http.CrossOriginProtection
	drawings drawings
	records  memo.Cache[recordKey, *record] // As they are known now.
	telling  telling
	page     func(echo.Context, int) error // See ErrorPage.
	echo     *echo.Echo
	huma     huma.API
}

const (
	bodyLimit  = 1 << 20  // Bytes of an ordinary body.
	filesLimit = 32 << 20 // Bytes of a weather file, packed or not.
	fileTime   = 2 * time.Minute
	retryAfter = "5" // Seconds after which a busy database may be asked again.
)

// useProblems makes huma speak as we do. Its texts are variables of its
// packages, so they are set once for the process.
var useProblems = sync.OnceFunc(func() {
	huma.NewError = newProblem
	huma.DefaultArrayNullable = false // Lists are never null.
	validation.MsgUnexpectedProperty = "unknown field"
	validation.MsgExpectedRFC3339Date = "is not a calendar date YYYY-MM-DD"
	validation.MsgExpectedRFC3339DateTime = "is not an instant such as 2025-06-03T05:30:00+02:00"
	validation.MsgExpectedNumber = "must be a number"
	validation.MsgExpectedInteger = "must be a whole number"
	validation.MsgExpectedString = "must be text"
	validation.MsgExpectedBoolean = "must be true or false"
	validation.MsgExpectedArray = "must be a list"
	validation.MsgExpectedObject = "must be an object"
	validation.MsgExpectedOneOf = "must be one of: %s"
	validation.MsgExpectedMinimumNumber = "must be at least %v"
	validation.MsgExpectedMaximumNumber = "must be at most %v"
	validation.MsgExpectedMinItems = "must hold at least %d"
	validation.MsgExpectedMaxItems = "must hold at most %d"
	validation.MsgExpectedRequiredProperty = "%s" + isNeeded
})

// New returns a server.
func New(c Config) *Server {
	useProblems()
	s := &Server{store: c.Store, forecast: c.Forecast, fetcher: c.Feeds, mailer: c.Mail, now: c.Now, log: c.Log, away: c.Unavailable, observe: c.Observe, sameSite: http.NewCrossOriginProtection(), echo: echo.New()}
	s.drawings.Most, s.records.Most = drawingsKept, recordsKept
	s.unknown = Tries{Now: c.Now, Most: mostUnknown, Window: unknownWindow}
	s.rates = rates{limit: rate.Limit(c.Limits.Rate), now: c.Now}
	s.places, s.uploads = newPlaces(max(4, 2*runtime.GOMAXPROCS(0))), newPlaces(uploadsAtOnce)
	s.proxies, s.under = c.Limits.Proxies, c.Under
	s.echo.HideBanner, s.echo.HidePort = true, true
	s.echo.HTTPErrorHandler = s.edgeError
	s.echo.Use(s.fromProxy, s.logged, s.unchanged, s.recovered)

	conf := huma.DefaultConfig("ripetide", c.Version)
	conf.Info.Description = "Harvest forecasts for pick-your-own strawberries from degree-days since bloom. " +
		"Temperatures are °C unless a unit says otherwise, heat is °C·d, weights kg, areas m², dates civil dates at the farm. " +
		"Forecasts are estimates: walk the field. Not a frost alarm."
	conf.DocsPath, conf.SchemasPath, conf.OpenAPIPath = "", "", ""
	conf.CreateHooks = nil
	conf.RejectUnknownQueryParameters = true
	if s.under != "" {
		conf.Servers = []*huma.Server{{URL: s.under}}
	}
	conf.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"key":     {Type: "http", Scheme: "bearer", Description: "A key made by \"ripetide key new\"."},
		"session": {Type: "apiKey", In: "cookie", Name: SessionCookie, Description: "Of a person who signed in in a browser; changes are taken from our own pages only."},
	}
	conf.Components.Schemas.RegisterTypeAlias(reflect.TypeFor[weather.Date](), reflect.TypeFor[dateDoc]())
	conf.Transformers = append(conf.Transformers, func(ctx huma.Context, _ string, v any) (any, error) {
		if p, ok := v.(*Problem); ok {
			q := *p
			s.locate(&q, ctx.URL().Path)
			if wait := RetryAfter(q.Status, nil); wait != "" {
				ctx.SetHeader("Retry-After", wait)
			}
			return &q, nil
		}
		return v, nil
	})
	s.huma = humaecho.New(s.echo, conf)
	s.huma.UseMiddleware(s.authorize)

	s.farmRoutes()
	s.stationRoutes()
	s.dayRoutes()
	s.qualityRoutes()
	s.outlookRoutes()
	s.feedRoutes()
	s.methodRoutes()
	s.profileRoutes()
	s.varietyRoutes()
	s.plantingRoutes()
	s.sightingRoutes()
	s.pickingRoutes()
	s.frostRoutes()
	s.sprayRoutes()
	s.blockRoutes()
	s.decisionRoutes()
	s.openingRoutes()
	s.announcingRoutes()
	s.subscriptionRoutes()
	s.toldRoutes()
	s.recipientRoutes()
	s.actualRoutes()
	s.reviewRoutes()
	s.reviewWhyRoutes()
	s.proposalRoutes()
	s.changeRoutes()
	s.forecastRoutes()
	s.designRoutes()
	s.explainRoutes()
	s.overlapRoutes()
	s.nullPointers()
	s.referenceRoutes()
	s.healthRoutes()
	return s
}

// Echo returns the router, for the pages to be added to.
func (s *Server) Echo() *echo.Echo { return s.echo }

// dateDoc documents [weather.Date].
type dateDoc struct{}

// Schema implements [huma.SchemaProvider].
func (dateDoc) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Format: "date", Description: "A civil date at the farm."}
}

// add registers an operation that asks for at least the given role.
func add[I, O any](s *Server, role Role, op huma.Operation, do func(context.Context, *I) (*O, error)) {
	if op.Metadata == nil {
		op.Metadata = map[string]any{}
	}
	op.Metadata[needs] = role
	op.Security = []map[string][]string{{"key": {}}, {"session": {}}}
	op.Extensions = map[string]any{needs: string(role)}
	_, raw := typeOf[I]().FieldByName("RawBody")
	op.SkipValidateBody = raw // Its items are read one by one, see list.go.
	op.Errors = append(op.Errors, http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound,
		http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusInternalServerError, http.StatusServiceUnavailable)
	if op.Method == http.MethodPut || op.Method == http.MethodPost {
		op.Errors = append(op.Errors, http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)
	}
	if op.MaxBodyBytes == 0 {
		op.MaxBodyBytes = bodyLimit
	}
	if op.Metadata[takesLong] != nil {
		do = inPlace(s, do)
	}
	huma.Register(s.huma, op, func(ctx context.Context, in *I) (*O, error) {
		out, err := do(ctx, in)
		if err != nil {
			return nil, s.fail(ctx, err)
		}
		return out, nil
	})
	if op.Method == http.MethodPut {
		r := s.huma.OpenAPI().Paths[op.Path].Put.Responses
		created := *r["200"]
		created.Description = "Created"
		r["201"] = &created
	}
}

// put is an answer to a PUT: 201 when the resource is new, else 200.
type put[T any] struct {
	Status int
	Body   T
}

func putDone[T any](created bool, body T) *put[T] {
	if created {
		return &put[T]{http.StatusCreated, body}
	}
	return &put[T]{http.StatusOK, body}
}

// got is an answer with a body.
type got[T any] struct{ Body T }

// FarmPath is the part of a path that names the farm. It is exported, like the
// other parts, because huma fills embedded fields of exported types only.
type FarmPath struct {
	Farm string `path:"farm" pattern:"^[a-z0-9][a-z0-9_-]{0,63}$" doc:"Identifier of the farm, a slug that its maker chose." example:"hill-farm"`
}

// by names who a change is recorded under.
func by(ctx context.Context) string { return callerOf(ctx).By() }

// logged writes one line for each request.
func (s *Server) logged(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := s.now()
		err := next(c)
		if err != nil {
			c.Error(err)
		}
		took := s.now().Sub(start)
		if s.observe != nil {
			s.observe(c.Request().Method, c.Path(), c.Response().Status, took)
		}
		s.log.InfoContext(c.Request().Context(), "request",
			slog.String("method", c.Request().Method), slog.String("route", c.Path()),
			slog.Int("status", c.Response().Status), slog.Int64("bytes", c.Response().Size),
			slog.Float64("ms", float64(took.Microseconds())/1000))
		return nil
	}
}

// recovered turns a panic into a bare 500.
func (s *Server) recovered(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			if r := recover(); r != nil {
				if r == http.ErrAbortHandler { //nolint:errorlint // By its documentation it is compared.
					panic(r)
				}
				err = fmt.Errorf("panic: %v", r)
			}
		}()
		return next(c)
	}
}
