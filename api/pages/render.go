package pages

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

//go:embed template
var templateFiles embed.FS

// names of the pages; each is a file of its own beside the layout.
var names = []string{"sign-in", "link", "message", "home", "book", "book-form", "book-list", "book-seen", "setup", "people", "people-once", "people-revoke", "people-changes", "mail", "morning", "row", "sprays", "sprays-form", "season", "story", "review", "order", "proposals", "weather", "weather-station", "weather-day", "weather-file", "weather-feed", "opening", "opening-sheet", "opening-words", "opening-addresses"}

// parsed are the pages by name.
var parsed = func() map[string]*template.Template {
	out := map[string]*template.Template{}
	for _, n := range names {
		out[n] = template.Must(template.New("layout.html").Funcs(template.FuncMap{
			"day": Day, "dayYear": DayYear, "count": count, "list": func(xs ...any) []any { return xs }, "split": strings.Split, "add": func(a, b int) int { return a + b },
		}).ParseFS(templateFiles, "template/layout.html", "template/form.html", "template/drop.html", "template/"+n+".html"))
	}
	return out
}()

// shell is what the layout shows around a page.
type shell struct {
	Title   string
	Version string
	Visit   *visit // Nil for nobody.
	Farm    *forecast.Farm
	Who     string
	Owner   bool   // May set up.
	Grower  bool   // May record.
	At      string // Which part of the navigation the page belongs to.
	Season  int
	Page    any

	Me     string // Identifies who is signed in, for what their browser keeps.
	Made   string // When the page was made, as people say it.
	MadeMs int64  // The same in ms since 1970.
}

// render writes a page. v is nil for nobody signed in.
func (p *Pages) render(c echo.Context, status int, v *visit, name, title string, page any) error {
	part, _, _ := strings.Cut(name, "-") // "book-form" is a page of the Book.
	s := shell{Title: title, Version: p.files, Visit: v, At: part, Page: page}
	if v != nil {
		s.Who = v.who.Name
		if v.farm.ID != "" {
			s.Farm, s.Owner, s.Grower = &v.farm, v.may(api.Owner), v.may(api.Grower)
			now := p.Now().In(v.zone)
			s.Me, s.MadeMs = v.who.KeyID, now.UnixMilli()
			s.Made = Day(&v.farm, weather.DateIn(now)) + ", " + now.Format("15:04")
			if today, err := v.farm.Today(p.Now()); err == nil {
				s.Season = forecast.SeasonOf(today, v.farm.Southern())
			}
		}
	}
	var out bytes.Buffer
	if err := parsed[name].Execute(&out, s); err != nil {
		return fmt.Errorf("render %s: %w", name, err)
	}
	return c.HTMLBlob(status, out.Bytes())
}

// message is a page that says one thing.
type message struct{ Text string }

// failed answers an error as a page.
func (p *Pages) failed(c echo.Context, err error) error {
	status, title, text := p.explain(c.Request().Context(), err)
	if wait := api.RetryAfter(status, err); wait != "" {
		c.Response().Header().Set("Retry-After", wait)
	}
	if rerr := p.render(c, status, nil, "message", title, message{text}); rerr != nil {
		return rerr
	}
	return nil
}

// explain says what an error means to somebody in front of a page.
func (p *Pages) explain(ctx context.Context, err error) (status int, title, text string) {
	if errors.Is(err, errNoPage) {
		return http.StatusNotFound, notFound, noSuchPage
	}
	pr := p.API.Problem(ctx, err)
	switch {
	case pr.Status == http.StatusInternalServerError:
		return pr.Status, wentWrong, inTheLog
	case errors.Is(err, forecast.ErrFarmNotFound):
		return pr.Status, notFound, noSuchPage
	case pr.Detail != "":
		return pr.Status, pr.Title, pr.Detail
	}
	// What no form of the page was prepared for.
	if fe, ok := errors.AsType[*forecast.FieldError](err); ok {
		return pr.Status, pr.Title, sentence("the " + strings.ReplaceAll(fe.Field, "_", " ") + " " + fe.Reason)
	}
	return pr.Status, pr.Title, pr.Title + "."
}

// today returns the farm's today.
func (p *Pages) today(v *visit) (weather.Date, error) { return v.farm.Today(p.Now()) }

// Day writes a date as people say it: weekday, day and month.
func Day(f *forecast.Farm, d weather.Date) string { return f.Day(d) }

// DayYear is Day with the year.
func DayYear(f *forecast.Farm, d weather.Date) string { return f.DayYear(d) }

// count writes a number with its noun.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return figure(float64(n)) + " " + many
}

// ago writes how long ago an instant was, in plain words.
func ago(now, then time.Time) string {
	switch d := now.Sub(then); {
	case d < 2*time.Minute:
		return "just now"
	case d < 2*time.Hour:
		return fmt.Sprintf("%d minutes ago", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d hours ago", int(d.Hours()))
	default:
		return fmt.Sprintf("%d days ago", int(d.Hours()/24))
	}
}
