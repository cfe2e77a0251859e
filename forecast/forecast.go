package forecast

import (
	"encoding/json"
	"fmt"
	"time"

	"ripetide/weather"
)

// Forecast is a forecast as it is issued: dates, windows, supply and gaps as
// counts and quantiles over members. Its JSON encoding, by [Forecast.Encode],
// is the frozen form, which is stored and served byte for byte; that is why
// this domain type carries tags. Dates are the farm's civil dates, heat is
// °C·d, weights kg, probabilities fractions.
type Forecast struct {
	ID              *string         `json:"id"` // Null when only computed.
	Farm            string          `json:"farm"`
	Season          int             `json:"season"`
	AsOf            weather.Date    `json:"as_of"` // The morning it is made for.
	MadeAt          time.Time       `json:"made_at"`
	Hindcast        bool            `json:"hindcast"`          // Made for an earlier day than the day it was made on.
	Late            bool            `json:"late"`              // Made for a morning on which the service should have made it and did not run.
	WeatherThrough  *weather.Date   `json:"weather_through"`   // Last observed day of the record that ends first; null without any.
	OutlookIssuedAt *time.Time      `json:"outlook_issued_at"` // Null when no outlook was used.
	DaysNotObserved int             `json:"days_not_observed"` // Days since the first bloom, before as_of, that were filled.
	Plantings       []PlantingDates `json:"plantings"`         // In order of ripening, those that cannot be forecast last.
	Gaps            []Gap           `json:"gaps"`
	SeasonSpan      *Span           `json:"season_span"` // Null when nothing can be forecast.
	Advice          *Advice         `json:"advice"`      // Likewise.
	Days            []DaySupply     `json:"days"`
	Method          MethodNote      `json:"method"`
	Notes           []Note          `json:"notes"`
}

// PlantingDates is what a forecast says of one planting.
type PlantingDates struct {
	Planting             string      `json:"planting"`
	Variety              string      `json:"variety"`
	Block                string      `json:"block"`
	Bloom                *Bloom      `json:"bloom"`                   // Null while it is not known.
	DegreeDaysSinceBloom *float64    `json:"degree_days_since_bloom"` // Of the days after bloom through weather_through; null before bloom.
	Stages               *StageDates `json:"stages"`                  // Null when the planting cannot be forecast.
	PickingWindowDays    *DayCounts  `json:"picking_window_days"`
	Moved                *Moved      `json:"moved"` // Since the last frozen forecast; null when there is none.
}

// Bloom is the date accumulation starts from.
type Bloom struct {
	Date weather.Date  `json:"date"`
	From BloomSource   `json:"from"`
	P10  *weather.Date `json:"p10"` // Quantiles over members when it is forecast, else null.
	P90  *weather.Date `json:"p90"`
}

// BloomSource says how a bloom date is known.
type BloomSource string

// The sources of a bloom date.
const (
	BloomSighted  BloomSource = "sighting"   // bloom_10 was seen.
	BloomFromFull BloomSource = "full bloom" // Only full bloom was seen.
	BloomForecast BloomSource = "forecast"   // Not seen yet.
)

// bloomNotice is how long before the early end of its forecast bloom is asked
// for: before that nobody can have seen it.
const bloomNotice = 7

// Due reports whether bloom is forecast and so near, on the morning at, that it
// should be looked for and entered.
func (b Bloom) Due(at weather.Date) bool {
	return b.From == BloomForecast && (b.P10 == nil || at >= *b.P10-bloomNotice)
}

// StageDates are the dates of the forecast stages.
type StageDates struct {
	FirstRipe DateRange `json:"first_ripe"`
	Peak      DateRange `json:"peak"`
	LastPick  DateRange `json:"last_pick"`
}

// DateRange holds quantiles of a date over members: the p-quantile is the
// smallest date with at least a share p of the members on or before it. When
// the stage was seen all of them are that date.
type DateRange struct {
	P10  weather.Date  `json:"p10"`
	P50  weather.Date  `json:"p50"`
	P90  weather.Date  `json:"p90"`
	Seen *weather.Date `json:"seen"`
	// Earliest is the date in the earliest member, of first ripe fruit only: no
	// quantile takes its place where fruit must not come before something else.
	// Nil in forecasts frozen before it was kept.
	Earliest *weather.Date `json:"earliest,omitempty"`
}

// DayCounts holds quantiles of a number of days.
type DayCounts struct {
	P10 int `json:"p10"`
	P50 int `json:"p50"`
	P90 int `json:"p90"`
}

// Span holds the quantiles of the season's first and last picking day.
type Span struct {
	First SpanEnd `json:"first"`
	Last  SpanEnd `json:"last"`
}

// SpanEnd holds quantiles of one end of the season.
type SpanEnd struct {
	P10 weather.Date `json:"p10"`
	P50 weather.Date `json:"p50"`
	P90 weather.Date `json:"p90"`
}

// GapKind tells a gap from a thin stretch.
type GapKind string

// The kinds of a gap.
const (
	KindGap  GapKind = "gap"  // No variety is in its picking window.
	KindThin GapKind = "thin" // Less ripe fruit is standing than the farm's minimum.
)

