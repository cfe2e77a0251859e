package forecast

import (
	"cmp"
	"fmt"
	"slices"

	"ripetide/weather"
)

// Compute makes the forecast of the morning asOf. It sees weather dated up to
// the day before and sightings dated up to and including it, whatever else in
// holds. ID, MadeAt and Hindcast are left to the caller.
//
// A planting that cannot be forecast has null stages and a note; it never
// fails the others. An error that matches [ErrTooFewYears] says that no
// station has weather enough to stand for what is to come.
func Compute(in Inputs, asOf weather.Date) (*Forecast, error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, err
	}
	return c.f, nil
}

// compute is [Compute], and keeps what the forecast was worked out from.
func compute(in Inputs, asOf weather.Date) (*computing, error) {
	c := newComputing(in, asOf)
	if err := c.forecast(); err != nil {
		return nil, err
	}
	return c, nil
}

// forecast makes the forecast.
func (c *computing) forecast() error {
	if !c.bears() {
		c.note(NoteNoPlantings, "", "No planting bears this season.")
		return nil
	}
	if err := c.lookAhead(); err != nil {
		return err
	}
	c.aim()
	if len(c.targets) > 0 {
		if err := c.run(); err != nil {
			return err
		}
	}
	c.order()
	return nil
}

// bears reports whether any planting has a crop to forecast.
func (c *computing) bears() bool {
	return slices.ContainsFunc(c.in.Plantings, func(p Planting) bool { return p.Bears(c.season, c.asOf) })
}

// newComputing cuts off what asOf does not know and sorts the rest.
func newComputing(in Inputs, asOf weather.Date) *computing {
	c := &computing{in: in.asSeenOn(asOf), asOf: asOf, entered: asOf, about: aboutMembers, southern: in.Farm.Southern()}
	c.season = SeasonOf(asOf, c.southern)
	c.f = &Forecast{
		Farm: in.Farm.ID, Season: c.season, AsOf: asOf,
		Plantings: []PlantingDates{}, Gaps: []Gap{}, Days: []DaySupply{}, Notes: []Note{},
	}
	c.note(NoteEstimate, "", "These dates are an estimate: walk the field before you open or announce.")
	m := c.in.method()
	c.f.Method = MethodNote{DegreeDays: m.Kind, BaseC: m.Base, Cutoff: m.Cutoff}
	if m.Cutoff != NoCutoff {
		upper := m.Upper
		c.f.Method.UpperC = &upper
	}
	c.index()
	return c
}

// computing is the state of one Compute.
type computing struct {
	in       Inputs
	asOf     weather.Date
	entered  weather.Date // The morning by which what was seen is entered: asOf.
	about    int          // How many members are wanted.
	season   int
	southern bool
	f        *Forecast

	records  map[string]*record // By station.
	variety  map[string]int     // Index into in.Varieties.
	looks    map[plantingSeason]*looks
	frosts   map[plantingSeason][]Frost
	years    []int
	ahead    map[string]*ahead // By station that can be used.
	heats    map[heatKey][]heat
	means    map[heatKey]heat // Of heats.
	pastHeat map[pastKey]heat
	targets  []*target
	current  []observation
	toFull   float64
	spring   *spring   // Nil when no bloom has to be forecast or none can be.
	known    model     // What the requirements were conditioned on.
	post     posterior // Of it.
	members  members

	// Plantings that are only tried, for a design: the streams of the last
	// targets, each of its own, and how many varieties are the farm's; 0: all.
	apart  []uint64
	common int
}

type heatKey struct {
	station string
	method  Method
}

type pastKey struct {
	station string
	method  Method
	season  int
}

func (c *computing) note(kind NoteKind, planting, format string, args ...any) {
	c.f.Notes = append(c.f.Notes, Note{kind, planting, fmt.Sprintf(format, args...)})
}

func (c *computing) index() {
	c.records = map[string]*record{}
	days := map[string]weather.Series{}
	for _, r := range c.in.Records {
		days[r.Station.ID] = r.Days
	}
	for _, r := range c.in.Records {
		c.records[r.Station.ID] = newRecord(r.Days, days[r.Station.StandIn])
	}
	c.variety = map[string]int{}
	for i, v := range c.in.Varieties {
		c.variety[v.ID] = i
	}
	slices.SortFunc(c.in.Plantings, func(a, b Planting) int { return cmp.Compare(a.ID, b.ID) })
	c.looks = gather(c.in.Sightings, c.southern)
	c.frosts = gatherFrosts(c.in.Frosts, c.southern)
	c.pastHeat = map[pastKey]heat{}
	c.heats = map[heatKey][]heat{}
	c.means = map[heatKey]heat{}
}
