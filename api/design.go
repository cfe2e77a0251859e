package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// DesignIn is the body of a design.
type DesignIn struct {
	Season  *int       `json:"season,omitempty" doc:"Harvest year, the present one to five later. Default: the one in which plants that are ordered today bear first."`
	Changes []ChangeIn `json:"changes" maxItems:"40" doc:"What is tried, in order. None: the planting list as it stands."`
}

// ChangeIn is one change of the planting list; exactly one of its members is set.
type ChangeIn struct {
	Add    *AdditionIn `json:"add,omitempty" doc:"A planting more."`
	Drop   string      `json:"drop,omitempty" doc:"Identifier of a planting that is given up."`
	Resize *ResizingIn `json:"resize,omitempty" doc:"Another area for a planting."`
	Shift  *ShiftingIn `json:"shift,omitempty" doc:"Harvest moved by a row cover or by late straw."`
}

// AdditionIn is a planting that is tried. The same variety in the same block as
// one that is dropped takes its place.
type AdditionIn struct {
	Variety string  `json:"variety,omitempty" doc:"A variety of the farm. Either this or ripens."`
	Ripens  string  `json:"ripens,omitempty" enum:"early,early_mid,mid,late_mid,late,very_late" doc:"Any variety of this class, of which nothing else is known."`
	AreaM2  float64 `json:"area_m2" doc:"0.1 to 10,000,000."`
	KgPerM2 float64 `json:"expected_kg_per_m2,omitempty" doc:"0.001 to 20. Default: 1, or that of the planting whose place it takes."`
	Block   string  `json:"block,omitempty" doc:"A free name of the ground."`
	Station string  `json:"station,omitempty" doc:"Whose heat it is reckoned with. Default: the one that most plantings use."`
}

// ResizingIn is another area of a planting.
type ResizingIn struct {
	Planting string  `json:"planting"`
	AreaM2   float64 `json:"area_m2" doc:"0.1 to 10,000,000."`
}

// ShiftingIn moves the harvest of a planting.
type ShiftingIn struct {
	Planting string   `json:"planting"`
	By       string   `json:"by" enum:"row_cover,late_straw" doc:"A row cover from autumn to first bloom moves it forward, straw taken off late moves it back."`
	Days     *float64 `json:"days,omitempty" nullable:"false" doc:"By how many, 0.5 to what was published at most: 10 for row_cover, 3 for late_straw. Default: 5 and 2, which are guesses."`
}

// DesignOut is what a planting list does over all past weather.
type DesignOut struct {
	Farm       string           `json:"farm"`
	Season     int              `json:"season"`
	Years      []int            `json:"years" doc:"Past seasons whose weather was replayed."`
	Members    int              `json:"members" doc:"Possible seasons, as many of each year."`
	ThinKg     float64          `json:"thin_kg_per_day" doc:"The farm's own minimum of ripe fruit; 0: none, and no day is thin."`
	Text       []string         `json:"text" doc:"The outcome in sentences, in the farm's units."`
	Plantings  []DesignPlanting `json:"plantings" doc:"Of both lists: what stands, then what is tried."`
	Before     DesignListOut    `json:"before" doc:"The list as it stands."`
	After      DesignListOut    `json:"after" doc:"The list with the changes."`
	Difference DesignPairedOut  `json:"difference" doc:"After less before, in pairs: both have the same weather and the same draws of what plantings require."`
	Ranking    []RankedOut      `json:"ranking" doc:"What 100 m² more would do for the list with the changes, at the station that most plantings use: each class, then each variety of the farm; those that close most come first."`
	Notes      []string         `json:"notes"`
	Cautions   []string         `json:"cautions" doc:"What these figures are not, with sources."`
}

// DesignPlanting is a planting of a design.
type DesignPlanting struct {
	Planting   *string         `json:"planting" doc:"Null: it is tried."`
	Name       string          `json:"name" doc:"Of the variety, or which class."`
	Variety    *string         `json:"variety" doc:"Null: any of its class."`
	Ripens     string          `json:"ripens"`
	Block      string          `json:"block"`
	Rests      string          `json:"rests_on" enum:"own_records,class" doc:"What its dates rest on: past seasons of the variety on this farm, or what is assumed of its class, with wide ranges."`
	BeforeM2   float64         `json:"before_m2" doc:"0: it is tried."`
	AfterM2    float64         `json:"after_m2" doc:"0: it is dropped."`
	Before     *DesignDatesOut `json:"before" doc:"Null: not in this list, or it does not ripen within the season."`
	After      *DesignDatesOut `json:"after"`
	ShiftedBy  *string         `json:"shifted_by" enum:"row_cover,late_straw"`
	ShiftDays  float64         `json:"shift_days" doc:"Mean; positive is later."`
	FirstBears *int            `json:"first_bears" doc:"Season in which what is tried bears first; null of what stands."`
}

// DesignDatesOut are the dates of a planting over all possible seasons.
type DesignDatesOut struct {
	FirstRipe forecast.SpanEnd `json:"first_ripe"`
	LastPick  forecast.SpanEnd `json:"last_pick"`
}

