package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// BlockOut is a block as it stands.
type BlockOut struct {
	Block         string        `json:"block"`
	Plantings     []string      `json:"plantings" doc:"That bear this season."`
	ClosedUntil   *time.Time    `json:"closed_until" doc:"Nobody may pick before this instant; null: no spray on record closes the block."`
	FirstDay      *weather.Date `json:"first_day" doc:"The first day on which the block may be picked: the earliest fruit or the announced opening day, whichever is earlier; today once ripe fruit was seen. Null while neither is known."`
	FirstDayFrom  *string       `json:"first_day_from" enum:"earliest_member,announced,seen" doc:"What first_day rests on."`
	EarliestFruit *weather.Date `json:"earliest_fruit" doc:"First ripe date of the earliest planting in the forecast's earliest member, or when ripe fruit was seen. No quantile takes its place: null while it is not known."`
	EarliestOf    *string       `json:"earliest_of" doc:"The planting of earliest_fruit."`
	AnnouncedDay  *weather.Date `json:"announced_day" doc:"The farm's announced opening day."`
	PickingOver   bool          `json:"picking_over" doc:"By the forecast the last pick of every planting has probably passed."`
	Warnings      []string      `json:"warnings" doc:"What must not be overlooked, in plain words."`
	Closures      []ClosureOut  `json:"closures" doc:"Sprays that were done this season, and older ones that still close the block."`
	Planned       []PlanOut     `json:"planned"`
}

// ClosureOut is a spray that was done, with how long it closes its block.
type ClosureOut struct {
	SprayOut
	InForce         bool `json:"in_force" doc:"The block is closed by it now."`
	FruitInside     bool `json:"fruit_inside" doc:"The earliest fruit is ripe before the block opens again."`
	AnnouncedInside bool `json:"announced_inside" doc:"The announced opening day comes before the block opens again."`
}

// PlanOut is a planned spray with what it leaves time for.
type PlanOut struct {
	SprayOut
	LastSafeAt *time.Time    `json:"last_safe_at" doc:"The last minute at which it may be done so that both intervals are over as first_day begins; null while first_day is not known."`
	Passed     bool          `json:"passed" doc:"That minute is over."`
	Raised     bool          `json:"raised" doc:"The block may be picked earlier than was known when this was entered, or when somebody last took note of it."`
	KnownDay   *weather.Date `json:"known_day" doc:"The first day as it was known then; null: it was not."`
	SeenBy     *string       `json:"seen_by" doc:"Who last took note of it."`
	SeenAt     *time.Time    `json:"seen_at"`
	OpenIfNow  time.Time     `json:"open_if_sprayed_now" doc:"When the block would open again if it were sprayed now."`
}

// BlockList is a farm's blocks.
type BlockList struct {
	Blocks  []BlockOut `json:"blocks" doc:"In order of their names: those in which something bears this season, and those that a spray still closes."`
	Caution string     `json:"caution"`
}

// SprayCaution stands beside whatever is counted from a label.
const SprayCaution = "The label is the law. All that is done here is to count from what you read off it; local rules and licensed advice decide. " +
	"Customers count as people in the field during re-entry."

// SprayBook is what sprays are counted with.
type SprayBook struct {
	Store    Store
	Forecast *forecast.Service
	Now      func() time.Time
}

// Blocks returns the blocks of a farm as they stand now.
func (b SprayBook) Blocks(ctx context.Context, farm forecast.Farm) ([]forecast.Block, error) {
	g := forecast.Grounds{Farm: farm, Now: b.Now()}
	today, err := farm.Today(g.Now)
	if err != nil {
		return nil, err
	}
	season := forecast.SeasonOf(today, farm.Southern())
	if g.Plantings, err = b.Store.Plantings(ctx, farm.ID); err != nil {
		return nil, err
	}
	if g.Sprays, err = b.Store.Sprays(ctx, farm.ID, nil, nil); err != nil {
		return nil, err
	}
	switch z, err := b.Store.LatestOfSeason(ctx, farm.ID, season); {
	case err == nil:
		if g.Forecast, err = b.Forecast.Decode(ctx, z); err != nil {
			return nil, err
		}
	case !errors.Is(err, forecast.ErrForecastNotFound):
		return nil, err
	}
	decided, err := b.Store.Decisions(ctx, farm.ID, &season)
	if err != nil {
		return nil, err
	}
	if day, ok := forecast.Decided(decided, season, forecast.DecideOpening); ok {
		g.Announced = &day
	}
	seen, err := b.Store.Sightings(ctx, farm.ID, &season, "")
	if err != nil {
		return nil, err
	}
	first, last := forecast.SeasonBounds(season, farm.Southern())
	picked, err := b.Store.Pickings(ctx, farm.ID, "", &first, &last, nil)
	if err != nil {
		return nil, err
	}
	g.Ripe = forecast.RipeSince(farm, season, seen, picked)
	return forecast.Blocks(g)
}

