package api

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// OutlookBody is an outlook as it is put.
type OutlookBody struct {
	IssuedAt string         `json:"issued_at" format:"date-time" doc:"When the weather service issued it, with its offset from UTC; not later than now. It tells outlooks apart." example:"2025-06-03T05:30:00+02:00"`
	Unit     string         `json:"unit" enum:"C,F" doc:"Of min and max: never guessed."`
	Days     []OutlookDayIn `json:"days" minItems:"1" maxItems:"16" doc:"Consecutive days, the first being the day it was issued on, at the farm, or the one after."`
}

// OutlookDayIn is a predicted day as it is sent, in the unit of its body.
type OutlookDayIn struct {
	Date string   `json:"date" format:"date"`
	Min  *float64 `json:"min" nullable:"false" doc:"Lowest temperature of the day."`
	Max  *float64 `json:"max" nullable:"false" doc:"Highest temperature of the day."`
}

// OutlookOut is an outlook on record, °C.
type OutlookOut struct {
	Station    string          `json:"station"`
	IssuedAt   time.Time       `json:"issued_at"`
	ReceivedAt time.Time       `json:"received_at" doc:"Forecasts with an earlier known_at do not see these days."`
	Version    int             `json:"version" doc:"1 as first received, 2 what was first put in its place, and so on."`
	Days       []OutlookDayOut `json:"days"`
}

// OutlookDayOut is a predicted day, °C.
type OutlookDayOut struct {
	Date weather.Date `json:"date"`
	Min  float64      `json:"min"`
	Max  float64      `json:"max"`
}

// OutlookList is a list of outlooks.
type OutlookList struct {
	Outlooks []OutlookOut `json:"outlooks"`
}

type putOutlook struct {
	StationPath
	Body OutlookBody

	outlook weather.Outlook // What Resolve made of the body.
}

type postOutlook struct {
	StationPath
	FileParams
	IssuedAt time.Time `query:"issued_at" required:"false" doc:"When the weather service issued it, of a file that does not tell."`
}

// OutlookFileOut is an outlook that was sent as a file.
type OutlookFileOut struct {
	OutlookOut
	Format     string       `json:"format" doc:"That was told by the content."`
	Understood []FindingOut `json:"understood" doc:"How the file was read."`
	Refused    []RefusedDay `json:"refused" doc:"Days of the file that were left out, such as the rest of a day that has begun."`
}

type getOutlook struct {
	StationPath
	KnownAt time.Time `query:"known_at" required:"false" doc:"Read what had been received by this instant."`
}

type listOutlooks struct {
	StationPath
	From    string    `query:"from" format:"date" required:"false" doc:"Only those issued on this date at the farm or later."`
	To      string    `query:"to" format:"date" required:"false" doc:"Only those issued on this date at the farm or earlier."`
	KnownAt time.Time `query:"known_at" required:"false" doc:"Read what had been received by this instant."`
}

// Resolve adds the faults that the schema cannot tell. Those that need the
// farm's calendar are among them, so that all are told at once.
func (in *putOutlook) Resolve(ctx huma.Context) []error {
	c, _ := ctx.Context().Value(clockKey{}).(clock)
	draft := weather.OutlookDraft{Unit: weather.Unit(in.Body.Unit)}
	var at time.Time
	if at.UnmarshalText([]byte(in.Body.IssuedAt)) == nil {
		draft.IssuedAt = &at
	}
	for _, d := range in.Body.Days {
		day := weather.OutlookDay{Min: d.Min, Max: d.Max}
		if date, err := weather.ParseDate(d.Date); err == nil {
			day.Date = &date
		}
		draft.Days = append(draft.Days, day)
	}
	outlook, faults := weather.NewOutlook(draft, c.zone, c.now)
	in.outlook = outlook
	var errs []error
	for _, f := range faults {
		errs = append(errs, &forecast.FieldError{Field: f.Field, Reason: f.Reason})
	}
	return errs
}

// clock is what the body of a request is checked against: the instant, and the
// farm's calendar.
type clock struct {
	now  time.Time
	zone *time.Location
}

type clockKey struct{}

// atStation finds the farm and the station of a request before its body is
// read, and sets the clock of the farm.
func (s *Server) atStation(ctx huma.Context, next func(huma.Context)) {
	farm, err := s.store.Farm(ctx.Context(), ctx.Param("farm"))
	c := clock{now: s.now()}
	if err == nil {
		c.zone, err = farm.Location()
	}
	if err == nil {
		_, err = s.store.Station(ctx.Context(), farm.ID, ctx.Param("station"))
	}
	if err != nil {
		s.refuse(ctx, err)
		return
	}
	next(huma.WithValue(ctx, clockKey{}, c))
}

func outlookOut(station string, o StationOutlook) OutlookOut {
	out := OutlookOut{station, o.IssuedAt, o.ReceivedAt, o.Version, make([]OutlookDayOut, 0, o.Days.Len())}
	for _, d := range o.Days.Days() {
		out.Days = append(out.Days, OutlookDayOut(d))
	}
	return out
}

