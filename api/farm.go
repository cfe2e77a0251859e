package api

import (
	"context"
	"maps"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
)

// FarmBody is a farm as it is put.
type FarmBody struct {
	Name           string        `json:"name" doc:"1 to 100 characters."`
	Latitude       float64       `json:"latitude" minimum:"-90" maximum:"90" doc:"Degrees north. South of the equator the season Y, the harvest year, runs from 1 July Y-1 to 30 June Y: fruit of December is of the season named by the year after."`
	Longitude      float64       `json:"longitude" minimum:"-180" maximum:"180" doc:"Degrees east."`
	TimeZone       string        `json:"time_zone" doc:"Name in the IANA time zone database." example:"Europe/Berlin"`
	Units          string        `json:"units" enum:"metric,us" doc:"In which units people read; the interface is metric throughout."`
	ThinKgPerDay   *float64      `json:"thin_kg_per_day,omitempty" minimum:"0" maximum:"1000000" doc:"Least ripe fruit standing that serves the crowd, kg. Days under it are thin."`
	GapProbability *float64      `json:"gap_probability,omitempty" minimum:"0.01" maximum:"1" doc:"From which probability a gap or a thin day is reported. Default 0.5."`
	Opening        *OpeningBody  `json:"opening,omitempty" doc:"What the farm asks of an opening day."`
	Holidays       []HolidayBody `json:"holidays,omitempty" maxItems:"50" doc:"Days that customers carry in their heads."`
}

// HolidayBody is a day that customers carry in their heads.
type HolidayBody struct {
	Name string `json:"name" doc:"1 to 100 characters."`
	Rule string `json:"rule" doc:"\"24 June\", \"third Sunday of June\", \"last Monday of May\", \"Easter\" or \"49 days after Easter\"." example:"third Sunday of June"`
}

// OpeningBody is what the farm asks of an opening day.
type OpeningBody struct {
	ReadyKg        *float64           `json:"ready_kg,omitempty" minimum:"0" maximum:"1000000" doc:"Ripe fruit standing that is enough to open, kg."`
	ReadyKgOn      map[string]float64 `json:"ready_kg_on,omitempty" doc:"Another weight for a weekday, kg, by its name, such as saturday."`
	ReadyShare     *float64           `json:"ready_share,omitempty" minimum:"0" maximum:"1" doc:"Without a weight: ripe fruit standing as a share of the first varieties' whole crop."`
	FirstVarieties *int               `json:"first_varieties,omitempty" minimum:"1" maximum:"100" doc:"How many varieties, in order of ripening, are the first. Default 1."`
	Confidence     *float64           `json:"confidence,omitempty" minimum:"0" maximum:"1" doc:"Probability of being ready that the farm wants. Default 0.8."`
	Weekdays       []string           `json:"weekdays,omitempty" enum:"monday,tuesday,wednesday,thursday,friday,saturday,sunday" doc:"Days on which the farm opens. Default: every day."`
	NoticeDays     *int               `json:"notice_days,omitempty" minimum:"0" maximum:"60" doc:"Days of notice before opening."`
	Channels       []ChannelBody      `json:"channels,omitempty" maxItems:"30" doc:"Where it is announced, each with a notice of its own; the slowest counts."`
}

// ChannelBody is a way of telling people.
type ChannelBody struct {
	Name       string `json:"name" doc:"1 to 100 characters, such as Weekly paper."`
	NoticeDays int    `json:"notice_days" minimum:"0" maximum:"60" doc:"Days between handing the words in and people reading them."`
}

// FarmOut is a farm as it is read.
type FarmOut struct {
	Farm string `json:"farm"`
	FarmBody
}

type farmIn struct {
	FarmPath
	Body FarmBody
}

// Resolve adds the faults that the schema cannot tell.
func (in *farmIn) Resolve(huma.Context) []error {
	errs := in.farm().Validate()
	if o := in.Body.Opening; o != nil {
		for _, name := range slices.Sorted(maps.Keys(o.ReadyKgOn)) {
			if _, ok := forecast.WeekdayNamed(name); !ok {
				errs = append(errs, &forecast.FieldError{Field: "opening.ready_kg_on." + name, Reason: "is no weekday; they are monday to sunday"})
			}
		}
	}
	return errs
}

