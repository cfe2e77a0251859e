package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"
	"github.com/labstack/echo/v4"

	"ripetide/api/announce"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/forecast/memo"
	"ripetide/weather"
)

// ToldStore names what a farm tells people from.
type ToldStore interface {
	// ToldState is the same while the farm, its announcing, decisions, varieties,
	// plantings, sprays and latest forecast are; at is when any of them changed last.
	ToldState(ctx context.Context, farm string) (state string, at time.Time, err error)
}

// telling keeps what farms tell, which many ask for who have no key. Requests of
// one moment share one question to the database, and what is made is made once
// for each state of the record.
type telling struct {
	states memo.Cache[string, toldState]
	told   memo.Cache[toldKey, *told]
	files  memo.Cache[fileKey, []byte]
}

type toldState struct {
	state string
	at    time.Time
}

type toldKey struct{ farm, state string }

// told is all that a farm tells, as of a state of its record.
type told struct {
	announce.Told
	at time.Time // When any of it changed last.
}

// fileKey names a file that is made from what is told.
type fileKey struct {
	of   *told
	what string
	day  weather.Date // 0: it is the same on all days.
	opt  charts.Options
}

const (
	toldKept  = 64
	filesKept = 512
)

// told returns all that a farm tells people. The next request sees every change,
// whichever instance made it, but for one that joins a question that is being
// asked at that moment. Errors: [forecast.ErrFarmNotFound].
func (s *Server) told(ctx context.Context, farm string) (*told, error) {
	now, err := s.telling.states.Get(ctx, farm, func(ctx context.Context) (toldState, bool, error) {
		state, at, err := s.store.ToldState(ctx, farm)
		return toldState{state, at}, false, err
	})
	if err != nil {
		return nil, err
	}
	return s.telling.told.Get(ctx, toldKey{farm, now.state}, func(ctx context.Context) (*told, bool, error) {
		t, err := s.gatherTold(ctx, farm)
		if err != nil {
			return nil, false, err
		}
		return &told{*t, now.at}, true, nil
	})
}

func (s *Server) gatherTold(ctx context.Context, farm string) (*announce.Told, error) {
	t := &announce.Told{Varieties: map[string]string{}}
	var err error
	if t.Farm, err = s.store.Farm(ctx, farm); err != nil {
		return nil, err
	}
	if t.Announcing, err = s.store.Announcing(ctx, farm); err != nil {
		return nil, err
	}
	if t.Decisions, err = s.store.Decisions(ctx, farm, nil); err != nil {
		return nil, err
	}
	varieties, err := s.store.Varieties(ctx, farm)
	if err != nil {
		return nil, err
	}
	for _, v := range varieties {
		t.Varieties[v.ID] = v.Name
	}
	z, err := s.store.LatestForecast(ctx, farm)
	if errors.Is(err, forecast.ErrForecastNotFound) {
		return t, nil
	}
	if err != nil {
		return nil, err
	}
	t.MadeAt = z.MadeAt
	if t.Forecast, err = s.forecast.Decode(ctx, z); err != nil {
		return nil, err
	}
	_, t.Shut, err = shutThrough(ctx, s.sprayBook(), t.Farm)
	return t, err
}

// public is told for a farm that lets everybody see anything. One that does not
// is not there.
func (s *Server) public(ctx context.Context, farm string) (*told, error) {
	t, err := s.told(ctx, farm)
	if err == nil && !t.Announcing.Public.On {
		err = forecast.ErrFarmNotFound
	}
	return t, err
}

// Public returns what everybody may see of a farm today, and since when it has
// been so. Errors: [forecast.ErrFarmNotFound], also when the farm shows nothing.
func (s *Server) Public(ctx context.Context, farm string) (p announce.Public, since time.Time, err error) {
	t, err := s.public(ctx, farm)
	if err != nil {
		return announce.Public{}, time.Time{}, err
	}
	today, since, err := s.today(t)
	if err != nil {
		return announce.Public{}, time.Time{}, err
	}
	return t.Public(today), since, nil
}

// today returns the farm's today, and since when what is told today has been so:
// words change with the day too.
func (s *Server) today(t *told) (weather.Date, time.Time, error) {
	now := s.now()
	today, err := t.Farm.Today(now)
	if err != nil {
		return 0, time.Time{}, err
	}
	zone, err := t.Farm.Location()
	if err != nil {
		return 0, time.Time{}, err
	}
	y, m, d := today.Civil()
	since := time.Date(y, m, d, 0, 0, 0, 0, zone)
	if t.at.After(since) {
		since = t.at
	}
	return today, since, nil
}

// File is what a program asks for again and again.
type File struct {
	Type  string
	Cache string // The header Cache-Control; "": that of the response stays.
	Since time.Time
	Body  []byte
}

