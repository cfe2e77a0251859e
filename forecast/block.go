package forecast

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"ripetide/weather"
)

// Block is a block on some morning: from when it may be picked, and what sprays
// say of that.
type Block struct {
	Name      string
	Plantings []string // That bear this season, in order.
	First     FirstDay
	Closed    *Closure // The one in force that lasts longest; nil: open, as far as sprays go.
	Sprayed   []Closure
	Planned   []Plan
}

// FirstDay is the first day on which a block may be picked.
type FirstDay struct {
	// Day is the earlier of Fruit and the announced opening day, or today once
	// ripe fruit was seen; nil when neither is known.
	Day *weather.Date
	// From is what Day rests on; "" when it is nil.
	From FirstFrom
	// Fruit is the first ripe date of the earliest planting in its earliest
	// member; the day it was seen, once it was; nil when it is not known.
	Fruit     *weather.Date
	Planting  string        // Whose fruit it is.
	Announced *weather.Date // The farm's announced opening day, whether it counts or not.
	// The earliest fruit of these plantings is not known, so that it may come
	// before Day; see [FirstDay.Doubts].
	Undated    []string // The forecast was made before the earliest member was kept.
	Dateless   []string // The forecast has no dates of them, or there is none.
	NoForecast bool
	asOf       weather.Date // Of the forecast.
	// Over: by the forecast the last pick of every planting has probably passed.
	Over bool
}

// Doubts says in plain words why a block might be picked before its first day;
// planting and day put identifiers and dates into words.
func (f FirstDay) Doubts(planting func(id string) string, day func(weather.Date) string) []string {
	list := func(ids []string) string {
		names := make([]string, len(ids))
		for i, id := range ids {
			names[i] = planting(id)
		}
		return strings.Join(names, ", ")
	}
	var out []string
	if f.NoForecast {
		return append(out, "There is no forecast of this season yet, so the earliest fruit is not known. The first forecast will tell.")
	}
	if len(f.Undated) > 0 {
		out = append(out, fmt.Sprintf("The forecast of %s does not hold the earliest possible fruit yet, so it is not known for %s. The next forecast will tell.",
			day(f.asOf), list(f.Undated)))
	}
	if len(f.Dateless) > 0 {
		out = append(out, fmt.Sprintf("The forecast of %s has no dates of %s: fruit there may be ripe earlier.", day(f.asOf), list(f.Dateless)))
	}
	return out
}

// FirstFrom says what a first day rests on.
type FirstFrom string

// What a first day rests on.
const (
	FirstForecast  FirstFrom = "earliest_member"
	FirstAnnounced FirstFrom = "announced"
	FirstSeen      FirstFrom = "seen" // Ripe fruit was seen or picked: it counts from today.
)

// Closure is a spray that was done, with the time it closes its block for.
type Closure struct {
	Spray
	EnterAgain time.Time
	PickAgain  time.Time
	Until      time.Time // The later of the two.
	InForce    bool
	// Fruit and Announced: ripe fruit of the earliest member, or the announced
	// opening day, falls into it.
	Fruit     bool
	Announced bool
}

// Plan is a planned spray with what it leaves time for.
type Plan struct {
	Spray
	LastSafe *time.Time // The last safe minute; nil when the first day is not known.
	Passed   bool       // It is over.
	// Raised: the block may be picked earlier than was known when the plan was
	// entered and when somebody last took note of it.
	Raised bool
	Was    *weather.Date // The first day as it was known then; nil: it was not.
	IfNow  time.Time     // When the block would open again if it were sprayed now.
	Now    time.Time     // When all this was told.
}

// Grounds is what blocks are told from.
type Grounds struct {
	Farm      Farm
	Now       time.Time
	Plantings []Planting
	Forecast  *Forecast     // The latest frozen one of this season; nil: there is none.
	Announced *weather.Date // The announced opening day of this season; nil: none.
	// Ripe is when ripe fruit of a planting was first seen or picked this season.
	Ripe   map[string]weather.Date
	Sprays []Spray // All that count.
}

// RipeSince gathers for [Grounds.Ripe] what was seen and picked in a season.
func RipeSince(farm Farm, season int, seen []Sighting, picked []Picking) map[string]weather.Date {
	ripe := map[string]weather.Date{}
	add := func(planting string, d weather.Date) {
		if SeasonOf(d, farm.Southern()) != season {
			return
		}
		if was, ok := ripe[planting]; !ok || d < was {
			ripe[planting] = d
		}
	}
	for _, s := range seen {
		if s.Seen && s.Stage >= FirstRipe {
			add(s.Planting, s.Date)
		}
	}
	for _, p := range picked {
		if p.Kg > 0 {
			add(p.Planting, p.Date)
		}
	}
	return ripe
}

