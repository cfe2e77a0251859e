package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// SprayIn is a spray as it is sent.
type SprayIn struct {
	ID              string `json:"id,omitempty" doc:"Of a spray on record that this is a new version of: a plan that was carried out, or a slip mended. Left out: another spray."`
	Block           string `json:"block" doc:"Name of a block of the farm."`
	Name            string `json:"name" doc:"What is sprayed, in your own words. The service knows no products."`
	SprayedAt       string `json:"sprayed_at,omitempty" format:"date-time" doc:"When the last of it was done, not later than now; left out while it is planned."`
	Season          *int   `json:"season,omitempty" minimum:"1700" maximum:"2400" doc:"Harvest year of a plan. Default: the present one. What was done belongs to the season of its day."`
	PreHarvestDays  *int   `json:"pre_harvest_days,omitempty" minimum:"0" maximum:"365" doc:"Pre-harvest interval off the label, in days: whole calendar days at the farm between the day of spraying and the day of picking, neither of which counts. It or pre_harvest_hours is needed; 0 is an answer."`
	PreHarvestHours *int   `json:"pre_harvest_hours,omitempty" minimum:"0" maximum:"1000" doc:"Pre-harvest interval in hours that pass; with days as well they follow the last day."`
	ReentryHours    *int   `json:"reentry_hours" nullable:"false" minimum:"0" maximum:"1000" doc:"Re-entry interval off the label, in hours that pass. Customers count as people in the field."`
	Note            string `json:"note,omitempty" doc:"One line of at most 200 characters."`
}

// SpraysIn is the body of sprays.
type SpraysIn struct {
	Sprays []SprayIn `json:"sprays" doc:"Good ones are kept, bad ones refused one by one. The same again, without an identifier, is the one that is on record."`
}

// SprayOut is a spray on record.
type SprayOut struct {
	ID              string     `json:"id"`
	Block           string     `json:"block" doc:"Its name as it was then."`
	Plantings       []string   `json:"plantings" doc:"What stood in the block then; closures follow them."`
	Name            string     `json:"name"`
	Season          int        `json:"season" doc:"Harvest year."`
	SprayedAt       *time.Time `json:"sprayed_at" doc:"Null: it is planned."`
	PreHarvestDays  int        `json:"pre_harvest_days"`
	PreHarvestHours int        `json:"pre_harvest_hours"`
	ReentryHours    int        `json:"reentry_hours"`
	Note            *string    `json:"note"`
	RecordedAt      time.Time  `json:"recorded_at"`
	RecordedBy      string     `json:"recorded_by" doc:"The key that entered it last."`
	EnterAgainAt    *time.Time `json:"enter_again_at" doc:"When re-entry is over; null while it is planned."`
	PickAgainAt     *time.Time `json:"pick_again_at" doc:"When the pre-harvest interval is over."`
	ClosedUntil     *time.Time `json:"closed_until" doc:"The later of the two."`
}

// SpraysReport says what became of sprays.
type SpraysReport struct {
	Sprays  []SprayOut    `json:"sprays" doc:"As they were kept, in the order they were sent."`
	Refused []RefusedItem `json:"refused"`
}

// SprayList is a list of sprays.
type SprayList struct {
	Sprays []SprayOut `json:"sprays" doc:"Those that were done in their order, then those that are planned."`
}

type postSprays struct {
	FarmPath
	ContentType string `header:"Content-Type" required:"false" doc:"application/json."`
	RawBody     []byte
}

type listSprays struct {
	FarmPath
	Season  int       `query:"season" required:"false" minimum:"1700" maximum:"2400" doc:"Harvest year."`
	Block   string    `query:"block" required:"false" doc:"Name of a block as it was then."`
	KnownAt time.Time `query:"known_at" required:"false" doc:"Read what counted at this instant."`
}

// SprayPath is the part of a path that names a spray.
type SprayPath struct {
	FarmPath
	ID string `path:"id" maxLength:"64" doc:"Identifier of the spray."`
}

type seeSpray struct {
	SprayPath
	Body struct {
		Day string `json:"day" format:"date" doc:"The block's first_day that was taken note of; not before the present one."`
	}
}

