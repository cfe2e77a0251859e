package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// errNoProfile is a farm without a past season that a method could be tried on.
var errNoProfile = errors.New("api: no past season to profile")

// ProfileOut is how past seasons would have been dated by other methods than
// the one in use.
type ProfileOut struct {
	Farm     string            `json:"farm"`
	AsOf     weather.Date      `json:"as_of"`
	Scored   string            `json:"scored" enum:"leave-one-season-out" doc:"How every error here came about: a season is dated from what the other seasons teach, from the bloom that was seen and by the weather that came. Neither in sample nor a score of forecasts, which do not know the weather and miss by more."`
	Seasons  []int             `json:"seasons" doc:"Past seasons with a date to compare."`
	Dates    int               `json:"dates" doc:"Dates compared, the same for every method."`
	LeftOut  ProfileLeftOut    `json:"left_out"`
	InUse    ProfilePointOut   `json:"in_use" doc:"The farm's method."`
	Curves   []ProfileCurveOut `json:"curves" doc:"By degree_days, that in use first; empty without a date to compare."`
	Proposed *ProfilePointOut  `json:"proposed" doc:"The method to go over to; null: none is proposed. Nothing changes until somebody accepts it."`
	Accept   *MethodBody       `json:"accept" doc:"The body that accepts it, for PUT …/method; null: none is proposed."`
	Finding  string            `json:"finding" doc:"What is proposed and on what grounds, or why nothing is, in words."`
	Basis    string            `json:"basis" doc:"What the figures are and rest on, in words."`
}

// ProfileLeftOut counts what could not be used.
type ProfileLeftOut struct {
	OwnMethod int `json:"own_method" doc:"Varieties with a requirement of their own, which holds for its own method."`
	NoBloom   int `json:"no_bloom" doc:"Plantings in a season with ripe fruit on record, but no bloom."`
	NoWeather int `json:"no_weather" doc:"Plantings in a season with too few days of weather on record."`
}

// ProfileCurveOut are the methods of one kind.
type ProfileCurveOut struct {
	DegreeDays string            `json:"degree_days"`
	Points     []ProfilePointOut `json:"points" doc:"By base_c, rising."`
}

// ProfilePointOut is how a method does.
type ProfilePointOut struct {
	MethodShape
	RMSEDays  float64          `json:"rmse_days" doc:"Root of the mean square error."`
	MAEDays   float64          `json:"mae_days" doc:"Mean absolute error."`
	BiasDays  float64          `json:"bias_days" doc:"Mean error; positive is late."`
	GainDays  float64          `json:"gain_days" doc:"rmse_days of the method in use less this one's."`
	RMSERange *DaysRange       `json:"rmse_range" doc:"Holds 90 % of what rmse_days is when seasons are drawn anew; null with fewer than two seasons."`
	GainRange *DaysRange       `json:"gain_range" doc:"As rmse_range, of gain_days; both methods are tried on the same draws."`
	BySeason  []SeasonErrorOut `json:"by_season"`
}

// DaysRange is a range of figures in days.
type DaysRange struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// SeasonErrorOut are the errors of one season, added up.
type SeasonErrorOut struct {
	Season       int     `json:"season"`
	Dates        int     `json:"dates"`
	Sum          float64 `json:"sum" doc:"Of errors, forecast minus actual, days."`
	SumAbs       float64 `json:"sum_abs" doc:"Of their absolute values, days."`
	SumOfSquares float64 `json:"sum_of_squares" doc:"Days²."`
}

// ProfileQuery says of which farm and morning a profile is.
type ProfileQuery struct {
	FarmPath
	AsOf string `query:"as_of" format:"date" required:"false" doc:"The morning whose knowledge is used. Default: the farm's today."`
}

type pictureOfProfile struct {
	ProfileQuery
	Theme string `query:"theme" enum:"light,dark" default:"light" required:"false" doc:"Of the picture."`
	Width int    `query:"width" minimum:"320" maximum:"2400" default:"1200" required:"false" doc:"Of the picture, px."`
}

func (s *Server) profileRoutes() {
	const path = "/v1/farms/{farm}/method/profile"
	const what = "How past seasons would have been dated by other methods"
	const how = "For a grid of base temperatures and ways to sum degree-days, with the farm's upper cutoff: the error in days with which each dates every past season when that season is left out. " +
		"Another method is proposed only when there are six seasons or more and it is clearly better. It is worked out anew each time and changes nothing: PUT …/method accepts a proposal."
	add(s, Reader, long(huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "profile-method", Tags: []string{"Set-up"},
		Summary: what, Description: how,
	}), func(ctx context.Context, in *ProfileQuery) (*got[ProfileOut], error) {
		p, _, err := s.profile(ctx, in)
		if err != nil {
			return nil, err
		}
		return &got[ProfileOut]{profileOut(p)}, nil
	})
	for _, ending := range []string{"svg", "png"} {
		mt, schema := pictureTypes[ending], &huma.Schema{Type: huma.TypeString}
		if ending == "png" {
			schema.Format = "binary"
		}
		add(s, Reader, huma.Operation{
			Method: http.MethodGet, Path: path + "." + ending, OperationID: "profile-method-" + ending, Tags: []string{"Set-up"},
			Summary: what + ", as " + strings.ToUpper(ending), Description: how,
			Responses: map[string]*huma.Response{"200": {Description: what, Content: map[string]*huma.MediaType{mt: {Schema: schema}}}},
			Errors:    []int{http.StatusConflict},
		}, func(ctx context.Context, in *pictureOfProfile) (*frozenBody, error) {
			p, farm, err := s.profile(ctx, &in.ProfileQuery)
			if err != nil {
				return nil, err
			}
			chart, ok := ProfileChart(farm, p)
			if !ok {
				return nil, errNoProfile
			}
			opt := charts.Options{Width: in.Width}
			if in.Theme == "dark" {
				opt.Theme = charts.Dark
			}
			var buf bytes.Buffer
			if ending == "png" {
				err = chart.WritePNG(&buf, opt)
			} else {
				err = chart.WriteSVG(&buf, opt)
			}
			return &frozenBody{Status: http.StatusOK, ContentType: mt, Body: buf.Bytes()}, err
		})
	}
}