// DesignListOut is a planting list over all possible seasons. Means are per season.
type DesignListOut struct {
	GapDays     float64             `json:"gap_days" doc:"Mean days within the season on which no variety is in its window."`
	GapRange    forecast.DayCounts  `json:"gap_days_range"`
	GapShare    float64             `json:"gap_share" doc:"Share of possible seasons with a gap day."`
	GapYears    int                 `json:"gap_years" doc:"Past years with whose weather a gap is more likely than not."`
	ThinDays    float64             `json:"thin_days" doc:"Mean days between opening and the last pick with less ripe fruit than the farm's minimum."`
	ThinRange   forecast.DayCounts  `json:"thin_days_range"`
	SeasonDays  forecast.DayCounts  `json:"season_days" doc:"From the first to the last picking day, both included."`
	First       *forecast.SpanEnd   `json:"first" doc:"Null: nothing ripens."`
	Last        *forecast.SpanEnd   `json:"last"`
	CropKg      float64             `json:"crop_kg" doc:"Mean, by the yields that the farm expects; no promise."`
	GapsBetween []GapBetweenOut     `json:"gaps_between" doc:"Which varieties the gap days lie between, those with most days first."`
	Days        []DesignDayOut      `json:"days" doc:"Of the season, in order."`
	Weeks       []DesignWeekOut     `json:"weeks" doc:"What ripens from Monday to Sunday."`
	Saturdays   []DesignSaturdayOut `json:"saturdays" doc:"Ripe fruit standing on the day."`
}

// GapBetweenOut is between which varieties gap days lie.
type GapBetweenOut struct {
	After  string  `json:"after" doc:"Variety that has just ended."`
	Before string  `json:"before" doc:"Variety that begins next."`
	Days   float64 `json:"days" doc:"Mean."`
	Share  float64 `json:"share" doc:"Of possible seasons with such a day."`
}

// DesignDayOut is a day of the season; its numbers are shares of possible seasons.
type DesignDayOut struct {
	Date   weather.Date `json:"date"`
	Season float64      `json:"season" doc:"In which it lies within the season."`
	Gap    float64      `json:"gap"`
	Thin   float64      `json:"thin"`
}

// DesignWeekOut is a week.
type DesignWeekOut struct {
	Date weather.Date     `json:"monday"`
	Kg   forecast.KgRange `json:"kg"`
}

// DesignSaturdayOut is a Saturday.
type DesignSaturdayOut struct {
	Date weather.Date     `json:"date"`
	Kg   forecast.KgRange `json:"kg"`
}

// PairedOut is a difference of means per season.
type PairedOut struct {
	Mean     float64 `json:"mean"`
	From     float64 `json:"from" doc:"Lower end of the central 80 % of the mean when as many past years as there are are drawn with replacement."`
	To       float64 `json:"to"`
	ByChance bool    `json:"by_chance" doc:"The range holds 0: the difference cannot be told from chance."`
	Season   Three   `json:"single_season" doc:"The same difference in single seasons, which what is not known of a variety spreads too."`
}

// Three are quantiles of a number that may be below nought.
type Three struct {
	P10 float64 `json:"p10"`
	P50 float64 `json:"p50"`
	P90 float64 `json:"p90"`
}

// DesignPairedOut is after less before.
type DesignPairedOut struct {
	GapDays    PairedOut `json:"gap_days"`
	ThinDays   PairedOut `json:"thin_days"`
	SeasonDays PairedOut `json:"season_days"`
	CropKg     PairedOut `json:"crop_kg"`
	GapYears   int       `json:"gap_years"`
	Longer     float64   `json:"gap_days_outside" doc:"Mean gap days of the changed list that lie outside the season as it was: what ripens far from the rest lengthens the season and leaves a gap."`
}

// RankedOut is what 100 m² more would do.
type RankedOut struct {
	Name       string          `json:"name"`
	Variety    *string         `json:"variety" doc:"Null: any of the class."`
	Ripens     string          `json:"ripens"`
	Rests      string          `json:"rests_on" enum:"own_records,class"`
	Dates      *DesignDatesOut `json:"dates"`
	GapDays    PairedOut       `json:"gap_days"`
	ThinDays   PairedOut       `json:"thin_days"`
	SeasonDays PairedOut       `json:"season_days"`
	Longer     float64         `json:"gap_days_outside"`
}

type postDesign struct {
	FarmPath
	Body DesignIn
}

// changes reads the changes; what cannot be is left to the domain to tell.
func (d DesignIn) changes() []forecast.Change {
	out := make([]forecast.Change, 0, len(d.Changes))
	for _, c := range d.Changes {
		x := forecast.Change{Drop: c.Drop}
		if a := c.Add; a != nil {
			x.Add = &forecast.Addition{Variety: a.Variety, AreaM2: a.AreaM2, KgPerM2: a.KgPerM2, Block: oneLine(a.Block), Station: a.Station}
			if class, err := forecast.ParseClass(a.Ripens); err == nil { // Others are refused by their enum.
				x.Add.Ripens = &class
			}
		}
		if r := c.Resize; r != nil {
			x.Resize = &forecast.Resizing{Planting: r.Planting, AreaM2: r.AreaM2}
		}
		if s := c.Shift; s != nil {
			x.Shift = &forecast.Shifting{Planting: s.Planting, By: forecast.Measure(s.By), Days: s.Days}
		}
		out = append(out, x)
	}
	return out
}

