package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/api/mail"
	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// Errors of the edge itself.
var (
	// ErrUnauthorized is a request without a key that is known and valid.
	ErrUnauthorized = errors.New("api: no valid key")
	// ErrForbidden is a request that the role of its key does not allow.
	ErrForbidden = errors.New("api: role does not allow this")
	// ErrKeyOfFarm is a farm's key where only the installation's will do.
	ErrKeyOfFarm = errors.New("api: a key of one farm cannot create another")
	// ErrForeignPage is a change that a page of another site had a signed-in
	// browser send.
	ErrForeignPage = errors.New("api: sent by a page of another site")
	errUnavailable = errors.New("api: the database is away")
	errNoAdvice    = errors.New("api: nothing is advised")
	errNoneGood    = errors.New("api: no item of the list was good")
)

// Problem is an RFC 9457 problem.
type Problem struct {
	Type     string  `json:"type" doc:"Address of a short text about this kind of problem, or about:blank." example:"/problems/invalid-body"`
	Title    string  `json:"title" doc:"The kind of problem in a few words."`
	Status   int     `json:"status" doc:"The HTTP status."`
	Detail   string  `json:"detail,omitempty" doc:"What is wrong this time."`
	Instance string  `json:"instance,omitempty" doc:"The path that was asked for."`
	Errors   []Fault `json:"errors,omitempty" doc:"Every fault of the request, in order."`
}

// Fault is one fault of a request.
type Fault struct {
	Pointer   string `json:"pointer,omitempty" doc:"JSON pointer to the fault in the body." example:"/plantings/0/area_m2"`
	Parameter string `json:"parameter,omitempty" doc:"The parameter at fault."`
	Detail    string `json:"detail" doc:"What is wrong with it."`
}

// Error implements error.
func (p *Problem) Error() string { return p.Title }

// GetStatus implements [huma.StatusError].
func (p *Problem) GetStatus() int { return p.Status }

// ContentType implements [huma.ContentTypeFilter].
func (p *Problem) ContentType(string) string { return "application/problem+json" }

type kind struct {
	err    error
	status int
	slug   string // Of the type's address; "": about:blank.
	title  string
	about  string // Served at the type's address.
}