func (s *Server) profile(ctx context.Context, in *ProfileQuery) (*forecast.MethodProfile, forecast.Farm, error) {
	var errs []error
	asOf := dateParam("as_of", in.AsOf, &errs)
	if err := invalid(errs); err != nil {
		return nil, forecast.Farm{}, err
	}
	return s.forecast.Profile(ctx, in.Farm, asOf)
}

func profileOut(p *forecast.MethodProfile) ProfileOut {
	out := ProfileOut{
		Farm: p.Farm, AsOf: p.AsOf, Scored: "leave-one-season-out",
		Seasons: append([]int{}, p.Seasons...), Dates: p.Cases, LeftOut: ProfileLeftOut(p.LeftOut),
		InUse: profilePoint(p.InUse), Curves: []ProfileCurveOut{}, Finding: p.Finding, Basis: p.Basis,
	}
	for _, c := range p.Curves {
		curve := ProfileCurveOut{DegreeDays: string(c.Kind), Points: []ProfilePointOut{}}
		for _, q := range c.Points {
			curve.Points = append(curve.Points, profilePoint(q))
		}
		out.Curves = append(out.Curves, curve)
	}
	if p.Proposed != nil {
		best := profilePoint(*p.Proposed)
		reason := ProfileReason(p)
		out.Proposed = &best
		out.Accept = &MethodBody{DegreeDays: best.DegreeDays, BaseC: best.BaseC, UpperC: best.UpperC, Cutoff: best.Cutoff, Reason: &reason}
	}
	return out
}

// ProfileReason is what may be said as the reason for choosing what p proposes.
func ProfileReason(p *forecast.MethodProfile) string {
	return fmt.Sprintf("%.2f days less error on %d past seasons, each left out in turn", p.Proposed.Gain, len(p.Seasons))
}

func profilePoint(q forecast.ProfilePoint) ProfilePointOut {
	out := ProfilePointOut{
		MethodShape: methodShape(q.Method),
		RMSEDays:    thousandth(q.RMSE), MAEDays: thousandth(q.MAE), BiasDays: thousandth(q.Bias), GainDays: thousandth(q.Gain),
		RMSERange: daysRange(q.RMSERange), GainRange: daysRange(q.GainRange), BySeason: []SeasonErrorOut{},
	}
	for _, e := range q.BySeason {
		out.BySeason = append(out.BySeason, SeasonErrorOut{e.Season, e.Cases, e.Sum, e.SumAbs, e.SumOfSquares})
	}
	return out
}

func daysRange(r *forecast.DayRange) *DaysRange {
	if r == nil {
		return nil
	}
	return &DaysRange{thousandth(r.Low), thousandth(r.High)}
}

// thousandth rounds days; there is no -0.
func thousandth(x float64) float64 { return math.Round(x*1000)/1000 + 0 }

func hundredth(x float64) float64 { return math.Round(x*100)/100 + 0 }

// ProfileChart returns the chart of a profile. It reports whether there is
// anything to draw: there is not without a past season.
func ProfileChart(farm forecast.Farm, p *forecast.MethodProfile) (charts.BaseProfile, bool) {
	c := charts.BaseProfile{
		Heading: "Base temperature, " + farm.Name, Finding: p.Finding, Basis: p.Basis,
		Loss: "root of the mean square error, days", Interval: "9 times in 10 when seasons are drawn anew",
		CurrentC: p.InUse.Method.Base,
	}
	if farm.Units == forecast.US {
		c.Units = charts.US
	}
	if p.Proposed != nil {
		base := p.Proposed.Method.Base
		c.ProposedC = &base
	}
	for _, k := range p.Curves {
		curve := charts.BaseCurve{Name: string(k.Kind)}
		for _, q := range k.Points {
			at := charts.BasePoint{BaseC: q.Method.Base, Days: q.RMSE}
			if r := q.RMSERange; r != nil {
				at.Low, at.High = r.Low, r.High
			}
			curve.Points = append(curve.Points, at)
		}
		if len(curve.Points) > 1 { // One point is no curve.
			c.Curves = append(c.Curves, curve)
		}
	}
	return c, len(c.Curves) > 0
}