// Add records sprays. With each plan goes what is known of its block, so that
// it can be told when that moves.
func (b SprayBook) Add(ctx context.Context, farm forecast.Farm, sprays []forecast.Spray, by string) ([]SprayResult, error) {
	blocks, err := b.Blocks(ctx, farm)
	if err != nil {
		return nil, err
	}
	for i := range sprays {
		sprays[i].Known = nil
		for _, k := range blocks {
			if sprays[i].SprayedAt == nil && k.Name == sprays[i].Block {
				sprays[i].Known = k.First.Day
			}
		}
	}
	return b.Store.AddSprays(ctx, farm.ID, sprays, by, b.Now())
}

// See records that somebody took note from which day on the block of a planned
// spray may be picked. A day that is earlier than what is known would keep
// quiet about forecasts to come, and is refused.
func (b SprayBook) See(ctx context.Context, farm forecast.Farm, id string, day weather.Date, by string) error {
	blocks, err := b.Blocks(ctx, farm)
	if err != nil {
		return err
	}
	var first *weather.Date // Its plantings may have been parted between blocks meanwhile.
	planned := false
	for _, k := range blocks {
		for _, p := range k.Planned {
			if p.ID != id {
				continue
			}
			planned = true
			if d := k.First.Day; d != nil && (first == nil || *d < *first) {
				first = d
			}
		}
	}
	switch {
	case !planned:
		return forecast.ErrSprayNotFound
	case first == nil:
		return &forecast.FieldError{Field: "day", Reason: "cannot be taken note of: from when the block may be picked is not known yet"}
	case day < *first:
		return &forecast.FieldError{Field: "day", Reason: fmt.Sprintf("must not be before %s, from when the block may be picked as far as is known", *first)}
	}
	return b.Store.SeeSpray(ctx, farm.ID, id, day, by, b.Now())
}

func (s *Server) sprayBook() SprayBook { return SprayBook{s.store, s.forecast, s.now} }

func (s *Server) blockRoutes() {
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/blocks", OperationID: "list-blocks", Tags: []string{"Field"},
		Summary: "Read which blocks are closed after spraying, and until when planned sprays are safe",
		Description: SprayCaution + " Read this before a block is offered for picking. Last safe moments are counted back from the earliest member of the earliest planting, " +
			"or from the announced opening day if that is earlier.",
	}, func(ctx context.Context, in *FarmPath) (*got[BlockList], error) {
		farm, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		blocks, err := s.sprayBook().Blocks(ctx, farm)
		if err != nil {
			return nil, err
		}
		zone, err := farm.Location()
		if err != nil {
			return nil, err
		}
		list := BlockList{Blocks: []BlockOut{}, Caution: SprayCaution}
		for _, b := range blocks {
			list.Blocks = append(list.Blocks, blockOut(farm, b, zone))
		}
		return &got[BlockList]{list}, nil
	})
}

func blockOut(farm forecast.Farm, b forecast.Block, zone *time.Location) BlockOut {
	out := BlockOut{
		Block: b.Name, Plantings: append([]string{}, b.Plantings...), FirstDay: b.First.Day, FirstDayFrom: some(string(b.First.From)),
		EarliestFruit: b.First.Fruit, EarliestOf: some(b.First.Planting), AnnouncedDay: b.First.Announced, PickingOver: b.First.Over,
		Warnings: append([]string{}, TellBlock(farm, b)...), Closures: []ClosureOut{}, Planned: []PlanOut{},
	}
	if b.Closed != nil {
		out.ClosedUntil = &b.Closed.Until
	}
	for _, c := range b.Sprayed {
		out.Closures = append(out.Closures, ClosureOut{sprayOut(c.Spray, zone), c.InForce, c.Fruit, c.Announced})
	}
	for _, p := range b.Planned {
		x := PlanOut{SprayOut: sprayOut(p.Spray, zone), LastSafeAt: p.LastSafe, Passed: p.Passed, Raised: p.Raised, KnownDay: p.Was, OpenIfNow: p.IfNow}
		if p.Seen != nil {
			x.SeenBy, x.SeenAt = &p.Seen.By, &p.Seen.At
		}
		out.Planned = append(out.Planned, x)
	}
	return out
}

