package forecast

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"ripetide/weather"
)

// A design is a planting list tried over all past weather. It is the forecast of
// a season made on its first morning, when nothing of it has been seen: every
// past year of weather, and draws of what plantings require. What is tried is
// drawn after what stands, each planting from a stream of its own, and before and
// after are counted over the same members: a planting that is not changed has the
// same dates in both, and what differs is the change.

// Measures that shift a planting, with what was published of them.
//
// Row cover: a cover from autumn to first bloom brought bloom up to 13 and
// maturity up to 10 days forward, and cost more primary and secondary flowers in
// frosts (Pollard, Gast and Cundari 1989, Acta Hort. 265:229-234); in another
// trial it moved neither. Late straw: straw taken off late puts the first harvest
// about 3 days back and may cost up to a quarter of the yield (Purdue, Facts for
// Fancy Fruit).
const (
	RowCover  Measure = "row_cover"
	LateStraw Measure = "late_straw"
)

// Measure is something done to a planting that shifts its dates.
type Measure string

// Days returns the most days by which a measure was found to shift the harvest,
// and the modest number that stands in where none is given, which is a guess.
func (m Measure) Days() (most, modest float64) {
	if m == RowCover {
		return 10, 5
	}
	return 3, 2
}

// Caution says what a measure costs, and who found it.
func (m Measure) Caution() string {
	if m == RowCover {
		return "A cover left on from autumn to first bloom brought bloom up to 13 days and harvest up to 10 days forward in one trial, and cost more of the first and largest flowers in frosts (Pollard, Gast and Cundari 1989); in another it moved neither. " +
			"The frost losses are not reckoned here: early bloom asks for frost protection."
	}
	return "Straw taken off late puts the first harvest back by about 3 days only, and may cost up to a quarter of the yield (Purdue, Facts for Fancy Fruit). " +
		"The loss is drawn between nothing and that, in step with the days: a guess."
}

const (
	// shiftSpread is the sd of a shift as a share of its days: a guess.
	shiftSpread = 0.5
	// leastShift is the smallest number of days that may be asked for.
	leastShift = 0.5
	// strawLoss is the most of the yield that late straw costs, at its most days.
	strawLoss = 0.25
	// RankedM2 is the area, m², of what is ranked.
	RankedM2 = 100
	// mostChanges is how many changes one design may have.
	mostChanges = 40
	// seasonsAhead is how many seasons ahead a design may lie.
	seasonsAhead = 5
)

// Change is one change of the planting list. Exactly one of its parts is set.
type Change struct {
	Add    *Addition
	Drop   string // Planting.ID.
	Resize *Resizing
	Shift  *Shifting
}

// Addition is a planting that is tried.
type Addition struct {
	Variety string  // Variety.ID, or "" for any variety of a class.
	Ripens  *Class  // With no variety.
	AreaM2  float64 // m².
	KgPerM2 float64 // Expected yield; 0: [DefaultKgPerM2].
	Block   string  // Free; may be empty.
	Station string  // weather.Station.ID; "": the one that most plantings use.
}

// Resizing gives a planting another area.
type Resizing struct {
	Planting string
	AreaM2   float64
}

// Shifting shifts the harvest of a planting: earlier by a cover, later by straw.
type Shifting struct {
	Planting string
	By       Measure
	Days     *float64 // Nil: the modest number of the measure.
}

// OrderedSeason returns the season in which plants that are ordered on a day bear
// first. Until the end of June they go into the ground that year, later the next;
// a planting bears from the calendar year after.
func OrderedSeason(today weather.Date) int {
	y, m, _ := today.Civil()
	if m > time.June {
		y++
	}
	return y + 1
}

// Designed is what a design comes to. Slices are never nil.
type Designed struct {
	Season     int
	Years      []int // Past seasons whose weather was replayed, rising.
	Members    int
	ThinKg     float64 // The farm's minimum; 0: none set, and nothing is thin.
	Plantings  []DesignedPlanting
	Before     DesignOutcome
	After      DesignOutcome
	Difference DesignDifference
	Ranking    []Ranked
	Notes      []string
	Cautions   []string
}

// DesignedPlanting is one planting of the list, as it stands or as it is tried.
type DesignedPlanting struct {
	Planting   string // Planting.ID; "" for one that is tried.
	Name       string // Of the variety, or what is tried of a class.
	Block      string
	Variety    string // Variety.ID; "" of a class.
	Ripens     Class
	Records    bool    // Whether past seasons of the variety are on record; else its dates rest on its class.
	BeforeM2   float64 // 0: it is tried.
	AfterM2    float64 // 0: it is dropped.
	Before     *DesignedDates
	After      *DesignedDates
	ShiftedBy  Measure // "": not shifted.
	ShiftDays  float64 // Mean over members, positive is later.
	FirstBears int     // Season in which it bears first; 0 of what stands.
}