// Gap is a maximal run of days, both ends included, on each of which the
// probability of the kind reaches the farm's threshold.
type Gap struct {
	From        weather.Date `json:"from"`
	To          weather.Date `json:"to"`
	Kind        GapKind      `json:"kind"`
	Probability float64      `json:"probability"` // Share of members with such a day inside the run.
	After       *string      `json:"after"`       // Planting that ends before it.
	Before      *string      `json:"before"`      // Planting that begins after it.
	PastYears   int          `json:"past_years"`  // Of method.traces, in how many it would have been there.
}

// DaySupply is one day of the farm's season over members.
type DaySupply struct {
	Date            weather.Date       `json:"date"`
	Ripe            float64            `json:"varieties_in_window"` // Mean number of varieties in their window.
	RipeKg          KgRange            `json:"ripe_kg"`             // Ripe fruit standing, before the day's picking.
	RipeKgBy        map[string]float64 `json:"ripe_kg_by_planting"` // Means; they add up to the mean of the whole.
	GapProbability  float64            `json:"gap_probability"`
	ThinProbability float64            `json:"thin_probability"`
	Opens           bool               `json:"opens"`                // Whether the farm opens on this weekday.
	Ready           float64            `json:"ready_probability"`    // Enough to open on this day if nobody has picked yet.
	ReadyBy         float64            `json:"ready_by_probability"` // On this or an earlier day.
	Enough          float64            `json:"enough_probability"`   // Enough for the day's crowd, the farm having opened when it was ready.
	Past            float64            `json:"past_share"`           // Mean share of the crop that has ripened and spoiled if nobody has picked.
}

// KgRange holds quantiles of a weight, kg.
type KgRange struct {
	P10 float64 `json:"p10"`
	P50 float64 `json:"p50"`
	P90 float64 `json:"p90"`
}

// Moved says by how many days the mean date, over members, of a planting's
// next stage moved since an earlier forecast, and why. Days are rounded to
// tenths, positive is later; the causes add up to the whole.
type Moved struct {
	Stage    string       `json:"stage"`    // The next to come, which neither forecast knew as seen.
	Since    weather.Date `json:"since"`    // The morning of the earlier forecast.
	Forecast string       `json:"forecast"` // Its identifier.
	Days     float64      `json:"days"`
	Because  []Cause      `json:"because"` // In the order in which inputs were exchanged; those of 0.0 days are left out.
}

// Cause is one part of a move.
type Cause struct {
	Cause MoveCause `json:"cause"`
	Days  float64   `json:"days"`
}

// MethodNote says how the forecast was reckoned. Plantings whose variety has
// a requirement of its own method are named in the notes.
type MethodNote struct {
	DegreeDays Kind     `json:"degree_days"`
	BaseC      float64  `json:"base_c"`
	UpperC     *float64 `json:"upper_c"` // Null without a cutoff.
	Cutoff     Cutoff   `json:"cutoff"`
	Traces     int      `json:"traces"`  // Past years of weather.
	Members    int      `json:"members"` // Complete possible seasons.
}

// Note is something the reader must know, in plain words.
type Note struct {
	Kind     NoteKind `json:"kind"`
	Planting string   `json:"planting,omitempty"`
	Text     string   `json:"text"`
}

// NoteKind names what a note is about.
type NoteKind string

// The kinds of notes.
const (
	NoteEstimate    NoteKind = "estimate"      // What a forecast is not.
	NoteNoBloom     NoteKind = "no_bloom"      // Bloom is not recorded: not yet to be forecast.
	NoteFullBloom   NoteKind = "full_bloom"    // Bloom was reckoned back from full bloom.
	NoteNoRecords   NoteKind = "no_records"    // The variety has no past seasons on the farm.
	NoteHole        NoteKind = "hole"          // Days without weather were filled.
	NoteStale       NoteKind = "stale_weather" // The record ends before yesterday.
	NoteLook        NoteKind = "look"          // A stage may have come unseen.
	NoteSuspect     NoteKind = "suspect"       // Days of this season are left out as doubtful.
	NoteStation     NoteKind = "station"       // The station's record is too short.
	NoteNotReached  NoteKind = "not_reached"   // Some members do not ripen within the season.
	NoteOutside     NoteKind = "outside"       // The season leaves what is on record.
	NoteFrost       NoteKind = "frost"         // Frosts have taken flowers, and so a part of the crop.
	NotePickings    NoteKind = "pickings"      // The record of pickings ends before yesterday.
	NoteOutlook     NoteKind = "outlook"       // The outlook is old.
	NoteStandIn     NoteKind = "stand_in"      // A stand-in station fills in.
	NoteMethod      NoteKind = "method"        // A variety is reckoned by a method of its own.
	NoteNoPlantings NoteKind = "no_plantings"  // Nothing bears.
)

// Encode returns the frozen form: JSON without insignificant space, the same
// bytes for the same forecast.
func (f *Forecast) Encode() ([]byte, error) {
	b, err := json.Marshal(f)
	if err != nil {
		return nil, fmt.Errorf("encode forecast: %w", err)
	}
	return b, nil
}

// Decode reads a frozen form.
func Decode(b []byte) (*Forecast, error) {
	f := new(Forecast)
	if err := json.Unmarshal(b, f); err != nil {
		return nil, fmt.Errorf("decode forecast: %w", err)
	}
	return f, nil
}
