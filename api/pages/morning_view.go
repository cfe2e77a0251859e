package pages

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

const (
	soonDays   = 7  // Within which first ripe fruit is told of.
	alertDays  = 14 // Within which a gap or thin stretch needs doing.
	stripDays  = 10
	mostRows   = 9  // From more on what is only coming is folded away.
	mostMoves  = 3  // Lines about them.
	mostLooks  = 3  // Plantings that get a line of their own for a look.
	mostNames  = 3  // In a list within a sentence.
	mostOnWire = 22 // Characters of a name above a wire.

	mostInColumn = 11 // Characters of a word beside others on a phone.
)

// morningPage is what the page says. All of it is decided here; the template
// only sets it out.
type morningPage struct {
	Title   string
	Summary string // The whole page in a sentence, for ears and eyes alike.
	Old     string // Why it is not this morning's forecast; "" when it is.
	Make    string // What the button says that makes one; "" for no button.
	Fault   string // What went wrong with making one.
	Basis   []string

	// Before the first forecast.
	Needed  []morningLack // Without which none can be made.
	Surer   []morningLack // That would make one surer.
	Nothing bool          // There is no forecast yet.

	Closed    []morningClosed // What sprays close, on any morning.
	Sprays    string          // Address of the page of sprays.
	Blocks    []morningBlock
	Coming    []morningBlock // What is folded away of a large farm.
	ComeTitle string
	NoneRipe  string // When there are no blocks.
	MoveTitle string
	Moves     []morningMove
	MoveNote  string // In place of moves, or after them.
	Tasks     []morningTask
	NoTasks   string
	Strip     *morningStrip
	NoStrip   string
	Thin      string // What thin means at this farm; "" where no minimum is set.
	Notes     []string
	Ranges    bool   // Some date is told with its range, or some amount.
	Season    string // Address of the season's page.

	asOf         weather.Date // Of the forecast.
	before, over bool         // It is of an earlier season; the season is over.
}

// morningLack is something that a first forecast lacks.
type morningLack struct {
	What, Why  string
	Href, Link string // "" where the visitor may not mend it.
}

// morningBlock is a block with its plantings that are ripe or about to be, in
// picking order.
type morningBlock struct {
	Name   string
	Closed string // "Closed until …", after spraying; "" when it is open.
	Rows   []morningRow
}

// Long reports whether the name is too long for a column beside the rows.
func (b morningBlock) Long() bool { return tooLong(b.Name) }

// Long reports whether the name is too long to stand beside the dates.
func (r morningRow) Long() bool { return tooLong(r.Name) }

// tooLong reports whether a name, or a word of it, does not fit a column of a
// phone.
func tooLong(name string) bool {
	for w := range strings.FieldsSeq(name) {
		if utf8.RuneCountInString(w) > mostInColumn {
			return true
		}
	}
	return utf8.RuneCountInString(name) > 3*mostInColumn
}

// The states of a planting of today.
const (
	stateRipe   = "ripe"   // In its picking window.
	stateEnding = "ending" // Past its likely last pick, which may still be to come.
	stateComing = "coming" // First ripe within soonDays.
)

// morningRow is a planting.
type morningRow struct {
	Name  string // Of the variety.
	State string
	Says  string // "until Fri 15 Jun".
	Range string // Of that date.
	Href  string // Where it is recorded; its story for those who may not.
}

// morningMove is a date that moved.
type morningMove struct{ Name, By, Why, Href string }

// morningTask is something to do.
type morningTask struct {
	What, Why  string
	Href, Link string // "" where the visitor may not do it.
}

// morningStrip are the next days, from above downwards, with a wire for each
// variety that may be picked in them.
type morningStrip struct {
	Names []morningName
	Days  []morningDay
}

// morningName is a variety's name above its wire, shortened where it is long.
type morningName struct{ Short, Full string }

