package api

import (
	"context"
	"slices"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/quality"
)

// StationHealthOut is how a station's record stands.
type StationHealthOut struct {
	Station     string             `json:"station"`
	AsOf        weather.Date       `json:"as_of" doc:"The farm's today; the record is looked at up to the day before."`
	First       *weather.Date      `json:"first" doc:"First day on record, or null."`
	Last        *weather.Date      `json:"last" doc:"Last day on record, or null."`
	DaysOld     int                `json:"days_old" doc:"Days missing since the last one, up to yesterday."`
	Days        int                `json:"days" doc:"On record."`
	Holes       HolesOut           `json:"holes"`
	Suspects    SuspectsOut        `json:"suspects"`
	Corrections []CorrectionOut    `json:"corrections" doc:"Days that were corrected in the last 30 days, the latest first, at most 50."`
	Hours       ReadingHoursBody   `json:"reading_hours"`
	Proposal    *ReadingHoursGuess `json:"reading_hours_proposed" doc:"Where the record speaks for another setting, or null."`
	StandIn     *StandInOut        `json:"stand_in" doc:"How the station compares with its stand-in, or null without one."`
	Leaning     LeaningOut         `json:"leaning"`
	OutlookAt   *time.Time         `json:"outlook_issued_at" doc:"Of the newest outlook, or null."`
}

// HolesOut are the holes of a record.
type HolesOut struct {
	Count  int       `json:"count"`
	Days   int       `json:"days" doc:"In all of them."`
	Latest []HoleOut `json:"latest" doc:"The latest 20, in order."`
}

// SuspectsOut are the suspects of a record.
type SuspectsOut struct {
	Days    int            `json:"days" doc:"That a test doubts."`
	LeftOut int            `json:"left_out" doc:"That forecasts do not use, verdicts included."`
	Misfit  *string        `json:"misfit" doc:"Said when so many days are doubted that the station's place, unit or settings must be wrong: then none is left out. Usually null."`
	ByTest  map[string]int `json:"by_test" doc:"Days that each test doubts."`
	Latest  []SuspectDay   `json:"latest" doc:"The latest 50, in order."`
}

// CorrectionOut is a day that was corrected.
type CorrectionOut struct {
	Date       weather.Date `json:"date"`
	Min        float64      `json:"min"`
	Max        float64      `json:"max"`
	Source     string       `json:"source"`
	ReceivedAt time.Time    `json:"received_at"`
}

// StandInOut is how a station compares with the one that stands in for it.
type StandInOut struct {
	Station string           `json:"station"`
	Used    bool             `json:"used" doc:"False: they have too few days in common."`
	Common  int              `json:"days_in_common"`
	Lent    int              `json:"days_lent" doc:"Of the whole record."`
	Months  []MonthOffsetOut `json:"months" doc:"Twelve, or none when they have too few days in common."`
}

// MonthOffsetOut is by how much the station is warmer than its stand-in.
type MonthOffsetOut struct {
	Month int     `json:"month" minimum:"1" maximum:"12"`
	Days  int     `json:"days" doc:"In common in that month."`
	Min   float64 `json:"min" doc:"°C."`
	MinSD float64 `json:"min_sd" doc:"How well it is known, °C."`
	Max   float64 `json:"max" doc:"°C."`
	MaxSD float64 `json:"max_sd" doc:"How well it is known, °C."`
}

// LeaningOut is how far the season leans on days not observed at the station.
type LeaningOut struct {
	Season      int          `json:"season"`
	From        weather.Date `json:"from"`
	To          weather.Date `json:"to"`
	Days        int          `json:"days" doc:"From from to to."`
	Bridged     int          `json:"bridged" doc:"Of them, in holes of up to three days, on a line between their neighbours."`
	Lent        int          `json:"lent" doc:"Of them, from the stand-in."`
	OtherYears  int          `json:"other_years" doc:"Of them, from the mean of other years."`
	PastSeasons int          `json:"past_seasons" doc:"That can be replayed for the days ahead; five are needed."`
}

const (
	correctionDays = 30
	correctionsMax = 50
	holesMax       = 20
	suspectsMax    = 50
)

func (s *Server) stationHealth(ctx context.Context, in *StationPath) (*got[StationHealthOut], error) {
	now := s.now()
	inputs, err := s.forecast.Known(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	today, err := inputs.Farm.Today(now)
	if err != nil {
		return nil, err
	}
	days, err := s.store.Days(ctx, in.Farm, in.Station, nil, nil, nil)
	if err != nil {
		return nil, err
	}
	remarks := make([]weather.Remark, len(days))
	for i, d := range days {
		remarks[i] = d.Remark
	}
	h, err := forecast.StationHealth(inputs, in.Station, remarks, today)
	if err != nil {
		return nil, err
	}
	corrections, err := s.store.Corrections(ctx, in.Farm, in.Station, now.AddDate(0, 0, -correctionDays), correctionsMax)
	if err != nil {
		return nil, err
	}
	out := StationHealthOut{
		Station: in.Station, AsOf: today, First: h.First, Last: h.Last, DaysOld: h.DaysOld, Days: h.Days,
		Holes: HolesOut{Count: len(h.Holes), Latest: holesOut(tail(h.Holes, holesMax))},
		Suspects: SuspectsOut{
			LeftOut: len(h.LeftOut), Misfit: some(h.Misfit), ByTest: map[string]int{}, Latest: suspectsOut(tail(h.Suspects, suspectsMax)),
		},
		Corrections: []CorrectionOut{}, Hours: readingHoursOut(h.Hours), OutlookAt: h.OutlookAt,
		Leaning: LeaningOut(h.Leaning),
	}
	for _, x := range h.Holes {
		out.Holes.Days += x.Len()
	}
	var day []quality.Test // The tests that doubt the day of x.
	for i, x := range h.Suspects {
		if i == 0 || h.Suspects[i-1].Date != x.Date {
			out.Suspects.Days++
			day = day[:0]
		}
		if !slices.Contains(day, x.Test) { // A source may doubt both the low and the high.
			day = append(day, x.Test)
			out.Suspects.ByTest[string(x.Test)]++
		}
	}
	for _, d := range corrections {
		out.Corrections = append(out.Corrections, CorrectionOut{d.Date, d.Min, d.Max, d.Source, d.ReceivedAt})
	}
	if h.Proposal != nil {
		out.Proposal = guessOut(*h.Proposal)
	}
	if x := h.StandIn; x != nil {
		out.StandIn = &StandInOut{Station: x.Station, Used: x.Used, Common: x.Offsets.Days, Lent: x.Lent, Months: []MonthOffsetOut{}}
		if x.Used {
			for m, o := range x.Offsets.Months {
				out.StandIn.Months = append(out.StandIn.Months, MonthOffsetOut{m + 1, o.Days, o.Min.C, o.Min.SD, o.Max.C, o.Max.SD})
			}
		}
	}
	return &got[StationHealthOut]{out}, nil
}

// tail returns the last n of list, or all.
func tail[T any](list []T, n int) []T { return list[max(0, len(list)-n):] }