// DesignedDates are the dates of a planting over members.
type DesignedDates struct {
	First, Last SpanEnd // First ripe and last pick.
}

// DesignOutcome is a planting list over all members.
type DesignOutcome struct {
	GapShare   float64   // Of members, with a gap day.
	GapYears   int       // Past years in which one is more likely than not.
	GapDays    float64   // Mean in a season.
	GapRange   DayCounts // Over members.
	ThinDays   float64   // Mean, between opening and the last pick; gap days may be among them.
	ThinRange  DayCounts
	SeasonDays DayCounts // From the first to the last day.
	SeasonMean float64
	First      SpanEnd
	Last       SpanEnd
	CropKg     float64 // Mean.
	Between    []GapBetween
	Days       []DesignDay
	Weeks      []DesignKg // What ripens from each Monday to Sunday.
	Saturdays  []DesignKg // Ripe fruit standing.
}

// GapBetween is between which varieties gap days lie.
type GapBetween struct {
	After, Before string  // Names as in [DesignedPlanting].
	Share         float64 // Of members.
	Days          float64 // Mean in a season.
}

// DesignDay is one day of the season; shares are of members.
type DesignDay struct {
	Date      weather.Date
	Season    float64
	Gap, Thin float64
}

// DesignKg is a weight over members, kg, with the day it belongs to.
type DesignKg struct {
	Date weather.Date
	Kg   KgRange
}

// Paired is a difference, after less before, of a mean in a season.
type Paired struct {
	Mean float64
	// Lo and Hi are the central 80 % of the mean when as many past years as there
	// are are drawn with replacement: two seasons of one year's weather are not two
	// trials.
	Lo, Hi float64
	// Season is the same difference in single seasons, which what is not known of a
	// variety spreads too.
	Season [3]float64
}

// ByChance reports whether the difference cannot be told from chance.
func (e Paired) ByChance() bool { return e.Lo <= 0 && 0 <= e.Hi }

// DesignDifference is after less before, in pairs of members.
type DesignDifference struct {
	GapDays    Paired
	ThinDays   Paired
	SeasonDays Paired
	CropKg     Paired
	Longer     float64 // Mean gap days after that lie outside the season as it was before.
	GapYears   int
}

// Ranked is what 100 m² more would change of the list as it is tried.
type Ranked struct {
	Name     string
	Variety  string // Variety.ID; "": any of the class.
	Ripens   Class
	Records  bool // As in [DesignedPlanting].
	Dates    *DesignedDates
	GapDays  Paired
	ThinDays Paired
	Season   Paired  // Of the season's days.
	Longer   float64 // As in [DesignDifference].
}

// Design tries changes of the planting list in a season, over all past weather.
// It sees what was recorded before the season's first day. Errors:
// ErrTooFewYears, ErrNoBloom, and every fault of the changes, each a
// [*FieldError] under "changes[i]".
func Design(in Inputs, season int, changes []Change) (*Designed, []error, error) {
	d, errs := newDesigning(in, season, changes)
	if len(errs) > 0 {
		return nil, errs, nil
	}
	if err := d.run(); err != nil {
		return nil, nil, err
	}
	return d.report(), nil, nil
}

// slot is a planting of the list.
type slot struct {
	planting      Planting
	tried         bool
	before, after float64 // m².
	shift         *Shifting
	target        int // Into computing.targets; -1: it has no dates.
	change        int // Of what is tried.
}

// designing is the state of one Design.
type designing struct {
	c     *computing
	slots []slot // What stands by identifier, then what is tried.
	rank  []slot
	ids   map[string]int // Place among slots of what stands.
	ms    members
	out   Designed
}

const (
	triedMark  = "+" // Begins the identifier of what is tried: no slug.
	rankedMark = "?"
)