// morningDay is a day of the strip.
type morningDay struct {
	Date    string
	Today   bool
	Weekend bool
	Lack    string // "gap", "thin" or "".
	Fruit   string // Ripe fruit standing.
	Beads   []string
}

// Beads on the wires; as words they are read aloud.
const (
	beadLikely   = "likely"
	beadPossible = "possible"
	beadNone     = ""
)

// teller holds what the parts of the page are told from.
type teller struct {
	farm   *forecast.Farm
	f      *forecast.Forecast
	at     weather.Date // The morning that is told of.
	before bool         // The forecast is of an earlier season.
	over   bool         // The season is over.
	ranges bool         // A range was told.
	grower bool
	names  map[string]string // Of varieties.
	labels map[string]string // Of plantings: "Corduroy (Long Rows)".
	short  map[string]string // Of plantings within their block: "Corduroy".
}

// newMorning tells of the newest forecast f on the date today at the farm. A
// forecast of this season is read as of today, however old it is; one of an
// earlier season as of the morning it was made for. grower: the visitor may
// record. sprayed are the blocks as sprays leave them now, and more is what else
// needs doing.
func newMorning(farm *forecast.Farm, today weather.Date, f *forecast.Forecast, varieties []forecast.Variety, plantings []forecast.Planting, sprayed []forecast.Block, grower bool, more ...morningTask) morningPage {
	t := &teller{farm: farm, f: f, at: today, grower: grower, names: map[string]string{}}
	if f.Season != forecast.SeasonOf(today, farm.Southern()) {
		t.before, t.at = true, f.AsOf
	}
	for _, v := range varieties {
		t.names[v.ID] = v.Name
	}
	t.name(plantings)
	t.over = t.isOver()

	p := morningPage{Title: "Morning of " + Day(farm, t.at), Season: t.season(), asOf: f.AsOf, before: t.before, over: t.over}
	if t.before {
		p.Title = "Morning of " + DayYear(farm, t.at)
	}
	p.Old, p.Make = t.old(today)
	p.Basis = t.basis()
	p.Blocks, p.NoneRipe = t.blocks()
	p.Blocks, p.Coming, p.ComeTitle = fold(p.Blocks)
	p.MoveTitle, p.Moves, p.MoveNote = t.moves()
	p.Tasks = slices.Concat(sprayTasks(farm, sprayed), more, t.tasks())
	if len(p.Tasks) == 0 {
		p.NoTasks = "Nothing that the forecast knows of."
	}
	p.Strip, p.NoStrip = t.strip()
	if kg := farm.ThinKgPerDay; kg > 0 {
		p.Thin = "under " + t.amount(kg) + " standing"
	}
	p.Notes = t.notes()
	p.Ranges = t.ranges
	p.Summary = t.summary(p)
	p.close(farm, sprayed)
	return p
}

// name names the plantings. Two of a variety in one block are told apart by the
// year they were planted.
func (t *teller) name(plantings []forecast.Planting) {
	t.labels, t.short = map[string]string{}, map[string]string{}
	year := map[string]int{}
	for _, p := range plantings {
		year[p.ID] = p.PlantedOn.Year()
	}
	type place struct{ variety, block string }
	same := map[place]int{}
	for _, p := range t.f.Plantings {
		same[place{p.Variety, p.Block}]++
	}
	for _, p := range t.f.Plantings {
		n := t.variety(p.Variety)
		if y := year[p.Planting]; y != 0 && same[place{p.Variety, p.Block}] > 1 {
			n += fmt.Sprintf(" of %d", y)
		}
		t.short[p.Planting], t.labels[p.Planting] = n, n+" ("+p.Block+")"
	}
}

// variety names a variety; one that is gone keeps its identifier.
func (t *teller) variety(id string) string { return cmp.Or(t.names[id], id) }

// isOver reports whether every planting that has dates is past its last pick.
func (t *teller) isOver() bool {
	any := false
	for _, p := range t.f.Plantings {
		if p.Stages == nil {
			continue
		}
		any = true
		if p.Stages.LastPick.P90 >= t.at {
			return false
		}
	}
	return any
}