// kinds is the only table from errors to problems. The first that matches
// counts.
var kinds = []kind{
	{ErrUnauthorized, http.StatusUnauthorized, "no-key", "No valid key", "Send a key as \"Authorization: Bearer KEY\". The command \"ripetide key new\" makes one."},
	{ErrKeyOfFarm, http.StatusForbidden, "farm-key", "Key belongs to one farm", "Only a key that belongs to the installation creates farms."},
	{ErrForeignPage, http.StatusForbidden, "foreign-page", "Sent by another site", "A signed-in browser was made to send this by a page that is not ours. Nothing was changed."},
	{ErrForbidden, http.StatusForbidden, "role", "Not allowed for this role", "The role of the key allows reading, or recording, but not this."},
	{forecast.ErrFarmNotFound, http.StatusNotFound, "farm-not-found", "Farm not found", "There is no such farm, or the key belongs to another one."},
	{forecast.ErrStationNotFound, http.StatusNotFound, "station-not-found", "Station not found", "The farm has no such station."},
	{weather.ErrOutlookNotFound, http.StatusNotFound, "outlook-not-found", "Outlook not found", "No outlook was sent for the station, or none that had been received then."},
	{feed.ErrFeedNotFound, http.StatusNotFound, "feed-not-found", "Feed not found", "The station has no such feed, or it was taken away."},
	{feed.ErrBusy, http.StatusConflict, "feed-busy", "Feed is being fetched", "Somebody is fetching it right now. Read it again in a moment."},
	{feed.ErrTooSoon, http.StatusConflict, "feed-too-soon", "Too soon to fetch again", "The feed was fetched a moment ago, or its service does not want to be asked yet."},
	{weather.ErrVerdictNotFound, http.StatusNotFound, "verdict-not-found", "Verdict not found", "Nobody has given a verdict on this day, or it was taken back."},
	{forecast.ErrVarietyNotFound, http.StatusNotFound, "variety-not-found", "Variety not found", "The farm has no such variety."},
	{forecast.ErrPlantingNotFound, http.StatusNotFound, "planting-not-found", "Planting not found", "The farm has no such planting."},
	{forecast.ErrSightingNotFound, http.StatusNotFound, "sighting-not-found", "Sighting not found", "The farm has no such sighting, or it was withdrawn or replaced."},
	{forecast.ErrPickingNotFound, http.StatusNotFound, "picking-not-found", "Picking not found", "Nothing is on record as picked of the planting on that date, or it was taken back."},
	{forecast.ErrFrostNotFound, http.StatusNotFound, "frost-not-found", "Frost not found", "No frost of the planting is on record for that date, or it was taken back."},
	{forecast.ErrDecisionNotFound, http.StatusNotFound, "decision-not-found", "Decision not found", "Nothing of this kind was decided of the season, or it was taken back."},
	{forecast.ErrSubscriptionNotFound, http.StatusNotFound, "subscription-not-found", "Address not found", "There is no such address to subscribe to, or it was revoked."},
	{forecast.ErrRecipientNotFound, http.StatusNotFound, "recipient-not-found", "Recipient not found", "The farm sends no morning mail to such a recipient, or no more."},
	{mail.ErrNotSetUp, http.StatusConflict, "mail-not-set-up", "Mail is not set up", "Whoever runs the service names a mail server, and for links the address of the pages, in its settings: see RIPETIDE_SMTP and RIPETIDE_PUBLIC_URL. Everything else works without."},
	{mail.ErrTooMany, http.StatusTooManyRequests, "mail-tests", "Too many tests", "Tests of the mail are limited to 20 within an hour."},
	{forecast.ErrSprayNotFound, http.StatusNotFound, "spray-not-found", "Spray not found", "The farm has no such spray, or it was taken back or done."},
	{forecast.ErrForecastNotFound, http.StatusNotFound, "forecast-not-found", "Forecast not found", "No such forecast was frozen. POST …/forecasts makes one."},
	{forecast.ErrProposalNotFound, http.StatusNotFound, "proposal-not-found", "Proposal not found", "Past seasons do not propose this, or no more; or it was not accepted."},
	{forecast.ErrProposalOvertaken, http.StatusConflict, "proposal-overtaken", "Overtaken", "The value has been changed since, or the proposal was accepted before: take it back first."},
	{forecast.ErrSeasonRuns, http.StatusConflict, "season-runs", "Fruit is on its way", "Constants stay as they are from the first bloom to the last pick, so that a season is forecast by one set of them."},
	{forecast.ErrTooFewYears, http.StatusConflict, "too-few-years", "Too few past years of weather", "Past years stand in for the weather ahead; at least five with 95 % of their days are needed. Load older daily records."},
	{forecast.ErrNoBloom, http.StatusConflict, "no-bloom", "No bloom on record", "Without any bloom on record bloom cannot be forecast, and a season that has not begun has nothing else to go by. Enter when plantings bloomed in past seasons."},
	{errNoAdvice, http.StatusConflict, "no-advice", "Nothing to advise from", "The forecast has no days to open on: nothing can be forecast yet, or it was frozen by a program that gave no advice. The address without .svg or .png tells what is known."},
	{errNoStory, http.StatusConflict, "no-story", "Planting has not bloomed", "A planting's story is drawn from its bloom on, and bloom was not seen yet. The address without .svg or .png tells what is known."},
	{errNoProfile, http.StatusConflict, "no-profile", "No past season to compare", "A method is tried on past seasons of which bloom and ripe fruit are on record, and there is none. The address without .svg or .png tells what is missing."},
	{forecast.ErrStagesOutOfOrder, http.StatusConflict, "stages-out-of-order", "Stages out of order", "The stages of a planting come in the order bloom_10, bloom_full, first_ripe, peak, last_pick, and not before a \"not yet\"."},
	{forecast.ErrAsOfAhead, http.StatusUnprocessableEntity, "as-of-ahead", "As-of date is ahead of today", "A forecast is made as of the farm's today or of an earlier day."},
	{forecast.ErrInvalid, http.StatusUnprocessableEntity, "invalid-body", "Invalid value", "The request could be read, but a value in it cannot be. Each fault is listed with its place."},
	{errNoneGood, http.StatusUnprocessableEntity, "none-good", "Nothing in the list was good", "Good items of a list are kept and bad ones told one by one. This list had no good one."},
	{weather.ErrInvalidDate, http.StatusUnprocessableEntity, "invalid-date", "Invalid date", "Dates are YYYY-MM-DD, of the calendar, in the years 1700 to 2400."},
	{weather.ErrUnitUnknown, http.StatusUnprocessableEntity, "unit-unknown", "Unit unknown", "The file does not say whether it is in °C or °F: say it with ?unit=C or ?unit=F."},
	{weather.ErrAmbiguous, http.StatusUnprocessableEntity, "ambiguous", "File can be read in more than one way", "The file leaves something open that is not guessed. Each question is listed with the parameter that answers it; POST …/days/preview shows the choices."},
	{weather.ErrOutlook, http.StatusUnprocessableEntity, "outlook-file", "Predicted days where observed ones are wanted", "The file holds an outlook, or it holds observed days where an outlook is wanted."},
	{weather.ErrUnitConflict, http.StatusUnprocessableEntity, "unit-conflict", "Units contradict each other", "The file says one unit and the request another."},
	{weather.ErrWrongUnit, http.StatusUnprocessableEntity, "wrong-unit", "Not in the unit it says", "So many days are hotter than any air that the values cannot be °C. Nothing was kept."},
	{weather.ErrUnknownFormat, http.StatusUnprocessableEntity, "unknown-format", "Format not recognised", "The file was not recognised. A plain CSV has a header with date, min and max."},
	{weather.ErrBadHeader, http.StatusUnprocessableEntity, "bad-header", "Header not understood", "A plain CSV has a header with date, min and max (or tmin and tmax), with _c or _f for the unit."},
	{weather.ErrNoRows, http.StatusUnprocessableEntity, "no-rows", "No rows", "The file holds no row of data."},
	{forecast.ErrBusy, http.StatusServiceUnavailable, "busy", "Busy", "Another writer kept the database for too long. Nothing was kept; the same request may go through in a moment."},
	{errUnavailable, http.StatusServiceUnavailable, "unavailable", "Records cannot be reached", "The database does not answer, or cannot write now. The same request may go through in a moment. Whether a change that was under way was kept is not known; days, sightings, pickings and settings may be sent again, nothing is doubled."},
	{errTooMany, http.StatusTooManyRequests, "too-many", "Too many requests", "This key, or this address, asks too often, or has sent too many keys that nobody has. Retry-After says when to ask again."},
	{weather.ErrTooLarge, http.StatusRequestEntityTooLarge, "too-large", "Too large", "The body, or what it unpacks to, is larger than the service takes. Send it in parts, or use the command \"ripetide load\"."},
	{weather.ErrDamaged, http.StatusBadRequest, "damaged", "Damaged file", "The file could not be unpacked or read to its end. Nothing was kept."},
}