func (in *farmIn) farm() forecast.Farm {
	b := in.Body
	f := forecast.Farm{
		ID: in.Farm, Name: strings.TrimSpace(b.Name), Latitude: b.Latitude, Longitude: b.Longitude,
		TimeZone: b.TimeZone, Units: forecast.Units(b.Units),
		ThinKgPerDay: or(b.ThinKgPerDay, 0), GapProbability: or(b.GapProbability, forecast.DefaultGapProbability),
	}
	for _, h := range b.Holidays {
		f.Holidays = append(f.Holidays, forecast.Holiday{Name: strings.TrimSpace(h.Name), Rule: strings.TrimSpace(h.Rule)})
	}
	if o := b.Opening; o != nil {
		f.Opening = forecast.Opening{
			ReadyKg: or(o.ReadyKg, 0), ReadyShare: or(o.ReadyShare, 0), Confidence: or(o.Confidence, 0), NoticeDays: or(o.NoticeDays, 0),
			FirstVarieties: or(o.FirstVarieties, 0),
		}
		for name, kg := range o.ReadyKgOn {
			if w, ok := forecast.WeekdayNamed(name); ok {
				f.Opening.ReadyKgOn[w] = kg
			}
		}
		for _, c := range o.Channels {
			f.Opening.Channels = append(f.Opening.Channels, forecast.Channel{Name: strings.TrimSpace(c.Name), NoticeDays: c.NoticeDays})
		}
		for w := time.Sunday; w <= time.Saturday; w++ {
			for _, name := range o.Weekdays {
				if name == forecast.WeekdayName(w) {
					f.Opening.Weekdays = append(f.Opening.Weekdays, w)
					break
				}
			}
		}
	}
	return f
}

func farmOut(f forecast.Farm) FarmOut {
	out := FarmOut{Farm: f.ID, FarmBody: FarmBody{
		Name: f.Name, Latitude: f.Latitude, Longitude: f.Longitude, TimeZone: f.TimeZone, Units: string(f.Units),
		ThinKgPerDay: some(f.ThinKgPerDay), GapProbability: some(f.GapProbability),
	}}
	o := OpeningBody{
		ReadyKg: some(f.Opening.ReadyKg), ReadyShare: some(f.Opening.ReadyShare),
		Confidence: some(f.Opening.Confidence), NoticeDays: some(f.Opening.NoticeDays),
		FirstVarieties: some(f.Opening.FirstVarieties),
	}
	for w, kg := range f.Opening.ReadyKgOn {
		if kg > 0 {
			if o.ReadyKgOn == nil {
				o.ReadyKgOn = map[string]float64{}
			}
			o.ReadyKgOn[forecast.WeekdayName(time.Weekday(w))] = kg
		}
	}
	for _, c := range f.Opening.Channels {
		o.Channels = append(o.Channels, ChannelBody(c))
	}
	for _, h := range f.Holidays {
		out.Holidays = append(out.Holidays, HolidayBody(h))
	}
	for _, w := range f.Opening.Weekdays {
		o.Weekdays = append(o.Weekdays, forecast.WeekdayName(w))
	}
	if !reflect.ValueOf(o).IsZero() {
		out.Opening = &o
	}
	return out
}

// or returns what p points to, or the default.
func or[T any](p *T, def T) T {
	if p == nil {
		return def
	}
	return *p
}

// some returns a pointer to x unless x is the zero value, "not set".
func some[T comparable](x T) *T {
	var zero T
	if x == zero {
		return nil
	}
	return &x
}

// FarmList is a list of farms.
type FarmList struct {
	Farms []FarmOut `json:"farms"`
}

func (s *Server) farmRoutes() {
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: "/v1/farms/{farm}", OperationID: "put-farm", Tags: []string{"Set-up"},
		Summary: "Create or replace a farm", Description: "Only a key of the installation creates a farm.",
	}, func(ctx context.Context, in *farmIn) (*put[FarmOut], error) {
		f := in.farm()
		if c := callerOf(ctx); c.Farm != "" {
			if _, err := s.store.Farm(ctx, f.ID); err != nil {
				return nil, ErrKeyOfFarm
			}
		}
		created, err := s.store.PutFarm(ctx, f, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		return putDone(created, farmOut(f)), nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}", OperationID: "get-farm", Tags: []string{"Set-up"}, Summary: "Read a farm",
	}, func(ctx context.Context, in *FarmPath) (*got[FarmOut], error) {
		f, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		return &got[FarmOut]{farmOut(f)}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms", OperationID: "list-farms", Tags: []string{"Set-up"},
		Summary: "List the farms that the key may see",
	}, func(ctx context.Context, _ *struct{}) (*got[FarmList], error) {
		fs, err := s.store.Farms(ctx)
		if err != nil {
			return nil, err
		}
		list := FarmList{Farms: []FarmOut{}}
		for _, f := range fs {
			if c := callerOf(ctx); c.Farm == "" || c.Farm == f.ID {
				list.Farms = append(list.Farms, farmOut(f))
			}
		}
		return &got[FarmList]{list}, nil
	})
}