func (t *teller) season() string { return fmt.Sprintf("/f/%s/season/%d", t.farm.ID, t.f.Season) }

// story returns where a planting's story is told.
func (t *teller) story(planting string) string { return t.season() + "/planting/" + planting }

// row returns where a planting is recorded, "" for those who may not.
func (t *teller) row(planting string) string {
	switch {
	case !t.grower:
		return ""
	case planting == "":
		return "/f/" + t.farm.ID + "/row"
	}
	return "/f/" + t.farm.ID + "/row?planting=" + planting
}

func (t *teller) weather() string { return "/f/" + t.farm.ID + "/weather" }

// old says that the forecast is not this morning's, and what the button says.
func (t *teller) old(today weather.Date) (text, button string) {
	if t.f.AsOf >= today {
		return "", ""
	}
	days := int(today - t.f.AsOf)
	switch {
	case t.before:
		text = "The newest forecast is of " + DayYear(t.farm, t.f.AsOf) + ", an earlier season. What follows is how things stood on that morning."
	case t.over:
		text = "The season is over. The newest forecast is of " + Day(t.farm, t.f.AsOf) + ", " + count(days, "day", "days") + " ago."
	case days == 1:
		text = "No forecast is made for this morning yet. The newest is yesterday's, of " + Day(t.farm, t.f.AsOf) + "."
	default:
		text = "No forecast is made for this morning yet. The newest is of " + Day(t.farm, t.f.AsOf) + ", " + count(days, "day", "days") + " ago."
	}
	if t.grower {
		button = "Make this morning's forecast"
	}
	return text, button
}

// basis says what the forecast rests on, and how old that is.
func (t *teller) basis() []string {
	out := []string{"forecast of " + Day(t.farm, t.f.AsOf)}
	switch w := t.f.WeatherThrough; {
	case w == nil:
		out = append(out, "no weather observed")
	case *w < t.f.AsOf-1:
		out = append(out, "weather through "+Day(t.farm, *w)+", "+count(int(t.f.AsOf-1-*w), "day", "days")+" missing")
	default:
		out = append(out, "weather through "+Day(t.farm, *w))
	}
	if o := t.f.OutlookIssuedAt; o == nil {
		out = append(out, "no outlook")
	} else {
		out = append(out, "outlook of "+t.moment(*o))
	}
	return append(out, "estimate: walk the field")
}

// moment writes an instant at the farm.
func (t *teller) moment(at time.Time) string {
	if zone, err := t.farm.Location(); err == nil {
		at = at.In(zone)
	}
	clock := "15:04"
	if t.farm.Units == forecast.US {
		clock = "3:04 pm"
	}
	return Day(t.farm, weather.DateIn(at)) + " " + at.Format(clock)
}

// within writes the range of a date.
func (t *teller) within(r forecast.DateRange) string {
	switch {
	case r.Seen != nil:
		return "seen"
	case r.P10 == r.P90:
		return "8 in 10 on that day"
	}
	t.ranges = true
	return t.farm.Span(r.P10, r.P90)
}

// about writes a date with its range.
func (t *teller) about(r forecast.DateRange) string {
	if r.Seen != nil {
		return Day(t.farm, *r.Seen) + " (seen)"
	}
	return "about " + Day(t.farm, r.P50) + " (" + t.within(r) + ")"
}

// state returns what a planting is today, "" when it is not of today.
func (t *teller) state(s *forecast.StageDates) string {
	switch {
	case s == nil:
	case t.at > s.LastPick.P90:
	case t.at > s.LastPick.P50:
		return stateEnding
	case t.at >= s.FirstRipe.P50:
		return stateRipe
	case s.FirstRipe.P50 <= t.at+soonDays:
		return stateComing
	}
	return ""
}

