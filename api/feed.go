package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// FeedStore keeps feeds and what came of their fetches.
type FeedStore interface {
	PutFeed(ctx context.Context, k feed.Key, spec feed.Spec, by string, at time.Time) (created bool, err error)
	RemoveFeed(ctx context.Context, k feed.Key, by string, at time.Time) error
	Feed(ctx context.Context, k feed.Key) (feed.Job, error)
	StationFeeds(ctx context.Context, farm, station string) ([]feed.Job, error)
	FeedRuns(ctx context.Context, k feed.Key, limit int) ([]FeedRun, error) // The latest first.
}

// FeedRun is what came of a fetch.
type FeedRun struct {
	StartedAt       time.Time
	Took            time.Duration
	Outcome         feed.Outcome
	Detail          string
	Status          int
	Requests        int
	Stored          weather.Stored
	OutlookIssuedAt *time.Time
}

// Fetcher fetches a feed for a person who asks for it.
type Fetcher interface {
	Once(ctx context.Context, k feed.Key) (feed.Result, error)
}

// FeedBody is what is said of a feed.
type FeedBody struct {
	Kind          string `json:"kind" enum:"nws,open-meteo,acis,ncei" doc:"The service, or one that answers like it: nws (outlooks, US), open-meteo (a model's past days, and outlooks), acis and ncei (observed days of a station, US)."`
	Address       string `json:"address" required:"false" maxLength:"300" doc:"Of a service like it, https://host/path; default: the service's own. Addresses in private networks are refused unless the installation allows them."`
	SourceStation string `json:"source_station" required:"false" maxLength:"40" doc:"The service's identifier of the station; acis and ncei need it."`
	Key           string `json:"key" required:"false" maxLength:"200" doc:"That the service wants. It is never read out; left out, the one on record stays, unless the kind or the address changes."`
	Contact       string `json:"contact" required:"false" maxLength:"200" doc:"E-mail or web address that the service finds in requests; nws needs it."`
	EveryHours    int    `json:"every_hours" required:"false" default:"3" minimum:"1" maximum:"24" doc:"Hours between two fetches."`
	Paused        bool   `json:"paused" required:"false" doc:"It is not fetched by itself."`
}

// FeedOut is a feed as it is read.
type FeedOut struct {
	Feed          string     `json:"feed"`
	Kind          string     `json:"kind"`
	Address       string     `json:"address"`
	SourceStation string     `json:"source_station"`
	HasKey        bool       `json:"has_key"`
	Contact       string     `json:"contact"`
	EveryHours    int        `json:"every_hours"`
	Paused        bool       `json:"paused"`
	NextAt        *time.Time `json:"next_at" doc:"When it is fetched next; null: as soon as possible, or paused."`
	LastGoodAt    *time.Time `json:"last_good_at" doc:"When the service last gave a good answer, new or not; null: never."`
	Failures      int        `json:"failures" doc:"In a row."`
	Runs          []FetchOut `json:"runs" doc:"The last fetches, the latest first."`
}

// FetchOut is what came of a fetch.
type FetchOut struct {
	StartedAt       time.Time  `json:"started_at"`
	Seconds         float64    `json:"seconds" doc:"It took."`
	Outcome         string     `json:"outcome" enum:"new,unchanged,stale,failed,refused"`
	Detail          string     `json:"detail" doc:"One sentence for a person."`
	Status          int        `json:"status" doc:"HTTP status of the last answer; 0: there was none."`
	Requests        int        `json:"requests"`
	Added           int        `json:"added"`
	Corrected       int        `json:"corrected"`
	Kept            int        `json:"kept" doc:"Days that were left as another source has given them."`
	OutlookIssuedAt *time.Time `json:"outlook_issued_at" doc:"Of the outlook that was stored, or null."`
}

// FeedList is a list of feeds.
type FeedList struct {
	Feeds []FeedOut `json:"feeds"`
}

// FeedPath is the part of a path that names a feed.
type FeedPath struct {
	StationPath
	Feed string `path:"feed" pattern:"^[a-z0-9][a-z0-9_-]{0,63}$" doc:"Identifier of the feed, a slug."`
}

func (p FeedPath) key() feed.Key { return feed.Key{Farm: p.Farm, Station: p.Station, Feed: p.Feed} }

type feedIn struct {
	FeedPath
	Body FeedBody
}

func (in *feedIn) spec() feed.Spec {
	b := in.Body
	return feed.Spec{
		ID: in.Feed, Kind: feed.Kind(b.Kind), Address: strings.TrimSpace(b.Address), SourceStation: strings.TrimSpace(b.SourceStation),
		Key: feed.Secret(b.Key), Contact: strings.TrimSpace(b.Contact), Every: time.Duration(b.EveryHours) * time.Hour, Paused: b.Paused,
	}
}

