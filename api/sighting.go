package api

import (
	"context"
	"errors"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// SightingIn is a sighting as it is sent.
type SightingIn struct {
	Planting string `json:"planting" doc:"Identifier of the planting."`
	Date     string `json:"date" format:"date" doc:"First day of the stage, or the day of a look in vain."`
	Stage    string `json:"stage" enum:"bloom_10,bloom_full,first_ripe,peak,last_pick" doc:"bloom_10: about one plant in ten has an open flower. first_ripe: 5 % of the crop is ripe. peak: the densest day. last_pick: 95 %."`
	Seen     *bool  `json:"seen" doc:"true: this is the first day of the stage. false: looked, not yet."`
	Note     string `json:"note,omitempty" doc:"At most 500 characters."`
}

// SightingsIn is the body of sightings.
type SightingsIn struct {
	Sightings []SightingIn `json:"sightings" doc:"Good ones are kept, bad ones refused one by one. The same planting, stage and season seen on another date replaces the earlier one; its history is kept."`
}

// SightingOut is a sighting on record.
type SightingOut struct {
	ID       string       `json:"id"`
	Planting string       `json:"planting"`
	Date     weather.Date `json:"date"`
	Stage    string       `json:"stage"`
	Seen     bool         `json:"seen"`
	Note     string       `json:"note,omitempty"`
}

// SightingsReport says what became of sightings.
type SightingsReport struct {
	Sightings []SightingOut     `json:"sightings"`
	Refused   []RefusedSighting `json:"refused"`
}

// RefusedSighting is a sighting that was not kept.
type RefusedSighting struct {
	Row    int    `json:"row" doc:"Counts items from 1."`
	Reason string `json:"reason"`
}

// SightingList is a list of sightings.
type SightingList struct {
	Sightings []SightingOut `json:"sightings"`
}

type postSightings struct {
	FarmPath
	ContentType string `header:"Content-Type" required:"false" doc:"application/json."`
	RawBody     []byte
}

type listSightings struct {
	FarmPath
	Season   int    `query:"season" required:"false" minimum:"1700" maximum:"2400" doc:"Harvest year."`
	Planting string `query:"planting" required:"false" doc:"Identifier of one planting."`
}

// SightingPath is the part of a path that names a sighting.
type SightingPath struct {
	FarmPath
	ID string `path:"id" maxLength:"64" doc:"Identifier of the sighting."`
}

func sightingOut(x forecast.Sighting) SightingOut {
	return SightingOut{x.ID, x.Planting, x.Date, x.Stage.String(), x.Seen, x.Note}
}

func (s *Server) sightingRoutes() {
	schema := schemaOf[SightingsIn](s)
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/sightings", OperationID: "post-sightings", Tags: []string{"Field"},
		Summary: "Record what was seen", DefaultStatus: http.StatusOK,
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/json": {Schema: schema}}},
		Errors:      []int{http.StatusBadRequest, http.StatusConflict},
	}, s.addSightings)
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/sightings", OperationID: "list-sightings", Tags: []string{"Field"},
		Summary: "List current sightings",
	}, func(ctx context.Context, in *listSightings) (*got[SightingList], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := s.store.Sightings(ctx, in.Farm, some(in.Season), in.Planting)
		if err != nil {
			return nil, err
		}
		list := SightingList{Sightings: []SightingOut{}}
		for _, x := range all {
			list.Sightings = append(list.Sightings, sightingOut(x))
		}
		return &got[SightingList]{list}, nil
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodDelete, Path: "/v1/farms/{farm}/sightings/{id}", OperationID: "delete-sighting", Tags: []string{"Field"},
		Summary: "Take back a sighting", Description: "It no longer counts; its history is kept.",
	}, func(ctx context.Context, in *SightingPath) (*struct{}, error) {
		return nil, s.store.WithdrawSighting(ctx, in.Farm, in.ID, by(ctx), s.now())
	})
}