// blocks returns what is ripe or about to be, by block in picking order: blocks
// with something ripe first, and of those the one that ripened first.
func (t *teller) blocks() (blocks []morningBlock, none string) {
	rank := map[string]int{stateRipe: 0, stateEnding: 1, stateComing: 2}
	best := map[string]int{} // By block.
	at := map[string]int{}
	for _, p := range t.f.Plantings { // In order of ripening.
		state := t.state(p.Stages)
		if state == "" {
			continue
		}
		i, ok := at[p.Block]
		if !ok {
			i = len(blocks)
			at[p.Block], best[p.Block] = i, rank[state]
			blocks = append(blocks, morningBlock{Name: p.Block})
		}
		best[p.Block] = min(best[p.Block], rank[state])
		r := morningRow{Name: t.short[p.Planting], State: state, Href: cmp.Or(t.row(p.Planting), t.story(p.Planting))}
		d := p.Stages.LastPick
		switch state {
		case stateRipe:
			r.Says = "until " + Day(t.farm, d.P50)
		case stateEnding:
			r.Says = "over since about " + Day(t.farm, d.P50)
		case stateComing:
			d = p.Stages.FirstRipe
			r.Says = "from " + Day(t.farm, d.P50)
		}
		r.Range = t.within(d)
		blocks[i].Rows = append(blocks[i].Rows, r)
	}
	for _, b := range blocks {
		slices.SortStableFunc(b.Rows, func(a, b morningRow) int { return cmp.Compare(rank[a.State], rank[b.State]) })
	}
	slices.SortStableFunc(blocks, func(a, b morningBlock) int { return cmp.Compare(best[a.Name], best[b.Name]) })
	if len(blocks) == 0 {
		none = t.noneRipe()
	}
	return blocks, none
}

// fold parts what is only coming from the rest when together they would fill
// more than a screen.
func fold(all []morningBlock) (blocks, coming []morningBlock, title string) {
	rows, n := 0, 0
	for _, b := range all {
		rows += len(b.Rows)
		i := slices.IndexFunc(b.Rows, func(r morningRow) bool { return r.State == stateComing })
		if i < 0 {
			i = len(b.Rows)
		}
		if i > 0 {
			blocks = append(blocks, morningBlock{Name: b.Name, Rows: b.Rows[:i]})
		}
		if i < len(b.Rows) {
			coming = append(coming, morningBlock{Name: b.Name, Rows: b.Rows[i:]})
			n += len(b.Rows) - i
		}
	}
	if rows <= mostRows || len(blocks) == 0 || n == 0 {
		return all, nil, ""
	}
	return blocks, coming, fmt.Sprintf("%d more come ripe within %d days", n, soonDays)
}

// noneRipe says why nothing is ripe or about to be.
func (t *teller) noneRipe() string {
	var next, last *forecast.PlantingDates
	for i := range t.f.Plantings {
		p := &t.f.Plantings[i]
		if p.Stages == nil {
			continue
		}
		if p.Stages.FirstRipe.P50 > t.at && (next == nil || p.Stages.FirstRipe.P50 < next.Stages.FirstRipe.P50) {
			next = p
		}
		if last == nil || p.Stages.LastPick.P50 > last.Stages.LastPick.P50 {
			last = p
		}
	}
	switch {
	case len(t.f.Plantings) == 0:
		return "No planting bears this season."
	case last == nil:
		return "No planting has dates yet."
	case next != nil:
		return "Nothing today or within 7 days. Next ripe: " + t.labels[next.Planting] + ", " + t.about(next.Stages.FirstRipe) + "."
	}
	return "The season is over. Last pick: " + t.labels[last.Planting] + ", " + t.about(last.Stages.LastPick) + "."
}

var moveStage = map[string]string{"first_ripe": "first ripe", "peak": "peak", "last_pick": "last pick"}