// TellBlock says in plain words what must not be overlooked of a block: that it
// is closed, what falls into that time, and plans whose time is short or over.
func TellBlock(farm forecast.Farm, b forecast.Block) []string {
	var out []string
	for _, c := range b.Sprayed {
		if c.InForce {
			out = append(out, TellClosure(farm, c))
			out = append(out, TellInside(farm, c, b.First)...)
		}
	}
	for _, p := range b.Planned {
		if (p.Raised || p.Passed) && !b.First.Over {
			out = append(out, p.Name+": "+TellPlan(farm, p, b.First))
		}
	}
	if len(b.Sprayed)+len(b.Planned) > 0 {
		id := func(x string) string { return x }
		out = append(out, b.First.Doubts(id, farm.Day)...)
	}
	return out
}

// TellClosure says why and until when a block is closed.
func TellClosure(farm forecast.Farm, c forecast.Closure) string {
	enter, pick := TellMoment(farm, c.EnterAgain), TellMoment(farm, c.PickAgain)
	text := fmt.Sprintf("Closed until %s: sprayed %s (%s).", TellMoment(farm, c.Until), TellMoment(farm, *c.SprayedAt), c.Name)
	switch {
	case !c.PickAgain.After(c.EnterAgain):
		return text + " Nobody may be in it before then, customers included."
	case c.ReentryHours > 0:
		return text + fmt.Sprintf(" Nobody may be in it before %s, customers included; nothing may be picked before %s.", enter, pick)
	}
	return text + " Nothing may be picked before then."
}

// TellInside says what falls into the time that a spray closes its block for.
func TellInside(farm forecast.Farm, c forecast.Closure, f forecast.FirstDay) []string {
	var out []string
	if c.Fruit {
		text := "Fruit may be ripe from " + farm.Day(*f.Fruit) + " on, inside the interval"
		if f.From == forecast.FirstSeen {
			text = "Ripe fruit was seen on " + farm.Day(*f.Fruit) + ", and the interval is not over"
		}
		out = append(out, text+": it must not be picked before "+TellMoment(farm, c.Until)+".")
	}
	if c.Announced {
		out = append(out, "The announced opening day, "+farm.Day(*f.Announced)+", falls inside the interval: this block cannot be opened then.")
	}
	return out
}

// TellFirst says from when a block may be picked and what that rests on. planting
// puts an identifier into words.
func TellFirst(farm forecast.Farm, f forecast.FirstDay, planting func(string) string) string {
	switch f.From {
	case forecast.FirstSeen:
		return fmt.Sprintf("Sprays count from today: ripe fruit was seen on %s (%s).", farm.Day(*f.Fruit), planting(f.Planting))
	case forecast.FirstForecast:
		return fmt.Sprintf("Sprays are counted back from %s, the earliest fruit that the forecast holds possible (%s).", farm.Day(*f.Day), planting(f.Planting))
	case forecast.FirstAnnounced:
		text := "Sprays are counted back from " + farm.Day(*f.Day) + ", the announced opening day"
		if f.Fruit != nil {
			return text + fmt.Sprintf("; the earliest fruit is possible from %s on (%s).", farm.Day(*f.Fruit), planting(f.Planting))
		}
		return text + "."
	}
	return "From when it may be picked is not known."
}

// TellPlan says until when a planned spray is safe, and whether that moved.
func TellPlan(farm forecast.Farm, p forecast.Plan, f forecast.FirstDay) string {
	if p.LastSafe == nil {
		return "The last safe moment is not known."
	}
	text := "The last safe moment is " + TellMoment(farm, *p.LastSafe) + "."
	switch {
	case p.Passed && f.From == forecast.FirstSeen:
		text = "The last safe moment has passed, for ripe fruit was seen on " + farm.Day(*f.Fruit) + "."
	case p.Passed:
		text = "The last safe moment has passed: it was " + TellMoment(farm, *p.LastSafe) + "."
	}
	switch {
	case !p.Raised:
	case p.Was == nil:
		text += " It was not known when this was entered."
	default:
		text += fmt.Sprintf(" It is earlier than was known: the block may be picked from %s on, not from %s.", farm.Day(*f.Day), farm.Day(*p.Was))
	}
	if p.Passed {
		text += " Sprayed now, the block would be closed until " + TellMoment(farm, p.IfNow) + "."
	}
	return text
}

// TellMoment writes an instant at the farm: weekday, date and clock time. Of a
// midnight it is said which one.
func TellMoment(farm forecast.Farm, at time.Time) string {
	if zone, err := farm.Location(); err == nil {
		at = at.In(zone)
	}
	day, clock := farm.Day(weather.DateIn(at)), at.Format("15:04")
	if farm.Units == forecast.US {
		clock = at.Format("3:04 pm")
	}
	if at.Hour() == 0 && at.Minute() == 0 {
		return "the start of " + day + " (" + clock + ")"
	}
	return day + ", " + clock
}