func (s *Server) designRoutes() {
	add(s, Reader, long(huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/designs", OperationID: "make-design", Tags: []string{"Forecast"},
		Summary: "Try a planting list over all past weather",
		Description: "Works out the forecast of the season's first day, when nothing of it has been seen, for the planting list as it stands and with the changes, and keeps nothing. " +
			"Both are counted over the same possible seasons, so a planting that is not changed has the same dates in both. " +
			"It also ranks what 100 m² more would close. The same inputs give the same answer.",
		DefaultStatus: http.StatusOK, Errors: []int{http.StatusConflict},
	}), func(ctx context.Context, in *postDesign) (*got[DesignOut], error) {
		d, faults, err := s.forecast.Design(ctx, in.Farm, in.Body.Season, in.Body.changes())
		if err != nil {
			return nil, err
		}
		if err := invalid(faults); err != nil {
			return nil, err
		}
		farm, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		return &got[DesignOut]{designOut(farm, d)}, nil
	})
}

func designOut(farm forecast.Farm, d *forecast.Designed) DesignOut {
	out := DesignOut{
		Farm: farm.ID, Season: d.Season, Years: d.Years, Members: d.Members, ThinKg: d.ThinKg,
		Text: DesignTelling{farm, d}.Outcome(), Plantings: []DesignPlanting{},
		Before: designListOut(d.Before), After: designListOut(d.After),
		Difference: DesignPairedOut{
			pairedOut(d.Difference.GapDays), pairedOut(d.Difference.ThinDays), pairedOut(d.Difference.SeasonDays), pairedOut(d.Difference.CropKg),
			d.Difference.GapYears, hundredth(d.Difference.Longer),
		},
		Ranking: []RankedOut{}, Notes: d.Notes, Cautions: d.Cautions,
	}
	for _, p := range d.Plantings {
		x := DesignPlanting{
			Planting: some(p.Planting), Name: p.Name, Variety: some(p.Variety), Ripens: p.Ripens.String(), Block: p.Block, Rests: restsOn(p.Records),
			BeforeM2: p.BeforeM2, AfterM2: p.AfterM2, Before: designDatesOut(p.Before), After: designDatesOut(p.After),
			ShiftedBy: some(string(p.ShiftedBy)), ShiftDays: p.ShiftDays, FirstBears: some(p.FirstBears),
		}
		out.Plantings = append(out.Plantings, x)
	}
	for _, r := range d.Ranking {
		out.Ranking = append(out.Ranking, RankedOut{
			r.Name, some(r.Variety), r.Ripens.String(), restsOn(r.Records), designDatesOut(r.Dates),
			pairedOut(r.GapDays), pairedOut(r.ThinDays), pairedOut(r.Season), hundredth(r.Longer),
		})
	}
	return out
}

func restsOn(records bool) string {
	if records {
		return "own_records"
	}
	return "class"
}

func designDatesOut(d *forecast.DesignedDates) *DesignDatesOut {
	if d == nil {
		return nil
	}
	return &DesignDatesOut{d.First, d.Last}
}

func pairedOut(e forecast.Paired) PairedOut {
	return PairedOut{
		hundredth(e.Mean), hundredth(e.Lo), hundredth(e.Hi), e.ByChance(),
		Three{hundredth(e.Season[0]), hundredth(e.Season[1]), hundredth(e.Season[2])},
	}
}

func designListOut(o forecast.DesignOutcome) DesignListOut {
	out := DesignListOut{
		GapDays: hundredth(o.GapDays), GapRange: o.GapRange, GapShare: thousandth(o.GapShare), GapYears: o.GapYears,
		ThinDays: hundredth(o.ThinDays), ThinRange: o.ThinRange, SeasonDays: o.SeasonDays, CropKg: hundredth(o.CropKg),
		GapsBetween: []GapBetweenOut{}, Days: []DesignDayOut{}, Weeks: []DesignWeekOut{}, Saturdays: []DesignSaturdayOut{},
	}
	if o.SeasonMean > 0 {
		out.First, out.Last = &o.First, &o.Last
	}
	for _, g := range o.Between {
		out.GapsBetween = append(out.GapsBetween, GapBetweenOut{g.After, g.Before, hundredth(g.Days), thousandth(g.Share)})
	}
	for _, x := range o.Days {
		out.Days = append(out.Days, DesignDayOut{x.Date, thousandth(x.Season), thousandth(x.Gap), thousandth(x.Thin)})
	}
	for _, w := range o.Weeks {
		out.Weeks = append(out.Weeks, DesignWeekOut(w))
	}
	for _, x := range o.Saturdays {
		out.Saturdays = append(out.Saturdays, DesignSaturdayOut(x))
	}
	return out
}