// SprayStore keeps sprays.
type SprayStore interface {
	// AddSprays keeps the good ones; the i-th result belongs to the i-th spray.
	AddSprays(ctx context.Context, farm string, sprays []forecast.Spray, by string, at time.Time) ([]SprayResult, error)
	// Sprays returns those of a season that counted at an instant; nil is all
	// seasons, and now.
	Sprays(ctx context.Context, farm string, season *int, knownAt *time.Time) ([]forecast.Spray, error)
	SeeSpray(ctx context.Context, farm, id string, day weather.Date, by string, at time.Time) error
	WithdrawSpray(ctx context.Context, farm, id, by string, at time.Time) error
}

// SprayResult is a spray as it was kept, or why it was not.
type SprayResult struct {
	Spray forecast.Spray
	Err   error
}

// spray checks what can be checked without the database.
func (x SprayIn) spray(farm forecast.Farm, zone *time.Location, now time.Time) (forecast.Spray, itemFaults) {
	var f itemFaults
	s := forecast.Spray{
		ID: x.ID, Block: oneLine(x.Block), Name: oneLine(x.Name), Season: forecast.SeasonOf(weather.DateIn(now.In(zone)), farm.Southern()),
		PreHarvestDays: or(x.PreHarvestDays, 0), PreHarvestHours: or(x.PreHarvestHours, 0), ReentryHours: or(x.ReentryHours, 0), Note: oneLine(x.Note),
	}
	if x.SprayedAt == "" && x.Season != nil {
		if *x.Season < s.Season {
			f.add("season", "season must not be before "+itoa(s.Season)+", the present one")
		}
		s.Season = *x.Season
	}
	if x.SprayedAt != "" {
		at, err := time.Parse(time.RFC3339, x.SprayedAt)
		switch {
		case err != nil:
			f.add("sprayed_at", "sprayed_at is not an instant such as 2025-06-03T17:30:00+02:00")
		case at.After(now):
			f.add("sprayed_at", "sprayed_at has not come yet; leave it out while the spray is planned")
		case at.Year() < 1700:
			f.add("sprayed_at", "sprayed_at must be in the years 1700 to 2400")
		default:
			s.SprayedAt = &at
			if s.Season = forecast.SeasonOf(weather.DateIn(at.In(zone)), farm.Southern()); x.Season != nil && *x.Season != s.Season {
				f.add("season", "season must be left out, or "+itoa(s.Season)+", in which sprayed_at lies")
			}
		}
	}
	if x.PreHarvestDays == nil && x.PreHarvestHours == nil {
		f.add("pre_harvest_days", "pre_harvest_days or pre_harvest_hours is needed, as the label says; 0 is an answer")
	}
	if x.ReentryHours == nil {
		f.add("reentry_hours", "reentry_hours is needed, as the label says; 0 is an answer")
	}
	f.check(s.Validate())
	return s, f
}

func sprayOut(s forecast.Spray, zone *time.Location) SprayOut {
	out := SprayOut{
		ID: s.ID, Block: s.Block, Plantings: append([]string{}, s.Plantings...), Name: s.Name, Season: s.Season,
		PreHarvestDays: s.PreHarvestDays, PreHarvestHours: s.PreHarvestHours, ReentryHours: s.ReentryHours, Note: some(s.Note),
		RecordedAt: s.RecordedAt, RecordedBy: s.RecordedBy,
	}
	if s.SprayedAt != nil {
		at := s.SprayedAt.In(zone)
		enter, pick, until := s.EnterAgain(at, zone), s.PickAgain(at, zone), s.ClosedUntil(at, zone)
		out.SprayedAt, out.EnterAgainAt, out.PickAgainAt, out.ClosedUntil = &at, &enter, &pick, &until
	}
	return out
}