func (s *Server) addSightings(ctx context.Context, in *postSightings) (*got[SightingsReport], error) {
	farm, err := s.store.Farm(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	if err := wantJSON(in.ContentType); err != nil {
		return nil, err
	}
	m, err := readObject(in.RawBody, "sightings")
	if err != nil {
		return nil, err
	}
	items, err := readItems(m["sightings"], "sightings")
	if err != nil {
		return nil, err
	}
	now := s.now()
	today, err := farm.Today(now)
	if err != nil {
		return nil, err
	}
	var good []forecast.Sighting
	var rows []int // Of good.
	type bad struct {
		RefusedSighting
		field    string
		conflict bool
	}
	var refused []bad
	for i, raw := range items {
		var x SightingIn
		reason, field := readItem(raw, &x), ""
		var sight forecast.Sighting
		if reason == "" {
			sight, field, reason = x.sighting(today)
		}
		if reason != "" {
			refused = append(refused, bad{RefusedSighting{i + 1, reason}, field, false})
			continue
		}
		good, rows = append(good, sight), append(rows, i+1)
	}
	out := SightingsReport{Sightings: []SightingOut{}, Refused: []RefusedSighting{}}
	if len(good) > 0 {
		results, err := s.store.AddSightings(ctx, in.Farm, good, by(ctx), now)
		if err != nil {
			return nil, err
		}
		for i, r := range results {
			if r.Err != nil {
				reason, conflict := reasonOf(r.Err)
				refused = append(refused, bad{RefusedSighting{rows[i], reason}, "", conflict})
				continue
			}
			out.Sightings = append(out.Sightings, sightingOut(r.Sighting))
		}
	}
	if len(out.Sightings) == 0 {
		p := problemOf(forecast.ErrStagesOutOfOrder)
		for _, r := range refused {
			if !r.conflict {
				p = problemOf(errNoneGood)
			}
		}
		for _, r := range refused {
			f := Fault{Pointer: "/sightings/" + itoa(r.Row-1), Detail: r.Reason}
			if r.field != "" {
				f.Pointer += "/" + r.field
			}
			p.Errors = append(p.Errors, f)
		}
		return nil, p
	}
	for _, r := range refused {
		out.Refused = append(out.Refused, r.RefusedSighting)
	}
	return &got[SightingsReport]{out}, nil
}

// sighting checks what can be checked without the database.
func (x SightingIn) sighting(today weather.Date) (s forecast.Sighting, field, reason string) {
	d, err := weather.ParseDate(x.Date)
	switch {
	case err != nil:
		return s, "date", "date is not a calendar date YYYY-MM-DD of the years 1700 to 2400"
	case d > today:
		return s, "date", "date is after today"
	case x.Seen == nil:
		return s, "seen", "seen is needed: true, or false for \"looked, not yet\""
	case x.Planting == "":
		return s, "planting", "planting is needed"
	}
	stage, err := forecast.ParseStage(x.Stage)
	if err != nil {
		return s, "stage", "stage must be one of bloom_10, bloom_full, first_ripe, peak, last_pick"
	}
	if x.Note != "" {
		if len(x.Note) > 500 {
			return s, "note", "note is longer than 500 characters"
		}
	}
	return forecast.Sighting{Planting: x.Planting, Date: d, Stage: stage, Seen: *x.Seen, Note: x.Note}, "", ""
}

// reasonOf says why the store refused a sighting, and whether it contradicts
// what is on record.
func reasonOf(err error) (reason string, conflict bool) {
	conflict = errors.Is(err, forecast.ErrStagesOutOfOrder)
	var d interface{ Detail() string }
	if errors.As(err, &d) {
		return d.Detail(), conflict
	}
	if fe, ok := errors.AsType[*forecast.FieldError](err); ok {
		return fe.Field + " " + fe.Reason, conflict
	}
	if errors.Is(err, forecast.ErrPlantingNotFound) {
		return "there is no such planting", conflict
	}
	return problemOf(err).Title, conflict
}