// problemOf returns the problem that err is. What the table does not know is a
// bare 500: the error's text may hold what the database said.
func problemOf(err error) *Problem {
	if p, ok := errors.AsType[*Problem](err); ok {
		return p
	}
	for _, k := range kinds {
		if !errors.Is(err, k.err) {
			continue
		}
		p := &Problem{Type: "about:blank", Title: k.title, Status: k.status}
		if k.slug != "" {
			p.Type = "/problems/" + k.slug
		}
		var d interface{ Detail() string }
		if errors.As(err, &d) {
			p.Detail = d.Detail()
		}
		for _, fe := range fieldErrors(err) {
			p.Errors = append(p.Errors, faultOf(fe))
		}
		if fe, ok := errors.AsType[*weather.FileError](err); ok {
			for _, q := range fe.Questions() {
				p.Errors = append(p.Errors, Fault{Parameter: q.Option, Detail: q.Text + " One of: " + strings.Join(q.Choices, ", ") + "."})
			}
		}
		return p
	}
	return &Problem{Type: "about:blank", Title: http.StatusText(http.StatusInternalServerError), Status: http.StatusInternalServerError}
}

// fieldErrors are all that err wraps, in order.
func fieldErrors(err error) (out []*forecast.FieldError) {
	switch x := err.(type) { //nolint:errorlint // It is taken apart by hand.
	case *forecast.FieldError:
		return []*forecast.FieldError{x}
	case interface{ Unwrap() error }:
		return fieldErrors(x.Unwrap())
	case interface{ Unwrap() []error }:
		for _, e := range x.Unwrap() {
			out = append(out, fieldErrors(e)...)
		}
	}
	return out
}

// fail turns err into the problem to answer with and logs what only the log
// may know.
func (s *Server) fail(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	p := problemOf(err)
	if p.Status == http.StatusInternalServerError {
		if errors.Is(err, context.Canceled) {
			return &Problem{Type: "about:blank", Title: "Request given up", Status: 499}
		}
		s.log.ErrorContext(ctx, "request failed", slog.String("error", err.Error()))
		if s.away != nil && s.away(err) {
			return problemOf(errUnavailable)
		}
	}
	return p
}

