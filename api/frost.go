package api

import (
	"context"
	"errors"
	"math"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// FrostIn is a frost as it is sent.
type FrostIn struct {
	Planting  string   `json:"planting" doc:"Identifier of the planting."`
	Date      string   `json:"date" format:"date" doc:"The morning after the night, not later than today at the farm nor before the planting was planted."`
	ShareLost *float64 `json:"share_lost" nullable:"false" exclusiveMinimum:"0" maximum:"1" doc:"Share of the flowers open that night that it killed, as counted afterwards."`
	LowC      *float64 `json:"low_c,omitempty" minimum:"-40" maximum:"10" doc:"Lowest temperature at the plants, °C."`
	Note      string   `json:"note,omitempty" doc:"One line of at most 200 characters."`
}

// FrostsIn is the body of frosts.
type FrostsIn struct {
	Frosts []FrostIn `json:"frosts" doc:"Good ones are kept, bad ones refused one by one. The same planting and date again, in the same list too, replaces the earlier one; its history is kept."`
}

// FrostOut is a frost on record.
type FrostOut struct {
	Planting  string       `json:"planting"`
	Date      weather.Date `json:"date" doc:"The morning after the night."`
	ShareLost float64      `json:"share_lost" doc:"Of the flowers that were open that night."`
	LowC      *float64     `json:"low_c,omitempty" doc:"Lowest temperature at the plants, °C."`
	Note      string       `json:"note,omitempty"`
}

// FrostsReport says what became of frosts.
type FrostsReport struct {
	Frosts  []FrostOut    `json:"frosts" doc:"As they were kept, in the order they were sent."`
	Refused []RefusedItem `json:"refused"`
}

// FrostList is a list of frosts.
type FrostList struct {
	Frosts []FrostOut `json:"frosts"`
}

// frost checks what can be checked without the database.
func (x FrostIn) frost() (forecast.Frost, itemFaults) {
	var f itemFaults
	frost := forecast.Frost{
		Planting: x.Planting, Date: f.date(x.Date), ShareLost: f.number("share_lost", x.ShareLost), LowC: x.LowC, Note: oneLine(x.Note),
	}
	f.check(frost.Validate())
	return frost, f
}

func frostsOut(fs []forecast.Frost) []FrostOut {
	out := make([]FrostOut, 0, len(fs))
	for _, f := range fs {
		out = append(out, FrostOut(f))
	}
	return out
}

// FrostsPreview says what frosts would change of this morning's forecast.
type FrostsPreview struct {
	AsOf    weather.Date     `json:"as_of" doc:"The morning of the forecast that they would change."`
	Effects []FrostEffectOut `json:"effects" doc:"By planting."`
	Refused []RefusedItem    `json:"refused"`
	Caution string           `json:"caution" doc:"What such a record is not."`
}

// FrostEffectOut is what frosts would change of one planting.
type FrostEffectOut struct {
	Planting string        `json:"planting"`
	CropLost float64       `json:"crop_lost" doc:"Mean share, at most 1, that they take of the crop there is without them; below 0 when they take the place of worse ones on record."`
	Before   *CropDatesOut `json:"before" doc:"Without them, but with what is on record; null when it has no dates."`
	With     *CropDatesOut `json:"with" doc:"Null when it has no dates then, or hardly a flower is left."`
}

// CropDatesOut is what a forecast says of a planting's stages and crop.
type CropDatesOut struct {
	Stages forecast.StageDates `json:"stages"`
	CropKg float64             `json:"crop_kg" doc:"Mean."`
}

// FrostCaution says what a record of frosts is not.
const FrostCaution = "This is no frost alarm: it reckons afterwards what was lost, from the flowers that were counted. " +
	"The air at a station is not the temperature of a flower. What to do in a night of frost is decided by thermometers at the plants and by local advice."

const previewFrostsAbout = "Works out this morning's forecast without and with the frosts, and keeps nothing: dates and crop of each planting. " +
	"Flowers that were open on the night are a slice of the crop; what is left is dated anew. Buds that had not opened are not among them, and what they may make up for is not reckoned. "

func cropDatesOut(o *forecast.CropDates) *CropDatesOut {
	if o == nil {
		return nil
	}
	return &CropDatesOut{o.Stages, math.Round(10*o.CropKg) / 10}
}

// frostFaults says of each frost why it could not be recorded, as
// [FrostStore.AddFrosts] would; nil: it could.
func (s *Server) frostFaults(ctx context.Context, farm string, fs []forecast.Frost) ([]error, error) {
	plantings, err := s.store.Plantings(ctx, farm)
	if err != nil {
		return nil, err
	}
	errs := make([]error, len(fs))
	for i, f := range fs {
		k := slices.IndexFunc(plantings, func(p forecast.Planting) bool { return p.ID == f.Planting })
		switch {
		case k < 0:
			errs[i] = forecast.ErrPlantingNotFound
		case f.Date < plantings[k].PlantedOn:
			errs[i] = &forecast.FieldError{Field: "date", Reason: "must not be before " + plantings[k].PlantedOn.String() + ", when it was planted"}
		}
		errs[i] = errors.Join(append(f.Validate(), errs[i])...)
	}
	return errs, nil
}

// PreviewFrost says what a frost would change of this morning's forecast, for a
// caller who may; it keeps nothing. Why it could not be recorded comes as fault.
func (s *Server) PreviewFrost(ctx context.Context, farm string, f forecast.Frost) (_ forecast.FrostEffect, fault, err error) {
	faults, err := s.frostFaults(ctx, farm, []forecast.Frost{f})
	if err != nil {
		return forecast.FrostEffect{}, nil, err
	}
	if faults[0] != nil {
		return forecast.FrostEffect{}, faults[0], nil
	}
	_, effects, err := s.forecast.FrostEffects(ctx, farm, []forecast.Frost{f})
	if err != nil {
		return forecast.FrostEffect{}, nil, err
	}
	return effects[0], nil, nil
}

func (s *Server) frostRoutes() {
	h := dated[FrostsIn, FrostIn, forecast.Frost, FrostsReport, FrostList]{
		name: "frost", names: "frosts",
		record: "Record what a frost cost",
		about: "What a night killed of the flowers that were open, counted afterwards; every berry was a flower, so the next forecast dates and weighs what is left. " +
			"This is a record and no frost alarm: which temperatures harm, and how to protect, are for a thermometer at the plants and local advice.",
		read: FrostIn.frost,
		report: func(kept []forecast.Frost, refused []RefusedItem) FrostsReport {
			return FrostsReport{frostsOut(kept), refused}
		},
		list: func(fs []forecast.Frost) FrostList { return FrostList{frostsOut(fs)} },
		add:  s.store.AddFrosts,
		all:  s.store.Frosts, withdraw: s.store.WithdrawFrost,
	}
	h.serve(s)
	add(s, Reader, long(huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/frosts/preview", OperationID: "preview-frosts", Tags: []string{"Field"},
		Summary: "See what frosts would change", Description: previewFrostsAbout + FrostCaution, DefaultStatus: http.StatusOK,
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{jsonType: {Schema: schemaOf[FrostsIn](s)}}},
		Errors:      []int{http.StatusConflict},
	}), func(ctx context.Context, in *postDated) (*got[FrostsPreview], error) {
		fs, refused, err := h.take(ctx, s, in, func(fs []forecast.Frost, _ time.Time) ([]error, error) {
			return s.frostFaults(ctx, in.Farm, fs)
		})
		if err != nil {
			return nil, err
		}
		asOf, effects, err := s.forecast.FrostEffects(ctx, in.Farm, fs)
		if err != nil {
			return nil, err
		}
		out := FrostsPreview{AsOf: asOf, Effects: []FrostEffectOut{}, Refused: refused, Caution: FrostCaution}
		for _, e := range effects {
			out.Effects = append(out.Effects, FrostEffectOut{e.Planting, thousandth(e.CropLost), cropDatesOut(e.Before), cropDatesOut(e.With)})
		}
		return &got[FrostsPreview]{out}, nil
	})
}