func newDesigning(in Inputs, season int, changes []Change) (*designing, []error) {
	southern := in.Farm.Southern()
	first, _ := SeasonBounds(season, southern)
	in.Decisions, in.Pickings, in.Frosts = nil, nil, slices.DeleteFunc(slices.Clone(in.Frosts), func(f Frost) bool { return f.Date >= first })
	in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s Sighting) bool { return s.Date >= first })
	d := &designing{ids: map[string]int{}}
	stations := map[string]int{}
	standing := slices.Clone(in.Plantings)
	slices.SortFunc(standing, func(a, b Planting) int { return cmp.Compare(a.ID, b.ID) })
	for _, p := range standing {
		if p.Bears(season, first) {
			d.ids[p.ID] = len(d.slots)
			d.slots = append(d.slots, slot{planting: p, before: p.AreaM2, after: p.AreaM2, target: -1})
			stations[p.Station]++
		}
	}
	common := commonStation(in, stations)
	errs := d.apply(in, season, changes, common)
	if len(errs) > 0 {
		return nil, errs
	}

	own := len(in.Varieties)
	in.Varieties, in.Plantings = slices.Clone(in.Varieties), slices.Clone(in.Plantings)
	for i, s := range d.slots {
		if !s.tried {
			continue
		}
		if a := changes[s.change].Add; a.Variety == "" {
			v := Variety{ID: s.planting.ID, Name: anyOf(*a.Ripens), Ripens: *a.Ripens}
			in.Varieties = append(in.Varieties, v)
			d.slots[i].planting.Variety = v.ID
		}
		in.Plantings = append(in.Plantings, d.slots[i].planting)
	}
	d.candidates(&in, own, common, first)
	d.c = newComputing(in, first)
	d.c.common = own
	d.out = Designed{Season: season, ThinKg: in.Farm.ThinKgPerDay, Plantings: []DesignedPlanting{}, Ranking: []Ranked{}, Notes: []string{}, Cautions: []string{}}
	return d, nil
}

// anyOf names any variety of a class.
func anyOf(c Class) string { return "any " + strings.ReplaceAll(c.String(), "_", " ") + " variety" }

// commonStation returns the station that most plantings use, of equals the first
// by identifier, else the first of the farm.
func commonStation(in Inputs, use map[string]int) (most string) {
	for s, n := range use {
		if n > use[most] || n == use[most] && s < most {
			most = s
		}
	}
	if most == "" && len(in.Records) > 0 {
		most = in.Records[0].Station.ID
	}
	return most
}

// candidates adds what is ranked to the inputs: each class, and each variety of
// the farm.
func (d *designing) candidates(in *Inputs, own int, common string, first weather.Date) {
	add := func(v Variety) {
		d.rank = append(d.rank, slot{tried: true, target: -1, after: RankedM2, planting: Planting{
			ID: rankedMark + v.ID, Variety: v.ID, Block: rankedMark, Station: common, PlantedOn: first - 400, AreaM2: RankedM2, KgPerM2: DefaultKgPerM2,
		}})
	}
	for c := Early; c <= VeryLate; c++ {
		v := Variety{ID: rankedMark + c.String(), Name: anyOf(c), Ripens: c}
		in.Varieties = append(in.Varieties, v)
		add(v)
	}
	for _, v := range in.Varieties[:own] {
		add(v)
	}
	for _, s := range d.rank {
		in.Plantings = append(in.Plantings, s.planting)
	}
}

// apply changes the list and returns every fault of the changes.
func (d *designing) apply(in Inputs, season int, changes []Change, common string) []error {
	var f faults
	if len(changes) > mostChanges {
		f.add("changes", "must hold at most %d", mostChanges)
		return f.errs
	}
	first, _ := SeasonBounds(season, in.Farm.Southern())
	find := func(field, id string) *slot {
		i, ok := d.ids[id]
		switch {
		case ok && d.slots[i].after == 0:
			f.add(field, "is dropped already")
			return nil
		case ok:
			return &d.slots[i]
		case slices.ContainsFunc(in.Plantings, func(p Planting) bool { return p.ID == id }):
			f.add(field, "does not bear in season %d", season)
		default:
			f.add(field, "is no planting of the farm")
		}
		return nil
	}
	resized := map[string]bool{}
	for i, c := range changes {
		at := fmt.Sprintf("changes[%d]", i)
		if btoi(c.Add != nil)+btoi(c.Drop != "")+btoi(c.Resize != nil)+btoi(c.Shift != nil) != 1 {
			f.add(at, "must be one of add, drop, resize and shift")
			continue
		}
		switch {
		case c.Add != nil:
			d.add(in, &f, at+".add", i, *c.Add, common, first)
		case c.Drop != "":
			if s := find(at+".drop", c.Drop); s != nil {
				s.after = 0
			}
		case c.Resize != nil:
			f.within(at+".resize.area_m2", c.Resize.AreaM2, 0.1, 1e7)
			if s := find(at+".resize.planting", c.Resize.Planting); s != nil {
				if resized[c.Resize.Planting] {
					f.add(at+".resize.planting", "has been given another area already")
				}
				s.after, resized[c.Resize.Planting] = c.Resize.AreaM2, true
			}
		default:
			x := *c.Shift
			if x.By != RowCover && x.By != LateStraw {
				f.add(at+".shift.by", "must be row_cover or late_straw")
			}
			if most, _ := x.By.Days(); x.Days != nil {
				f.within(at+".shift.days", *x.Days, leastShift, most)
			}
			if s := find(at+".shift.planting", x.Planting); s != nil {
				if s.shift != nil {
					f.add(at+".shift.planting", "is shifted already")
				}
				s.shift = &x
			}
		}
	}
	return f.errs
}