// moves returns the dates that moved most, and a note in their place or after
// them.
func (t *teller) moves() (title string, moves []morningMove, note string) {
	title = "What moved"
	var since *weather.Date
	var moved []*forecast.PlantingDates
	for i := range t.f.Plantings {
		p := &t.f.Plantings[i]
		if p.Moved == nil {
			continue
		}
		since = &p.Moved.Since
		if math.Abs(p.Moved.Days) >= 0.05 {
			moved = append(moved, p)
		}
	}
	if since == nil {
		for _, n := range t.f.Notes {
			if n.Kind == forecast.NoteMoved {
				return title, nil, n.Text
			}
		}
		if t.allPicked() {
			return title, nil, "Every last pick is over, so no date moves any more."
		}
		return title, nil, "There are no earlier dates of this season to compare with."
	}
	title = "Moved since " + Day(t.farm, *since)
	if t.f.AsOf != t.at {
		title = "Moved from " + Day(t.farm, *since) + " to " + Day(t.farm, t.f.AsOf)
	}
	if len(moved) == 0 {
		return title, nil, "Nothing moved."
	}
	slices.SortStableFunc(moved, func(a, b *forecast.PlantingDates) int {
		return cmp.Compare(math.Abs(b.Moved.Days), math.Abs(a.Moved.Days))
	})
	shown := moved
	if len(moved) > mostMoves { // The rest take a line too.
		shown = moved[:mostMoves-1]
	}
	for _, p := range shown {
		moves = append(moves, morningMove{
			Name: t.labels[p.Planting],
			By:   cmp.Or(moveStage[p.Moved.Stage], p.Moved.Stage) + " " + api.TellShift(p.Moved.Days),
			Why:  why(p.Moved.Because),
			Href: t.story(p.Planting),
		})
	}
	if rest := moved[len(shown):]; len(rest) > 0 {
		most, _, _ := strings.Cut(api.TellShift(math.Abs(rest[0].Moved.Days)), " later")
		note = fmt.Sprintf("%d others moved, by %s at most.", len(rest), most)
	}
	return title, moves, note
}

// allPicked reports whether every planting that has dates was past its last pick
// when the forecast was made.
func (t *teller) allPicked() bool {
	dated := false
	for _, d := range t.f.Plantings {
		if d.Stages == nil {
			continue
		}
		dated = true
		if !api.IsOver(d, t.f.AsOf) {
			return false
		}
	}
	return dated
}

// why writes the causes of a move, the greatest first, or that one if the
// others hardly matter.
func why(causes []forecast.Cause) string {
	causes = slices.Clone(causes)
	slices.SortStableFunc(causes, func(a, b forecast.Cause) int { return cmp.Compare(math.Abs(b.Days), math.Abs(a.Days)) })
	text := func(c forecast.Cause) string { return api.CauseWords(c.Cause) }
	switch len(causes) {
	case 0:
		return ""
	case 1:
		return "by " + text(causes[0])
	}
	all := 0.0
	for _, c := range causes {
		all += math.Abs(c.Days)
	}
	if math.Abs(causes[0].Days) >= 0.8*all {
		return "mostly by " + text(causes[0])
	}
	parts := make([]string, len(causes))
	for i, c := range causes {
		parts[i] = api.TellShift(c.Days) + " by " + text(c)
	}
	return strings.Join(parts, ", ")
}

// tasks returns what needs doing: what is scarce soon, then what makes the
// forecast less sure than it could be.
func (t *teller) tasks() []morningTask {
	var out []morningTask
	out = append(out, t.scarce()...)
	if !t.over {
		out = append(out, t.stale()...)
		out = append(out, t.bloom()...)
	}
	out = append(out, t.looks()...)
	if t.over {
		return out
	}
	if text := t.said(forecast.NoteOutside); text != "" {
		out = append(out, morningTask{"This season is unlike those on record", text, t.season(), "Season"})
	}
	if text := t.said(forecast.NoteSuspect); text != "" {
		out = append(out, morningTask{"Some days of weather are doubted", text, t.weather(), "Weather"})
	}
	return out
}