// Blocks returns the blocks of a farm in order of their names: those in which
// something bears this season, and those of sprays that still matter, so that
// no closure is lost when a planting is moved or a block renamed.
func Blocks(g Grounds) ([]Block, error) {
	zone, err := g.Farm.Location()
	if err != nil {
		return nil, &FieldError{"time_zone", "is not a name in the time zone database"}
	}
	today := weather.DateIn(g.Now.In(zone))
	season := SeasonOf(today, g.Farm.Southern())
	at := map[string]*Block{}
	block := func(name string) *Block {
		if at[name] == nil {
			at[name] = &Block{Name: name}
		}
		return at[name]
	}
	blockOf := map[string]string{}
	for _, p := range g.Plantings {
		if p.Bears(season, today) {
			b := block(p.Block)
			b.Plantings = append(b.Plantings, p.ID)
			blockOf[p.ID] = p.Block
		}
	}
	sprays := map[string][]Spray{}
	for _, s := range g.Sprays {
		past := s.SprayedAt == nil || !s.ClosedUntil(*s.SprayedAt, zone).After(g.Now)
		if past && s.Season != season {
			continue
		}
		names := []string{s.Block}
		for _, p := range s.Plantings {
			if name, ok := blockOf[p]; ok && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
		for _, name := range names {
			block(name)
			sprays[name] = append(sprays[name], s)
		}
	}
	out := make([]Block, 0, len(at))
	for _, b := range at {
		slices.Sort(b.Plantings)
		b.First = g.first(b.Plantings, today)
		for _, s := range sprays[b.Name] {
			if s.SprayedAt == nil {
				b.Planned = append(b.Planned, g.plan(s, b.First, zone))
				continue
			}
			c := g.closure(s, b.First, zone)
			b.Sprayed = append(b.Sprayed, c)
			if c.InForce && (b.Closed == nil || c.Until.After(b.Closed.Until)) {
				b.Closed = &c
			}
		}
		out = append(out, *b)
	}
	slices.SortFunc(out, func(a, b Block) int { return cmp.Compare(a.Name, b.Name) })
	return out, nil
}

// first returns the first day of a block with these plantings.
func (g *Grounds) first(plantings []string, today weather.Date) FirstDay {
	f := FirstDay{Announced: g.Announced, NoForecast: g.Forecast == nil}
	dates := map[string]*StageDates{}
	if g.Forecast != nil {
		f.asOf = g.Forecast.AsOf
		for _, p := range g.Forecast.Plantings {
			dates[p.Planting] = p.Stages
		}
	}
	over := len(plantings) > 0
	for _, id := range plantings {
		d := dates[id]
		over = over && d != nil && d.LastPick.P90 < today
		var fruit weather.Date
		seen, isSeen := g.Ripe[id]
		switch {
		case isSeen:
			fruit = seen
		case d == nil:
			f.Dateless = append(f.Dateless, id)
			continue
		case d.FirstRipe.Earliest == nil:
			f.Undated = append(f.Undated, id)
			continue
		default:
			fruit = *d.FirstRipe.Earliest
		}
		if f.Fruit == nil || fruit < *f.Fruit {
			f.Fruit, f.Planting = &fruit, id
		}
		if isSeen {
			f.From = FirstSeen
		}
	}
	f.Over = over
	switch {
	case len(plantings) == 0: // Nothing to pick, so no day.
		return f
	case f.From == FirstSeen: // What else may be ripe matters no more.
		f.Day, f.Undated, f.Dateless, f.NoForecast = &today, nil, nil, false
		return f
	}
	if f.Fruit != nil {
		f.Day, f.From = f.Fruit, FirstForecast
	}
	if g.Announced != nil && (f.Day == nil || *g.Announced < *f.Day) {
		f.Day, f.From = g.Announced, FirstAnnounced
	}
	return f
}

// closure tells of a spray that was done.
func (g *Grounds) closure(s Spray, f FirstDay, zone *time.Location) Closure {
	c := Closure{Spray: s, EnterAgain: s.EnterAgain(*s.SprayedAt, zone), PickAgain: s.PickAgain(*s.SprayedAt, zone), Until: s.ClosedUntil(*s.SprayedAt, zone)}
	c.InForce = c.Until.After(g.Now) && !s.SprayedAt.After(g.Now)
	// Fruit that was ripe before still is; an announced day is one day.
	c.Fruit = f.Fruit != nil && !f.Over && DayStart(*f.Fruit, zone).Before(c.Until)
	if a := f.Announced; a != nil {
		c.Announced = DayStart(*a, zone).Before(c.Until) && DayStart(*a+1, zone).After(*s.SprayedAt)
	}
	return c
}

// plan tells of a spray that is planned.
func (g *Grounds) plan(s Spray, f FirstDay, zone *time.Location) Plan {
	p := Plan{Spray: s, Was: s.Known, IfNow: s.ClosedUntil(g.Now, zone), Now: g.Now}
	if s.Seen != nil {
		p.Was = &s.Seen.Day
	}
	if f.Day == nil {
		return p
	}
	last := s.LastSafe(*f.Day, zone)
	p.LastSafe, p.Passed = &last, g.Now.After(last)
	p.Raised = p.Was == nil || *f.Day < *p.Was
	return p
}