// Resolve adds the faults that the schema cannot tell.
func (in *feedIn) Resolve(huma.Context) []error {
	var errs []error
	for _, f := range in.spec().Validate() {
		if f.Field == "every" { // The schema tells it of every_hours.
			continue
		}
		errs = append(errs, &forecast.FieldError{Field: f.Field, Reason: f.Reason})
	}
	return errs
}

const (
	runsListed = 5   // Of each feed in a list.
	runsShown  = 100 // Of one feed.
)

func (s *Server) feedRoutes() {
	const many = "/v1/farms/{farm}/stations/{station}/feeds"
	const one = many + "/{feed}"
	tags := []string{"Weather"}
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: one, OperationID: "put-feed", Tags: tags,
		Summary:     "Say where days and outlooks are fetched from",
		Description: "The service is asked at once and then every few hours. Observed days go into the station's record up to yesterday, and the last ten are fetched again; what another source has given is left. open-meteo gives the days of a model, not of a thermometer: let a station of its own hold them.",
	}, func(ctx context.Context, in *feedIn) (*put[FeedOut], error) {
		created, err := s.store.PutFeed(ctx, in.key(), in.spec(), by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		j, err := s.store.Feed(ctx, in.key())
		if err != nil {
			return nil, err
		}
		out, err := s.feedOut(ctx, j, runsListed)
		if err != nil {
			return nil, err
		}
		return putDone(created, *out), nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: one, OperationID: "get-feed", Tags: tags, Summary: "Read a feed and its last fetches",
	}, func(ctx context.Context, in *FeedPath) (*got[FeedOut], error) {
		j, err := s.store.Feed(ctx, in.key())
		if err != nil {
			return nil, err
		}
		out, err := s.feedOut(ctx, j, runsShown)
		if err != nil {
			return nil, err
		}
		return &got[FeedOut]{*out}, nil
	})
	add(s, Owner, huma.Operation{
		Method: http.MethodDelete, Path: one, OperationID: "delete-feed", Tags: tags,
		Summary: "Take a feed away", Description: "What it delivered stays.", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *FeedPath) (*struct{}, error) {
		return nil, s.store.RemoveFeed(ctx, in.key(), by(ctx), s.now())
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: one + "/fetch", OperationID: "fetch-feed", Tags: tags,
		Summary: "Fetch a feed now", DefaultStatus: http.StatusOK,
		Description: "Due or not. What went wrong with the service is in the answer. 409 while it is being fetched, or when the service does not want to be asked yet.",
	}, func(ctx context.Context, in *FeedPath) (*got[FeedOut], error) {
		if _, err := s.fetcher.Once(ctx, in.key()); err != nil {
			return nil, err
		}
		j, err := s.store.Feed(ctx, in.key())
		if err != nil {
			return nil, err
		}
		out, err := s.feedOut(ctx, j, 1)
		if err != nil {
			return nil, err
		}
		return &got[FeedOut]{*out}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: many, OperationID: "list-feeds", Tags: tags, Summary: "List the feeds of a station",
	}, func(ctx context.Context, in *StationPath) (*got[FeedList], error) {
		jobs, err := s.store.StationFeeds(ctx, in.Farm, in.Station)
		if err != nil {
			return nil, err
		}
		list := FeedList{Feeds: make([]FeedOut, 0, len(jobs))}
		for _, j := range jobs {
			out, err := s.feedOut(ctx, j, runsListed)
			if err != nil {
				return nil, err
			}
			list.Feeds = append(list.Feeds, *out)
		}
		return &got[FeedList]{list}, nil
	})
}

func (s *Server) feedOut(ctx context.Context, j feed.Job, runs int) (*FeedOut, error) {
	list, err := s.store.FeedRuns(ctx, j.Key(), runs)
	if err != nil {
		return nil, err
	}
	c := j.Spec
	out := &FeedOut{
		Feed: c.ID, Kind: string(c.Kind), Address: c.Address, SourceStation: c.SourceStation, HasKey: c.Key != "",
		Contact: c.Contact, EveryHours: int(c.Every / time.Hour), Paused: c.Paused,
		LastGoodAt: some(j.State.LastOK), Failures: j.State.Failures, Runs: make([]FetchOut, 0, len(list)),
	}
	if !c.Paused {
		out.NextAt = some(j.Due(s.now()))
	}
	for _, r := range list {
		out.Runs = append(out.Runs, FetchOut{
			r.StartedAt, r.Took.Seconds(), string(r.Outcome), r.Detail, r.Status, r.Requests,
			r.Stored.Added, r.Stored.Corrected, r.Stored.Kept, r.OutlookIssuedAt,
		})
	}
	return out, nil
}