// said joins the notes of a kind.
func (t *teller) said(kind forecast.NoteKind) string {
	var texts []string
	for _, n := range t.f.Notes {
		if n.Kind == kind {
			texts = append(texts, t.note(n))
		}
	}
	return strings.Join(texts, " ")
}

// note writes a note with the planting it is about.
func (t *teller) note(n forecast.Note) string {
	if name := t.labels[n.Planting]; name != "" {
		return name + ": " + n.Text
	}
	return n.Text
}

// scarce returns the gaps and thin stretches that begin within 14 days; those
// that touch are one.
func (t *teller) scarce() []morningTask {
	var out []morningTask
	var last weather.Date
	var after *string
	for _, g := range t.f.Gaps {
		if g.From > t.at+alertDays || g.To < t.at {
			continue
		}
		what := string(g.Kind) + " " + t.farm.Span(g.From, g.To) + " (chance " + chances(g.Probability) + ")"
		if n := len(out); n > 0 && last+1 == g.From {
			out[n-1].What += ", " + what
			out[n-1].Why = t.between(after, g.Before)
		} else {
			after = g.After
			out = append(out, morningTask{What: sentence(what), Why: t.between(g.After, g.Before), Href: t.season(), Link: "Season"})
			out[n].What = strings.TrimSuffix(out[n].What, ".")
		}
		last = g.To
	}
	return out
}

// between says which plantings lie either side of a gap.
func (t *teller) between(after, before *string) string {
	var parts []string
	if after != nil && t.labels[*after] != "" {
		parts = append(parts, "after "+t.labels[*after])
	}
	if before != nil && t.labels[*before] != "" {
		parts = append(parts, "before "+t.labels[*before])
	}
	return sentence(strings.Join(parts, ", "))
}

// chances writes a probability: "6 in 10".
func chances(p float64) string {
	switch n := math.Round(10 * p); {
	case p < 0.1:
		return "under 1 in 10"
	case p > 0.9:
		return "over 9 in 10"
	default:
		return fmt.Sprintf("%.0f in 10", n)
	}
}

// stale returns what to do about a weather record that ends too early.
func (t *teller) stale() []morningTask {
	task := morningTask{Why: t.said(forecast.NoteStale), Href: t.weather(), Link: "Weather"}
	switch w := t.f.WeatherThrough; {
	case w == nil && len(t.f.Plantings) > 0:
		task.What = "There is no weather on record"
	case w != nil && *w < t.f.AsOf-1:
		task.What = "The weather record stops on " + Day(t.farm, *w)
		task.Why = cmp.Or(task.Why, "It should go through yesterday: "+count(int(t.f.AsOf-1-*w), "day is", "days are")+" missing.")
	case task.Why != "":
		task.What = "A station's record has stopped"
	default:
		return nil
	}
	return []morningTask{task}
}

// bloom returns what to do about bloom that is not entered.
func (t *teller) bloom() []morningTask {
	about := map[string]bool{}
	any := false
	for _, n := range t.f.Notes {
		if n.Kind == forecast.NoteNoBloom {
			any = true
			about[n.Planting] = true
		}
	}
	if !any {
		return nil
	}
	var who []string
	var from, to *weather.Date
	dateless := false
	for _, p := range t.f.Plantings {
		open := p.Bloom == nil || p.Bloom.Due(t.at)
		if !about[p.Planting] && !(about[""] && open) {
			continue
		}
		who = append(who, p.Planting)
		dateless = dateless || p.Stages == nil
		if b := p.Bloom; b != nil && b.P10 != nil && b.P90 != nil {
			if from == nil || *b.P10 < *from {
				from = b.P10
			}
			if to == nil || *b.P90 > *to {
				to = b.P90
			}
		}
	}
	task := morningTask{What: "Bloom is not entered", Href: t.row(""), Link: "In the row"}
	if len(who) > 0 {
		task.What += ": " + t.listed(who)
	}
	if len(who) == 1 {
		task.Href = t.row(who[0])
	}
	const enter = "Enter the day on which about one plant in ten has an open flower"
	switch {
	case dateless:
		task.Why = enter + ": until then there are no dates."
	case from != nil:
		t.ranges = true
		task.Why = "Expected " + t.farm.Span(*from, *to) + ". " + enter + ": ranges are wider until then."
	default:
		task.Why = enter + ": it was reckoned back from the fruit."
	}
	return []morningTask{task}
}