// Serve answers with a file, or with nothing new if the asker has it.
func (f File) Serve(c echo.Context) {
	h := c.Response().Header()
	sum := sha256.Sum256(f.Body)
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	h.Set("Content-Type", f.Type)
	h.Set("X-Content-Type-Options", "nosniff")
	if f.Cache != "" {
		h.Set("Cache-Control", f.Cache)
	}
	http.ServeContent(c.Response(), c.Request(), "", f.Since, bytes.NewReader(f.Body))
}

// How long others may keep what everybody may see: it may be switched off.
const (
	cachePublic  = "public, max-age=600"
	cachePrivate = "private, no-cache"
)

const (
	calendarType = "text/calendar; charset=utf-8"
	atomType     = "application/atom+xml; charset=utf-8"
)

func (s *Server) calendarFile(ctx context.Context, t *told) (File, error) {
	body, err := s.telling.files.Get(ctx, fileKey{of: t, what: "calendar"}, func(context.Context) ([]byte, bool, error) {
		body, err := t.Calendar()
		return body, true, err
	})
	return File{Type: calendarType, Cache: cachePrivate, Since: t.at, Body: body}, err
}

func (s *Server) changesFile(ctx context.Context, t *told, cache string) (File, error) {
	today, since, err := s.today(t)
	if err != nil {
		return File{}, err
	}
	body, err := s.telling.files.Get(ctx, fileKey{of: t, what: "changes", day: today}, func(context.Context) ([]byte, bool, error) {
		page := ""
		if t.Announcing.Public.On {
			page = s.Mounted("/at/" + t.Farm.ID)
		}
		body, err := t.Changes(s.now(), page)
		return body, true, err
	})
	return File{Type: atomType, Cache: cache, Since: since, Body: body}, err
}

// widthStep rounds the widths of pictures, so that nobody has one drawn for each
// px.
const widthStep = 40

func (s *Server) ripeFile(ctx context.Context, t *told, ending string, in *ripePath) (File, error) {
	today, since, err := s.today(t)
	if err != nil {
		return File{}, err
	}
	opt := pictureOptions(in.Theme, (in.Width+widthStep/2)/widthStep*widthStep)
	opt.Fixed = true
	body, err := s.telling.files.Get(ctx, fileKey{t, ending, today, opt}, func(context.Context) ([]byte, bool, error) {
		var out bytes.Buffer
		c := RipeWeekChart(t.Public(today), t.Language())
		write := c.WriteSVG
		if ending == "png" {
			write = c.WritePNG
		}
		err := write(&out, opt)
		return out.Bytes(), true, err
	})
	return File{Type: pictureTypes[ending], Cache: cachePublic, Since: since, Body: body}, err
}

// RipeWeekChart is the picture of what everybody may see.
func RipeWeekChart(p announce.Public, l *announce.Language) charts.RipeWeek {
	c := charts.RipeWeek{
		Heading: p.Farm, Finding: p.Opening, Head: p.Labels.Ripe, Next: l.Coming(p.Next), Key: p.Labels.Beads, Basis: p.AsOf,
	}
	if p.Caution != "" {
		c.Basis += " " + p.Caution
	}
	for _, d := range p.Days {
		w := d.Date.Weekday()
		c.Days = append(c.Days, charts.WeekDay{Name: d.Name, Number: d.Number, Weekend: w == time.Saturday || w == time.Sunday})
	}
	for _, r := range p.Ripe[:min(len(p.Ripe), mostRipe)] {
		c.Rows = append(c.Rows, charts.RipeRow{Name: r.Name, On: slices.Clone(r.On)})
	}
	return c
}

// mostRipe is how many varieties are drawn.
const mostRipe = 40

type secretPath struct {
	Secret string `path:"secret" doc:"Of a secret address."`
}

type ripePath struct {
	FarmPath
	Theme string `query:"theme" enum:"light,dark" default:"light" required:"false"`
	Width int    `query:"width" minimum:"320" maximum:"1200" default:"480" required:"false" doc:"In px, rounded to 40."`
}

// bySecret returns what the farm of a secret address tells.
func (s *Server) bySecret(ctx context.Context, secret string) (*told, error) {
	x, err := s.store.Subscription(ctx, HashKey(secret))
	if err != nil {
		return nil, err
	}
	if now := s.now(); x.LastUsedAt == nil || now.Sub(*x.LastUsedAt) >= time.Minute {
		if err := s.store.TouchSubscription(ctx, x.Farm, x.ID, now); err != nil {
			return nil, err
		}
	}
	return s.told(ctx, x.Farm)
}