// add adds a planting to the list. The same variety in the same block and at the
// same station as one that is dropped takes its place, for it is the same ground:
// what is drawn of it stays.
func (d *designing) add(in Inputs, f *faults, at string, change int, a Addition, common string, first weather.Date) {
	before := len(f.errs)
	switch {
	case (a.Variety == "") == (a.Ripens == nil):
		f.add(at, "needs either variety or ripens")
	case a.Variety != "" && !slices.ContainsFunc(in.Varieties, func(v Variety) bool { return v.ID == a.Variety }):
		f.add(at+".variety", "is no variety of the farm")
	}
	f.within(at+".area_m2", a.AreaM2, 0.1, 1e7)
	if a.KgPerM2 != 0 {
		f.within(at+".expected_kg_per_m2", a.KgPerM2, 0.001, 20)
	}
	if a.Block != "" {
		f.text(at+".block", a.Block)
	}
	if a.Station != "" && !slices.ContainsFunc(in.Records, func(r Record) bool { return r.Station.ID == a.Station }) {
		f.add(at+".station", "is no station of the farm")
	}
	if len(f.errs) > before {
		return
	}
	a.Station = cmp.Or(a.Station, common)
	for i := range d.slots {
		s := &d.slots[i]
		if !s.tried && s.after == 0 && a.Variety != "" && s.planting.Variety == a.Variety && s.planting.Block == a.Block && s.planting.Station == a.Station &&
			(a.KgPerM2 == 0 || a.KgPerM2 == s.planting.KgPerM2) {
			s.after = a.AreaM2
			return
		}
	}
	d.slots = append(d.slots, slot{tried: true, after: a.AreaM2, target: -1, change: change, planting: Planting{
		ID: fmt.Sprintf("%s%02d", triedMark, change), Variety: a.Variety, Block: a.Block, Station: a.Station,
		PlantedOn: first - 400, AreaM2: a.AreaM2, KgPerM2: cmp.Or(a.KgPerM2, DefaultKgPerM2),
	}})
}

// run draws the members of all that stands, is tried and is ranked.
func (d *designing) run() error {
	c := d.c
	if err := c.lookAhead(); err != nil {
		return err
	}
	c.aim()
	if c.spring == nil {
		return ErrNoBloom
	}
	// What stands comes first, so that it is drawn as if nothing were tried.
	place := func(t *target) int {
		switch c.in.Plantings[t.planting].ID[:1] {
		case triedMark:
			return 1
		case rankedMark:
			return 2
		}
		return 0
	}
	slices.SortStableFunc(c.targets, func(a, b *target) int { return cmp.Compare(place(a), place(b)) })
	c.current = c.current[:0]
	same := map[string]int{}
	at := map[string]int{}
	for t, tg := range c.targets {
		p := c.in.Plantings[tg.planting]
		c.current = append(c.current, observation{planting: tg.planting})
		at[p.ID] = t
		if place(tg) == 0 {
			continue
		}
		name := d.streamName(p)
		c.apart = append(c.apart, stream(fmt.Sprint(name, " ", same[name])))
		same[name]++
	}
	var err error
	if d.ms, err = c.date(); err != nil {
		return err
	}
	for _, list := range [][]slot{d.slots, d.rank} {
		for i := range list {
			if t, ok := at[list[i].planting.ID]; ok && slices.Contains(d.ms.ripening, t) {
				list[i].target = t
			}
		}
	}
	return nil
}

// streamName names what is tried by what it is, not by its place among changes.
func (d *designing) streamName(p Planting) string {
	v := d.c.in.Varieties[d.c.variety[p.Variety]]
	name := p.Variety
	if strings.HasPrefix(name, triedMark) {
		name = triedMark + v.Ripens.String()
	}
	return strings.Join([]string{name, p.Block, p.Station}, "\n")
}

// stream turns a name into a stream of draws.
func stream(name string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(name)) // Never fails, by its documentation.
	return h.Sum64()
}

