package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// ActualOut is the date of a stage as it came.
type ActualOut struct {
	Planting string       `json:"planting"`
	Stage    string       `json:"stage" enum:"first_ripe,peak,last_pick"`
	Date     weather.Date `json:"date"`
	From     string       `json:"from" enum:"sighting,pickings" doc:"How it is known. What was seen comes before what pickings tell."`
	Bound    string       `json:"bound" enum:",no later,no earlier" doc:"That the date is only an end of when the stage can have come: the first picking had more than a first berry, or fruit was left when picking ended. Empty: it is the date."`
}

// ActualList is the stages of a season as they came.
type ActualList struct {
	Season  int         `json:"season"`
	Actuals []ActualOut `json:"actuals" doc:"By planting and stage; what nobody saw and no picking tells is not there."`
}

func (s *Server) actualRoutes() {
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/seasons/{year}/actuals", OperationID: "actuals", Tags: []string{"Forecast"},
		Summary: "Read the stages of a season as they came",
		Description: "Seen in the field, or else told by the pickings: the days by which 5 and 95 % of the weight had ripened, and the densest day. " +
			"A picking is spread over the days since the planting was last picked clean, four at most; fewer than four pickings tell nothing.",
	}, func(ctx context.Context, in *SeasonPath) (*got[ActualList], error) {
		known, err := s.forecast.Known(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		out := ActualList{Season: in.Year, Actuals: []ActualOut{}}
		for _, a := range forecast.ActualDates(known, in.Year) {
			out.Actuals = append(out.Actuals, ActualOut{a.Planting, a.Stage.String(), a.Date, string(a.From), string(a.Bound)})
		}
		return &got[ActualList]{out}, nil
	})
}