func (s *Server) outlookRoutes() {
	const one = "/v1/farms/{farm}/stations/{station}/outlook"
	add(s, Grower, huma.Operation{
		Method: http.MethodPut, Path: one, OperationID: "put-outlook", Tags: []string{"Weather"},
		Summary: "Send an outlook",
		Description: "What a weather service predicts for the days ahead. Earlier outlooks are kept. " +
			"One with the same issued_at takes the place of what was sent before, which stays in the history.",
		Middlewares: huma.Middlewares{s.atStation},
	}, func(ctx context.Context, in *putOutlook) (*put[OutlookOut], error) {
		kept, created, err := s.store.PutOutlook(ctx, in.Farm, in.Station, in.outlook, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		return putDone(created, outlookOut(in.Station, kept)), nil
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: one, OperationID: "post-outlook", Tags: []string{"Weather"},
		Summary: "Send an outlook as a weather service gives it",
		Description: "A gridpoint forecast of the US National Weather Service or a reply of Open-Meteo, as it is (gzip and zip allowed). " +
			"What is not a whole day ahead is left out and told; then it is an outlook like one that is put.",
		DefaultStatus: http.StatusOK, MaxBodyBytes: filesLimit, BodyReadTimeout: fileTime,
		RequestBody: filesBody(&huma.Schema{}, &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString}}),
	}, s.outlookFile)
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: one, OperationID: "get-outlook", Tags: []string{"Weather"},
		Summary: "Read the outlook that was issued last", Description: "°C.",
	}, func(ctx context.Context, in *getOutlook) (*got[OutlookOut], error) {
		o, err := s.store.LatestOutlook(ctx, in.Farm, in.Station, some(in.KnownAt))
		if err != nil {
			return nil, err
		}
		return &got[OutlookOut]{outlookOut(in.Station, o)}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: one + "s", OperationID: "list-outlooks", Tags: []string{"Weather"},
		Summary: "List outlooks in the order they were issued", Description: "°C; of each the days that were sent last.",
	}, s.outlooks)
}

// outlookFile keeps the outlook that a file holds.
func (s *Server) outlookFile(ctx context.Context, in *postOutlook) (*got[OutlookFileOut], error) {
	opt, _, err := s.fileOptions(ctx, in.StationPath, &in.FileParams)
	if err != nil {
		return nil, err
	}
	r, err := weather.ReadOutlook(bytes.NewReader(in.RawBody), opt)
	if err != nil {
		return nil, err
	}
	refuse := func(faults ...Fault) error {
		p := oneFault("", "")
		p.Errors = faults
		return p
	}
	switch told := r.IssuedAt; {
	case told.IsZero() && in.IssuedAt.IsZero():
		return nil, refuse(Fault{Parameter: "issued_at", Detail: "is needed, for the file does not tell it"})
	case !told.IsZero() && !in.IssuedAt.IsZero() && !told.Equal(in.IssuedAt):
		return nil, refuse(Fault{Parameter: "issued_at", Detail: "is not what the file tells, " + told.Format(time.RFC3339)})
	}
	outlook, bad := weather.NewOutlook(r.Draft(in.IssuedAt), opt.Zone, s.now())
	if len(bad) > 0 {
		var faults []Fault
		for _, f := range bad {
			faults = append(faults, Fault{Detail: "of the file, " + f.Field + ": " + f.Reason})
		}
		return nil, refuse(faults...)
	}
	kept, _, err := s.store.PutOutlook(ctx, in.Farm, in.Station, outlook, by(ctx), s.now())
	if err != nil {
		return nil, err
	}
	return &got[OutlookFileOut]{OutlookFileOut{
		OutlookOut: outlookOut(in.Station, kept), Format: r.Format, Understood: findingsOut(r.Findings), Refused: refusedOut(r.Refused),
	}}, nil
}

func (s *Server) outlooks(ctx context.Context, in *listOutlooks) (*got[OutlookList], error) {
	farm, err := s.store.Farm(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	zone, err := farm.Location()
	if err != nil {
		return nil, err
	}
	var errs []error
	from, to := dateParam("from", in.From, &errs), dateParam("to", in.To, &errs)
	if err := invalid(errs); err != nil {
		return nil, err
	}
	var begin, end *time.Time
	if from != nil {
		begin = some(midnight(*from, zone))
	}
	if to != nil {
		end = some(midnight(*to+1, zone))
	}
	all, err := s.store.Outlooks(ctx, in.Farm, in.Station, begin, end, some(in.KnownAt))
	if err != nil {
		return nil, err
	}
	list := OutlookList{Outlooks: make([]OutlookOut, 0, len(all))}
	for _, o := range all {
		list.Outlooks = append(list.Outlooks, outlookOut(in.Station, o))
	}
	return &got[OutlookList]{list}, nil
}

// midnight returns the instant at which a date begins in zone.
func midnight(d weather.Date, zone *time.Location) time.Time {
	y, m, day := d.Civil()
	return time.Date(y, m, day, 0, 0, 0, 0, zone)
}