// RetryAfter is the header for an answer of this status to err: the seconds after
// which to ask again; "": it would not help.
func RetryAfter(status int, err error) string {
	if e, ok := errors.AsType[*tooManyError](err); ok {
		return strconv.Itoa(e.seconds())
	}
	switch status {
	case http.StatusServiceUnavailable:
		return retryAfter
	case http.StatusTooManyRequests:
		return "60"
	}
	return ""
}

// Problem returns the problem that err is, as the API would answer it, and logs
// what only the log may know.
func (s *Server) Problem(ctx context.Context, err error) *Problem {
	return problemOf(s.fail(ctx, err))
}

// newProblem makes huma's own errors problems of ours: those of reading and
// checking a request.
func newProblem(status int, msg string, errs ...error) huma.StatusError {
	if status == http.StatusInternalServerError && msg == "cannot read request body" {
		// Its sender broke off: that is no fault of ours.
		p := newProblem(http.StatusBadRequest, msg).(*Problem)
		p.Detail = "the body ended before its end"
		return p
	}
	p := &Problem{Type: "about:blank", Title: http.StatusText(status), Status: status}
	seen := map[string]bool{}
	for _, err := range errs {
		if err == nil {
			continue
		}
		f := faultOf(err)
		if status == http.StatusBadRequest && f.Pointer != "" {
			continue // Of a body that could not be read nothing else can be said.
		}
		if place := f.Pointer + "\x00" + f.Parameter; !seen[place] {
			seen[place] = true
			p.Errors = append(p.Errors, f)
		}
	}
	switch {
	case status == http.StatusUnprocessableEntity:
		p.Type, p.Title = "/problems/invalid-body", "Invalid value"
	case status == http.StatusBadRequest && strings.Contains(msg, "body is required"):
		p.Detail = "a body is needed"
	case status == http.StatusBadRequest:
		p.Type, p.Title = "/problems/unreadable", "Unreadable body"
		if len(p.Errors) == 0 {
			p.Detail = "the body is not JSON of the shape that is asked for"
		}
	case status == http.StatusUnsupportedMediaType:
		p.Detail, p.Errors = "Content-Type must be application/json", nil
	case status == http.StatusRequestEntityTooLarge:
		p.Type, p.Title = "/problems/too-large", "Too large"
		p.Detail = "the body is larger than the service takes"
	case status < http.StatusInternalServerError:
		p.Detail = msg
	}
	return p
}

// isNeeded ends what huma says of a member that is missing.
const isNeeded = " is needed"

// faultOf translates one of huma's or the domain's errors.
func faultOf(err error) Fault {
	if fe, ok := errors.AsType[*forecast.FieldError](err); ok {
		return Fault{Pointer: pointer(fe.Field), Detail: fe.Reason}
	}
	var d huma.ErrorDetailer
	if !errors.As(err, &d) {
		return Fault{Detail: err.Error()}
	}
	e := d.ErrorDetail()
	place, rest, _ := strings.Cut(e.Location, ".")
	switch {
	case place == "body":
		if name, missing := strings.CutSuffix(e.Message, isNeeded); missing { // Of the object around it.
			return Fault{Pointer: pointer(strings.TrimPrefix(rest+"."+name, ".")), Detail: strings.TrimSpace(isNeeded)}
		}
		return Fault{Pointer: pointer(rest), Detail: e.Message}
	case e.Location == "":
		return Fault{Detail: e.Message}
	}
	return Fault{Parameter: cmp.Or(rest, place), Detail: e.Message}
}

// pointer turns "days[3].min" into the JSON pointer "/days/3/min".
func pointer(path string) string {
	if path == "" {
		return ""
	}
	path = strings.NewReplacer("~", "~0", "/", "~1").Replace(path)
	return "/" + strings.NewReplacer(".", "/", "[", "/", "]", "").Replace(path)
}

// invalid gathers domain faults into one problem; nil when there are none.
func invalid(errs []error) error {
	if len(errs) == 0 {
		return nil
	}
	return newProblem(http.StatusUnprocessableEntity, "", errs...)
}

// problemTexts returns the texts that problem types are served with.
func problemTexts() map[string]string {
	texts := map[string]string{
		"unreadable": "Unreadable body\n\nThe body could not be read as what its Content-Type says.\n",
	}
	for _, k := range kinds {
		if k.slug != "" && k.about != "" {
			texts[k.slug] = fmt.Sprintf("%s\n\n%s\n", k.title, k.about)
		}
	}
	return texts
}

// problemSlugs returns the known slugs in order.
func problemSlugs() []string {
	var out []string
	for s := range problemTexts() {
		out = append(out, s)
	}
	slices.Sort(out)
	return out
}