func (s *Server) sprayRoutes() {
	const path = "/v1/farms/{farm}/sprays"
	tags := []string{"Field"}
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: path, OperationID: "post-sprays", Tags: tags,
		Summary: "Record what is to be sprayed, or was", DefaultStatus: http.StatusOK,
		Description: SprayCaution + " Intervals are what you read off the label: nothing about products is known here. " +
			"GET …/blocks tells which blocks are closed and until when a planned spray is safe.",
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{jsonType: {Schema: schemaOf[SpraysIn](s)}}},
	}, s.addSprays)
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "list-sprays", Tags: tags, Summary: "List current sprays",
	}, func(ctx context.Context, in *listSprays) (*got[SprayList], error) {
		_, zone, err := s.farmAndZone(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		all, err := s.store.Sprays(ctx, in.Farm, some(in.Season), some(in.KnownAt))
		if err != nil {
			return nil, err
		}
		list := SprayList{Sprays: []SprayOut{}}
		for _, x := range all {
			if in.Block == "" || x.Block == in.Block {
				list.Sprays = append(list.Sprays, sprayOut(x, zone))
			}
		}
		return &got[SprayList]{list}, nil
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodDelete, Path: path + "/{id}", OperationID: "delete-spray", Tags: tags,
		Summary: "Take back a spray", Description: "It no longer counts and closes nothing; its history is kept.", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *SprayPath) (*struct{}, error) {
		return nil, s.store.WithdrawSpray(ctx, in.Farm, in.ID, by(ctx), s.now())
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: path + "/{id}/seen", OperationID: "see-spray", Tags: tags,
		Summary: "Take note that a block may be picked earlier than was known", DefaultStatus: http.StatusNoContent,
		Description: "Of a planned spray that is raised: it stays as it is, and is raised again when the day moves earlier once more. Who took note of which day is kept.",
	}, func(ctx context.Context, in *seeSpray) (*struct{}, error) {
		var errs []error
		day := dateParam("day", in.Body.Day, &errs)
		if day == nil && len(errs) == 0 {
			errs = append(errs, &forecast.FieldError{Field: "day", Reason: "is needed"})
		}
		if err := invalid(errs); err != nil {
			return nil, err
		}
		farm, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		err = s.sprayBook().See(ctx, farm, in.ID, *day, by(ctx))
		if fe, ok := errors.AsType[*forecast.FieldError](err); ok {
			return nil, invalid([]error{fe})
		}
		return nil, err
	})
}

func (s *Server) farmAndZone(ctx context.Context, id string) (forecast.Farm, *time.Location, error) {
	farm, err := s.store.Farm(ctx, id)
	if err != nil {
		return forecast.Farm{}, nil, err
	}
	zone, err := farm.Location()
	return farm, zone, err
}

// addSprays keeps the good items of a list and tells the bad ones.
func (s *Server) addSprays(ctx context.Context, in *postSprays) (*got[SpraysReport], error) {
	const names = "sprays"
	farm, zone, err := s.farmAndZone(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	if err := wantJSON(in.ContentType); err != nil {
		return nil, err
	}
	m, err := readObject(in.RawBody, names)
	if err != nil {
		return nil, err
	}
	items, err := readItems(m[names], names)
	if err != nil {
		return nil, err
	}
	now := s.now()
	faults := make([]itemFaults, len(items))
	var good []forecast.Spray
	var rows []int // Of good, from 0.
	for i, raw := range items {
		var x SprayIn
		if reason := readItem(raw, &x); reason != "" {
			faults[i].add("", reason)
			continue
		}
		var v forecast.Spray
		if v, faults[i] = x.spray(farm, zone, now); len(faults[i].list) == 0 {
			good, rows = append(good, v), append(rows, i)
		}
	}
	kept := []SprayOut{}
	if len(good) > 0 {
		results, err := s.sprayBook().Add(ctx, farm, good, by(ctx))
		if err != nil {
			return nil, err
		}
		for i, r := range results {
			switch {
			case r.Err == nil:
				kept = append(kept, sprayOut(r.Spray, zone))
			case errors.Is(r.Err, forecast.ErrSprayNotFound):
				faults[rows[i]].add("id", "id is of no spray that counts")
			default:
				faults[rows[i]].addError(r.Err)
			}
		}
	}
	if len(kept) == 0 {
		return nil, noneGood(names, faults)
	}
	return &got[SpraysReport]{SpraysReport{kept, refusedItems(faults)}}, nil
}