func (s *Server) toldRoutes() {
	s.telling.told.Most, s.telling.files.Most = toldKept, filesKept
	const subscribing = "Subscribing"
	const calendar = "an event for each opening, heaviest week and last day that was decided, as it was decided last, and if the farm wishes one for when each variety is expected"
	const changes = "what the farm has decided and changed, in words for everybody"

	serveFile(s, Reader, fileOperation("calendar", "/v1/farms/{farm}/calendar.ics", subscribing, calendarType, "The calendar (RFC 5545): "+calendar),
		func(ctx context.Context, in *FarmPath) (File, error) {
			t, err := s.told(ctx, in.Farm)
			if err != nil {
				return File{}, err
			}
			return s.calendarFile(ctx, t)
		})
	serveFile(s, Reader, fileOperation("changes", "/v1/farms/{farm}/changes.atom", subscribing, atomType, "The feed of changes (Atom): "+changes),
		func(ctx context.Context, in *FarmPath) (File, error) {
			t, err := s.told(ctx, in.Farm)
			if err != nil {
				return File{}, err
			}
			return s.changesFile(ctx, t, cachePrivate)
		})
	serveFile(s, "", fileOperation("secret-calendar", "/subscribe/{secret}/calendar.ics", subscribing, calendarType, "The calendar at a secret address"),
		func(ctx context.Context, in *secretPath) (File, error) {
			t, err := s.bySecret(ctx, in.Secret)
			if err != nil {
				return File{}, err
			}
			return s.calendarFile(ctx, t)
		})
	serveFile(s, "", fileOperation("secret-changes", "/subscribe/{secret}/changes.atom", subscribing, atomType, "The feed of changes at a secret address"),
		func(ctx context.Context, in *secretPath) (File, error) {
			t, err := s.bySecret(ctx, in.Secret)
			if err != nil {
				return File{}, err
			}
			return s.changesFile(ctx, t, cachePrivate)
		})
	serveFile(s, "", fileOperation("public-changes", "/at/{farm}/changes.atom", "Public", atomType, "The feed of changes of a farm that shows it to everybody"),
		func(ctx context.Context, in *FarmPath) (File, error) {
			t, err := s.public(ctx, in.Farm)
			if err != nil {
				return File{}, err
			}
			return s.changesFile(ctx, t, cachePublic)
		})
	for _, ending := range []string{"svg", "png"} {
		serveFile(s, "", fileOperation("public-ripe-"+ending, "/at/{farm}/ripe."+ending, "Public", pictureTypes[ending], "What is ripe this week, as a picture for other pages"),
			func(ctx context.Context, in *ripePath) (File, error) {
				t, err := s.public(ctx, in.Farm)
				if err != nil {
					return File{}, err
				}
				return s.ripeFile(ctx, t, ending, in)
			})
	}
}

func fileOperation(id, path, tag, mediaType, summary string) huma.Operation {
	schema := &huma.Schema{Type: huma.TypeString}
	if mediaType == pictureTypes["png"] {
		schema.Format = "binary"
	}
	return huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: id, Tags: []string{tag}, Summary: summary,
		Description: "With ETag and Last-Modified.",
		Responses: map[string]*huma.Response{
			"200": {Description: summary, Content: map[string]*huma.MediaType{mediaType: {Schema: schema}}},
			"304": {Description: "Nothing new"},
		},
		Errors: []int{http.StatusNotFound},
	}
}

// serveFile registers an operation that answers with a file, also to HEAD. With
// no role everybody may ask.
func serveFile[I any](s *Server, role Role, op huma.Operation, do func(context.Context, *I) (File, error)) {
	stream := func(ctx context.Context, in *I) (*huma.StreamResponse, error) {
		f, err := do(ctx, in)
		if err != nil {
			return nil, err
		}
		return &huma.StreamResponse{Body: func(ctx huma.Context) { f.Serve(humaecho.Unwrap(ctx)) }}, nil
	}
	for _, method := range []string{http.MethodGet, http.MethodHead} {
		op := op
		op.Method, op.Hidden = method, method == http.MethodHead
		if role == "" {
			open(s, op, stream)
		} else {
			add(s, role, op, stream)
		}
	}
}

// open registers an operation for everybody.
func open[I, O any](s *Server, op huma.Operation, do func(context.Context, *I) (*O, error)) {
	op.Security = []map[string][]string{}
	op.Errors = append(op.Errors, http.StatusUnprocessableEntity, http.StatusInternalServerError, http.StatusServiceUnavailable)
	huma.Register(s.huma, op, func(ctx context.Context, in *I) (*O, error) {
		out, err := do(ctx, in)
		if err != nil {
			return nil, s.fail(ctx, err)
		}
		return out, nil
	})
}