// listed names plantings, the first few if they are many.
func (t *teller) listed(ids []string) string {
	var names []string
	for _, id := range ids {
		names = append(names, t.labels[id])
	}
	if more := len(names) - mostNames; more > 1 {
		names = append(names[:mostNames:mostNames], fmt.Sprintf("%d more", more))
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// looks returns the plantings to look at since a stage may have come unseen.
func (t *teller) looks() []morningTask {
	var ids []string
	texts := map[string][]string{}
	for _, n := range t.f.Notes {
		if n.Kind != forecast.NoteLook {
			continue
		}
		if texts[n.Planting] == nil {
			ids = append(ids, n.Planting)
		}
		texts[n.Planting] = append(texts[n.Planting], n.Text)
	}
	var out []morningTask
	one := len(ids)
	if one > mostLooks {
		one = mostLooks - 1
	}
	for _, id := range ids[:one] {
		what := "Look at " + cmp.Or(t.labels[id], "the field")
		out = append(out, morningTask{what, strings.Join(texts[id], " "), t.row(id), "In the row"})
	}
	if rest := ids[one:]; len(rest) > 0 {
		out = append(out, morningTask{
			"Look at " + t.listed(rest), "By the model stages came there too that nobody has entered.", t.row(""), "In the row",
		})
	}
	return out
}

// amount writes a weight as befits an estimate: in two figures.
func (t *teller) amount(kg float64) string {
	u := weightUnit(t.farm.Units)
	return figure(roughly(kg/u.factor)) + " " + u.name
}

// roughly rounds to two figures, and to whole numbers below 100.
func roughly(x float64) float64 {
	if x < 100 {
		return math.Round(x)
	}
	p := math.Pow(10, math.Floor(math.Log10(x))-1)
	return math.Round(x/p) * p
}

// fruit writes the ripe fruit standing on a day.
func (t *teller) fruit(kg forecast.KgRange) string {
	u := weightUnit(t.farm.Units)
	lo, hi := roughly(kg.P10/u.factor), roughly(kg.P90/u.factor)
	switch {
	case hi == 0:
		return "none"
	case lo == 0:
		return "up to " + figure(hi) + " " + u.name
	case lo == hi:
		return figure(hi) + " " + u.name
	}
	t.ranges = true
	return figure(lo) + " to " + figure(hi) + " " + u.name
}

// strip returns the next days, or why there is nothing to show.
func (t *teller) strip() (*morningStrip, string) {
	// A variety is in its window where any of its plantings is.
	var order []string
	beads := map[string][]string{}
	for _, p := range t.f.Plantings {
		if p.Stages == nil {
			continue
		}
		for i := range stripDays {
			b := beadOn(p.Stages, t.at+weather.Date(i))
			if b == beadNone {
				continue
			}
			if beads[p.Variety] == nil {
				order = append(order, p.Variety)
				beads[p.Variety] = make([]string, stripDays)
			}
			if beads[p.Variety][i] != beadLikely {
				beads[p.Variety][i] = b
			}
		}
	}
	days := map[weather.Date]forecast.DaySupply{}
	stands := false
	for _, d := range t.f.Days {
		days[d.Date] = d
		stands = stands || t.at <= d.Date && d.Date < t.at+stripDays && t.fruit(d.RipeKg) != "none"
	}
	if len(order) == 0 && !stands {
		return nil, "Nothing to pick from " + t.farm.Span(t.at, t.at+stripDays-1) + "."
	}
	s := &morningStrip{}
	for _, v := range order {
		s.Names = append(s.Names, morningName{clip(t.variety(v), mostOnWire), t.variety(v)})
	}
	for i := range stripDays {
		at := t.at + weather.Date(i)
		w := at.Weekday()
		d := morningDay{
			Date: Day(t.farm, at), Today: i == 0, Weekend: w == time.Saturday || w == time.Sunday,
			Fruit: t.fruit(days[at].RipeKg),
		}
		for _, g := range t.f.Gaps {
			if g.From <= at && at <= g.To { // No two have a day in common.
				d.Lack = string(g.Kind)
			}
		}
		for _, v := range order {
			d.Beads = append(d.Beads, beads[v][i])
		}
		s.Days = append(s.Days, d)
	}
	return s, ""
}

// beadOn says whether a day lies in a picking window.
func beadOn(s *forecast.StageDates, d weather.Date) string {
	switch {
	case s.FirstRipe.P50 <= d && d <= s.LastPick.P50:
		return beadLikely
	case s.FirstRipe.P10 <= d && d <= s.LastPick.P90:
		return beadPossible
	}
	return beadNone
}

// clip shortens a name to so many characters.
func clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return strings.TrimSpace(string(r[:most-1])) + "…"
	}
	return s
}

