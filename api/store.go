package api

import (
	"context"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Store is what the resources need of a database. Every write says who made it
// and when; PutX reports whether X is new. Reads of one thing that is not
// there return the domain's Err…NotFound.
type Store interface {
	FarmStore
	StationStore
	OutlookStore
	FeedStore
	MethodStore
	GroundStore
	SightingStore
	PickingStore
	FrostStore
	SprayStore
	DecisionStore
	ProposalStore
	ChangeStore
	AnnouncingStore
	SubscriptionStore
	RecipientStore
	ToldStore
	FrozenStore
	KeyStore
	Ping(ctx context.Context) error
}

// FarmStore keeps farms.
type FarmStore interface {
	PutFarm(ctx context.Context, f forecast.Farm, by string, at time.Time) (created bool, err error)
	Farm(ctx context.Context, id string) (forecast.Farm, error)
	Farms(ctx context.Context) ([]forecast.Farm, error)
}

// StationStore keeps stations and their days.
type StationStore interface {
	PutStation(ctx context.Context, farm string, s weather.Station, by string, at time.Time) (created bool, err error)
	Station(ctx context.Context, farm, id string) (weather.Station, error)
	Stations(ctx context.Context, farm string) ([]weather.Station, error)
	forecast.WeatherStore
	Days(ctx context.Context, farm, station string, from, to *weather.Date, knownAt *time.Time) ([]StationDay, error)
	// StationState is the same while the station's days, verdicts, hours of reading
	// and settings are, and costs little.
	StationState(ctx context.Context, farm, station string) (string, error)
	// Corrections returns the days corrected since an instant, the latest
	// correction first.
	Corrections(ctx context.Context, farm, station string, since time.Time, limit int) ([]StationDay, error)
	DayHistory(ctx context.Context, farm, station string, day weather.Date) (DayHistory, error)
	PutReadingHours(ctx context.Context, farm, station string, hours []weather.ReadingHour, by string, at time.Time) (created bool, err error)
	// PutVerdict takes a verdict back with nil.
	PutVerdict(ctx context.Context, farm, station string, day weather.Date, v *weather.Verdict, by string, at time.Time) (created bool, err error)
}

// StationDay is a day as it is on record.
type StationDay struct {
	weather.Day
	weather.Remark
	Source     string
	ReceivedAt time.Time
	Revision   int
}

// DayHistory is everything that was ever recorded of a day, oldest first.
type DayHistory struct {
	Values   []StationDay
	Verdicts []VerdictVersion
}

// VerdictVersion is a verdict as it was recorded; nil took one back.
type VerdictVersion struct {
	Verdict    *weather.Verdict
	RecordedAt time.Time
	RecordedBy string
}

// OutlookStore keeps outlooks. With knownAt they are read as they were on record
// at that instant.
type OutlookStore interface {
	// PutOutlook also returns what is on record in the end.
	PutOutlook(ctx context.Context, farm, station string, o weather.Outlook, by string, at time.Time) (kept StationOutlook, created bool, err error)
	LatestOutlook(ctx context.Context, farm, station string, knownAt *time.Time) (StationOutlook, error)
	// Outlooks returns those issued in [from, to).
	Outlooks(ctx context.Context, farm, station string, from, to, knownAt *time.Time) ([]StationOutlook, error)
}

// StationOutlook is an outlook as it is on record.
type StationOutlook struct {
	weather.Outlook
	ReceivedAt time.Time
	Version    int
}

// MethodStore keeps what farms decide about their method.
type MethodStore interface {
	// PutMethod reports whether it is the farm's first decision.
	PutMethod(ctx context.Context, farm string, c forecast.MethodChoice, by string) (created bool, err error)
	Methods(ctx context.Context, farm string) ([]forecast.MethodChoice, error) // The newest first.
}

// GroundStore keeps varieties and plantings.
type GroundStore interface {
	PutVariety(ctx context.Context, farm string, v forecast.Variety, by string, at time.Time) (created bool, err error)
	Variety(ctx context.Context, farm, id string) (forecast.Variety, error)
	Varieties(ctx context.Context, farm string) ([]forecast.Variety, error)
	PutPlanting(ctx context.Context, farm string, p forecast.Planting, by string, at time.Time) (created bool, err error)
	Planting(ctx context.Context, farm, id string) (forecast.Planting, error)
	Plantings(ctx context.Context, farm string) ([]forecast.Planting, error)
}

// DecisionStore keeps what farms decide about a season.
type DecisionStore interface {
	// PutDecision returns the decision as it is on record; a nil day takes back
	// what was decided.
	PutDecision(ctx context.Context, farm string, d forecast.Decision) (kept forecast.Decision, created bool, err error)
	// Decisions returns all versions by season, kind and version; of all seasons
	// with nil.
	Decisions(ctx context.Context, farm string, season *int) ([]forecast.Decision, error)
}

// ProposalStore keeps what people decide about proposed constants.
type ProposalStore interface {
	// DecideProposal returns the decision as it is on record. What is accepted, or
	// taken back, changes what p is about at once.
	DecideProposal(ctx context.Context, farm string, d forecast.ProposalDecision, p forecast.Proposal) (forecast.ProposalDecision, error)
	// Proposals returns all decisions, the latest first.
	Proposals(ctx context.Context, farm string) ([]forecast.ProposalDecision, error)
}

// SightingStore keeps sightings.
type SightingStore interface {
	// AddSightings keeps the good ones; the i-th result belongs to the i-th
	// sighting.
	AddSightings(ctx context.Context, farm string, ss []forecast.Sighting, by string, at time.Time) ([]SightingResult, error)
	Sightings(ctx context.Context, farm string, season *int, planting string) ([]forecast.Sighting, error)
	WithdrawSighting(ctx context.Context, farm, id, by string, at time.Time) error
}

// SightingResult is a sighting as it was kept, or why it was not.
type SightingResult struct {
	Sighting forecast.Sighting
	Err      error
}

// PickingStore keeps pickings, one for a planting and date.
type PickingStore interface {
	// AddPickings keeps the good ones; the i-th error says why the i-th was
	// refused, or nil.
	AddPickings(ctx context.Context, farm string, ps []forecast.Picking, by string, at time.Time) (refused []error, err error)
	// Pickings includes both dates; nil leaves an end open, and "" is all
	// plantings.
	Pickings(ctx context.Context, farm, planting string, from, to *weather.Date, knownAt *time.Time) ([]forecast.Picking, error)
	WithdrawPicking(ctx context.Context, farm, planting string, day weather.Date, by string, at time.Time) error
}

// FrostStore keeps frosts as a [PickingStore] keeps pickings.
type FrostStore interface {
	AddFrosts(ctx context.Context, farm string, fs []forecast.Frost, by string, at time.Time) (refused []error, err error)
	Frosts(ctx context.Context, farm, planting string, from, to *weather.Date, knownAt *time.Time) ([]forecast.Frost, error)
	WithdrawFrost(ctx context.Context, farm, planting string, day weather.Date, by string, at time.Time) error
}

// FrozenStore reads frozen forecasts.
type FrozenStore interface {
	Forecast(ctx context.Context, farm, id string) (forecast.Frozen, error)
	LatestForecast(ctx context.Context, farm string) (forecast.Frozen, error)
	LatestOfSeason(ctx context.Context, farm string, season int) (forecast.Frozen, error)
	Forecasts(ctx context.Context, farm string, season *int) ([]forecast.Frozen, error) // Without bodies.
	// IssuedOfAll returns what the frozen forecasts of a season said, by rising
	// morning: of each the one made last, hindcasts only if there is nothing else.
	IssuedOfAll(ctx context.Context, farm string, season int) ([]forecast.IssuedAll, error)
}

// KeyStore finds out who calls.
type KeyStore interface {
	// Caller returns whom the key with this SHA-256 belongs to, or
	// ErrUnauthorized when it is unknown, revoked or expired.
	Caller(ctx context.Context, hash [32]byte, now time.Time) (Caller, error)
	// SessionCaller is the same for the SHA-256 of a session's cookie.
	SessionCaller(ctx context.Context, hash [32]byte, now time.Time) (Caller, error)
}