// shifts is by how much a measure shifts a planting in each member.
type shifts struct {
	days []int     // Positive is later.
	keep []float64 // Share of the crop.
}

// shifted draws a shift for all members, in antithetic pairs: the days asked for,
// give or take half of them, within what was published. All plantings of a block
// under one measure have one draw.
func (s Shifting) shifted(block string, n int) shifts {
	most, days := s.By.Days()
	if s.Days != nil {
		days = *s.Days
	}
	out := shifts{make([]int, n), make([]float64, n)}
	var z, u float64
	name := stream(string(s.By) + "\n" + block)
	for m := range n {
		if m%2 == 0 {
			r := rand.New(rand.NewPCG(seed, name^uint64(m/2)))
			z, u = r.NormFloat64(), r.Float64()
		} else {
			z, u = -z, 1-u
		}
		by := math.Round(min(max(days*(1+shiftSpread*z), 0), most))
		out.days[m], out.keep[m] = int(by), 1
		if s.By == LateStraw {
			out.keep[m] = 1 - strawLoss*u*by/most
		} else {
			out.days[m] = -out.days[m]
		}
	}
	return out
}

// lot is a planting in one list that is counted.
type lot struct {
	target int
	name   string
	share  float64 // Area, of what its target is reckoned with.
	shift  *shifts // Nil: none.
}

// window returns the first and the last picking day of the lot in a member.
func (l lot) window(when dates, m, days int) (first, last int) {
	by := 0
	if l.shift != nil {
		by = l.shift.days[m]
	}
	in := func(d int16) int { return min(max(int(d)+by, 0), days-1) }
	return in(when.of(l.target, 0)[m]), in(when.of(l.target, ripeStages-1)[m])
}

// counts are lists counted over the members.
type counts struct {
	*tally
	lots []lot
}

// count counts lists over the same members.
func (d *designing) count(lists [][]lot) []counts {
	c, ms := d.c, d.ms
	n, days := len(ms.xs), len(c.targets[0].ahead.paths[0])
	var tallies [parts][]*tally
	inParts(n, func(part, lo, hi int) {
		var ws []*scratch
		for _, lots := range lists {
			tallies[part] = append(tallies[part], newTally(c.in.Farm, nil, c.season, ms.first, len(lots), hi-lo, days))
			ws = append(ws, newScratch(len(c.in.Varieties), len(lots), days))
		}
		all := make([]memberDay, len(c.targets))
		moved := map[[2]int]heat{} // By target and shift, of one trace.
		trace := -1
		var ps []memberDay
		for m := lo; m < hi; m++ {
			if m/ms.perTrace != trace {
				trace = m / ms.perTrace
				clear(moved)
			}
			for _, t := range ms.ripening {
				all[t] = c.memberOf(t, m, trace, ms.xs[m], ms.when, ms.first)
			}
			for k, lots := range lists {
				ps = ps[:0]
				for _, l := range lots {
					p := all[l.target]
					p.kg *= l.share
					if s := l.shift; s != nil {
						p.kg *= s.keep[m]
						p.first, p.last = l.window(ms.when, m, days)
						key := [2]int{l.target, s.days[m]}
						h, ok := moved[key]
						if !ok {
							h = p.heat.shifted(s.days[m])
							moved[key] = h
						}
						p.heat = h
						p.bloom = max(p.bloom+weather.Date(s.days[m]), ms.first)
					}
					ps = append(ps, p)
				}
				tallies[part][k].add(m-lo, c.in.Farm, ps, ws[k])
			}
		}
	})
	out := make([]counts, len(lists))
	for k, lots := range lists {
		var of [parts]*tally
		for part := range of {
			of[part] = tallies[part][k]
		}
		out[k] = counts{join(of[:]), lots}
	}
	return out
}

// shifted returns a clock that runs so many days later, and ends with the span.
func (h heat) shifted(by int) heat {
	s := heat{h.first, make([]float64, len(h.sum))}
	for i := range s.sum {
		s.sum[i] = h.sum[min(max(i-by, 0), len(h.sum)-1)]
	}
	return s
}

// count returns how many days from one to another are set for the member.
func (b bitmap) count(member, from, to int) (n int) {
	row := b.bits[member*b.words : (member+1)*b.words]
	for w := max(from, 0) / 64; w < len(row) && w <= to/64; w++ {
		x := row[w]
		if w == from/64 {
			x &= ^uint64(0) << (from % 64)
		}
		if w == to/64 {
			x &= ^uint64(0) >> (63 - to%64)
		}
		n += bits.OnesCount64(x)
	}
	return n
}