// notes returns those that the rest of the page does not say.
func (t *teller) notes() []string {
	var out []string
	for _, n := range t.f.Notes {
		switch n.Kind {
		case forecast.NoteEstimate, forecast.NoteNoPlantings, forecast.NoteLook:
			continue
		case forecast.NoteStale, forecast.NoteNoBloom, forecast.NoteOutside, forecast.NoteSuspect:
			if !t.over { // It is a task then.
				continue
			}
		case forecast.NoteMoved:
			if n.Planting == "" {
				continue
			}
		}
		out = append(out, t.note(n))
	}
	return out
}

// summary says the page in a sentence.
func (t *teller) summary(p morningPage) string {
	n := map[string]int{}
	ripe := 0 // Blocks with something ripe.
	for _, b := range slices.Concat(p.Blocks, p.Coming) {
		here := 0
		for _, r := range b.Rows {
			n[r.State]++
			if r.State == stateRipe {
				here = 1
			}
		}
		ripe += here
	}
	var parts []string
	switch {
	case n[stateRipe] > 0:
		parts = append(parts, "ripe: "+count(n[stateRipe], "planting", "plantings")+" in "+count(ripe, "block", "blocks"))
	case t.over:
		parts = append(parts, "the season is over")
	case !slices.ContainsFunc(t.f.Plantings, func(d forecast.PlantingDates) bool { return d.Stages != nil }):
		parts = append(parts, strings.TrimSuffix(p.NoneRipe, "."))
	case n[stateEnding] > 0:
		parts = append(parts, "nothing is surely ripe")
	default:
		parts = append(parts, "nothing is ripe yet")
	}
	if c := n[stateComing]; c > 0 {
		parts = append(parts, fmt.Sprintf("%d coming within %d days", c, soonDays))
	}
	if c := n[stateEnding]; c > 0 {
		parts = append(parts, fmt.Sprintf("%d ending", c))
	}
	text := strings.Join(parts, ", ")
	moved := 0
	for _, d := range t.f.Plantings {
		if d.Moved != nil && math.Abs(d.Moved.Days) >= 0.05 {
			moved++
		}
	}
	switch {
	case moved > 0:
		text += fmt.Sprintf("; %d moved", moved)
	case p.MoveNote == "Nothing moved.":
		text += "; nothing moved"
	}
	if len(p.Tasks) == 0 {
		text += "; nothing needs doing"
	} else {
		text += "; " + count(len(p.Tasks), "thing needs", "things need") + " doing"
	}
	return sentence(text)
}
