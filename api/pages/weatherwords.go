package pages

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/quality"
)

// fact is one thing to know of a record, in plain sentences.
type fact struct {
	Term  string
	Lines []string
	Look  bool // Somebody should look at it.
}

// testName is a test as people read it.
type testName struct{ letter, words string }

// testNames are the tests there are. A letter marks its days on the chart.
var testNames = map[quality.Test]testName{
	quality.Columns:          {"C", "a column holds the other one's values"},
	quality.Duplicate:        {"D", "the same values as on a run of other days"},
	quality.Gap:              {"G", "far from everything else in that month"},
	quality.Naught:           {"N", "nought where nothing was written"},
	quality.Neighbour:        {"B", "contradicts the day before or after"},
	quality.Range:            {"R", "too far from the days around"},
	quality.Season:           {"S", "far from what is usual at that time of year"},
	quality.Shifted:          {"H", "the highs belong to other dates"},
	quality.Spike:            {"K", "stands out from the day before and the day after"},
	quality.Streak:           {"T", "the same value too many days in a row"},
	quality.Unit:             {"U", "fits the season only in another unit"},
	forecast.TestSource:      {"F", "failed the tests of its own source"},
	forecast.TestReadingHour: {"M", "the high read the next morning is below the low"},
}

// date writes a date, with its year where that is not this one.
func (x *look) date(d weather.Date) string { return dateNear(x.farm, d, x.today) }

func dateNear(f *forecast.Farm, d, today weather.Date) string {
	if d.Year() == today.Year() {
		return Day(f, d)
	}
	return DayYear(f, d)
}

// spanNear writes a range of dates, with years where they are not this one.
func spanNear(f *forecast.Farm, from, to, today weather.Date) string {
	switch {
	case from == to:
		return dateNear(f, from, today)
	case from.Year() != to.Year() || to.Year() == today.Year():
		return f.Span(from, to)
	case f.Units == forecast.US:
		return f.Span(from, to) + ", " + strconv.Itoa(to.Year())
	}
	return f.Span(from, to) + " " + strconv.Itoa(to.Year())
}

// degreeUnit is "°C" or "°F".
func degreeUnit(f *forecast.Farm) string {
	if f.Units == forecast.US {
		return "°F"
	}
	return "°C"
}

// difference writes by how much something is warmer, with its sign.
func difference(c float64, f *forecast.Farm) string {
	if f.Units == forecast.US {
		c *= 9.0 / 5
	}
	c = math.Round(c*10)/10 + 0 // And not "-0".
	return strings.ReplaceAll(fmt.Sprintf("%+.1f %s", c, degreeUnit(f)), "-", "−")
}

// sourceWords writes where a day comes from.
func sourceWords(source string) string {
	switch {
	case source == "json":
		return "another program"
	case strings.HasPrefix(source, "file "):
		return "a file (" + strings.TrimPrefix(source, "file ") + ")"
	case strings.HasPrefix(source, "feed "):
		return "the feed " + strings.TrimPrefix(source, "feed ")
	}
	return source
}

// verdictWords writes what somebody said of a day.
func verdictWords(w weather.Verdict) string {
	s := w.By + ": leave it out"
	if w.Use {
		s = w.By + ": use it"
	}
	if w.Note != "" {
		s += ", “" + w.Note + "”"
	}
	return s
}

// lead is the first thing to know.
func (x *look) lead() string {
	h := x.health
	switch {
	case h.Last == nil:
		return "Nothing is on record yet."
	case h.DaysOld == 0:
		return "The record goes through yesterday, " + x.date(*h.Last) + "."
	case h.DaysOld == 1:
		return "The record goes through " + x.date(*h.Last) + ": yesterday is missing."
	}
	return "The record stops on " + x.date(*h.Last) + ": " + count(h.DaysOld, "day is", "days are") + " missing up to yesterday, " + x.date(x.today-1) + "."
}

// facts are everything that is known of the record.
func (x *look) facts() []fact {
	h := x.health
	out := []fact{{Term: "Record", Lines: x.recordWords(), Look: h.DaysOld > 0 || h.Last == nil}}
	if h.Last != nil {
		out = append(out,
			fact{Term: "Holes", Lines: x.holeWords()},
			fact{Term: "Doubted days", Lines: x.doubtWords(), Look: h.Misfit != ""},
			fact{Term: "Late corrections", Lines: x.fixedWords()},
			fact{Term: "Hour of reading", Lines: x.hourWords(), Look: h.Proposal != nil})
	}
	standIn, ok := x.standInWords()
	out = append(out, fact{Term: "Stand-in", Lines: standIn, Look: !ok})
	if h.Last != nil || h.Leaning.Lent > 0 {
		out = append(out, fact{Term: "This season", Lines: x.leaningWords(), Look: h.Leaning.OtherYears > 0})
	}
	return append(out, fact{Term: "Days ahead", Lines: x.aheadWords(), Look: h.Leaning.PastSeasons < forecast.LeastYears})
}

func (x *look) recordWords() []string {
	h := x.health
	if h.Last == nil {
		return []string{"No day is on record. Drop a weather file on this page, or let a feed fetch days."}
	}
	lines := []string{figure(float64(h.Days)) + " " + plural(h.Days, "day", "days") + " on record, from " + x.date(*h.First) + " on."}
	if h.DaysOld > 0 {
		lines = append(lines, "The last is "+x.date(*h.Last)+", "+count(h.DaysOld+1, "day", "days")+" ago.")
	}
	return lines
}

// plural is the noun of a number.
func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func (x *look) holeWords() []string {
	holes, n := x.health.Holes, 0
	for _, h := range holes {
		n += h.Len()
	}
	if len(holes) == 0 {
		return []string{"No day is missing between the first and the last."}
	}
	last := holes[len(holes)-1]
	lines := []string{fmt.Sprintf("%s of %s together; the latest is %s.",
		count(len(holes), "hole", "holes"), figure(float64(n))+" "+plural(n, "day", "days"), spanNear(x.farm, last.From, last.To, x.today))}
	return append(lines, "Up to three days are bridged between their neighbours; longer holes take the stand-in's days or, without, what is usual.")
}

func (x *look) doubtWords() []string {
	h := x.health
	n := 0
	for i, s := range h.Suspects {
		if i == 0 || h.Suspects[i-1].Date != s.Date {
			n++
		}
	}
	switch {
	case h.Misfit != "":
		return []string{
			count(n, "day looks", "days look") + " wrong: so many that it must be the station's place, unit or hour of reading, and none is left out for it.",
			"The first one: " + figuresOf(x.farm, lowHigh(h.Misfit)) + ".",
		}
	case n == 0 && len(h.LeftOut) == 0:
		return []string{"No day looks wrong."}
	}
	s := figure(float64(n)) + " " + plural(n, "day looks", "days look") + " wrong; "
	switch len(h.LeftOut) {
	case 0:
		s += "none is left out of forecasts."
	default:
		s += figure(float64(len(h.LeftOut))) + " " + plural(len(h.LeftOut), "is", "are") + " left out of forecasts."
	}
	if x.record.Station.Suspects == weather.UseSuspects {
		return []string{s, "The station's rule is to use them until somebody has judged them."}
	}
	return []string{s, "The station's rule is to leave them out until somebody has judged them."}
}

func (x *look) fixedWords() []string {
	switch n := len(x.fixed); n {
	case 0:
		return []string{"None in the last 30 days."}
	case corrections:
		return []string{fmt.Sprintf("%d days or more were corrected in the last 30 days, the latest %s.", n, x.date(x.fixed[0].Date))}
	default:
		return []string{count(n, "day was", "days were") + " corrected in the last 30 days, the latest " + x.date(x.fixed[0].Date) + "."}
	}
}

// hourText writes at what hour thermometers are read.
func hourText(hour int) string {
	switch {
	case hour == 24:
		return "midnight, so that its days are civil days"
	case hour == 12:
		return "noon"
	case hour > 12:
		return fmt.Sprintf("%d in the afternoon", hour-12)
	case hour < 11:
		return fmt.Sprintf("%d in the morning, so that the high written down belongs to the day before", hour)
	}
	return fmt.Sprintf("%d in the morning", hour)
}

func (x *look) hourWords() []string {
	hours := x.health.Hours
	if len(hours) == 0 {
		if x.health.Proposal != nil {
			return []string{"Taken as civil days, from midnight to midnight, but the record speaks against it: see below."}
		}
		return []string{"Taken as civil days, from midnight to midnight."}
	}
	return x.hourLines(hours)
}

// hourLines says in turn from when on the thermometers are read at what hour.
func (x *look) hourLines(hours []weather.ReadingHour) []string {
	var lines []string
	for _, h := range hours {
		lines = append(lines, "From "+x.date(h.From)+" on read at "+hourText(h.Hour)+".")
	}
	return lines
}

// proposal is the hours of reading for which the record speaks, or nil.
func (x *look) proposal() *proposal {
	g := x.health.Proposal
	if g == nil {
		return nil
	}
	out := &proposal{What: x.hourLines(g.Hours), Figures: figuresOf(x.farm, g.Evidence)}
	out.Why = "The highs go with the nights before them, as where the thermometers are read in the morning and yesterday's high is written under today."
	if g.Told {
		out.Why = "The source of the days tells at which hour they were read."
	}
	for _, h := range g.Hours {
		out.Values = append(out.Values, fmt.Sprintf("%s %d", h.From, h.Hour))
	}
	return out
}

func (x *look) standInWords() (lines []string, ok bool) {
	s := x.health.StandIn
	switch {
	case s == nil:
		return []string{"None. A station nearby with a long record can fill holes; the Book names it."}, true
	case !s.Used:
		return []string{x.standIn + ", but the two have only " + count(s.Offsets.Days, "day", "days") + " in common: too few to tell how they differ, so it lends nothing."}, false
	}
	o := s.Offsets.Year.Middle
	lines = []string{fmt.Sprintf("%s; this station is %s against it, give or take %s, by %s days in common.",
		x.standIn, difference(o.C, x.farm), strings.TrimPrefix(difference(o.SD, x.farm), "+"), figure(float64(s.Offsets.Days)))}
	if s.Lent == 0 {
		return append(lines, "It has lent no day so far."), true
	}
	return append(lines, "It lends "+figure(float64(s.Lent))+" "+plural(s.Lent, "day", "days")+", moved to this place month by month."), true
}

func (x *look) leaningWords() []string {
	l := x.health.Leaning
	if l.Days <= 0 {
		return []string{"No day of the season counts yet."}
	}
	span := spanNear(x.farm, l.From, l.To, x.today)
	if l.Bridged+l.Lent+l.OtherYears == 0 {
		return []string{fmt.Sprintf("All of the %s that count so far, %s, were observed here.", count(l.Days, "day", "days"), span)}
	}
	var parts []string
	if l.Bridged > 0 {
		parts = append(parts, fmt.Sprintf("%d bridged between their neighbours", l.Bridged))
	}
	if l.Lent > 0 {
		parts = append(parts, fmt.Sprintf("%d lent by %s", l.Lent, x.standIn))
	}
	if l.OtherYears > 0 {
		parts = append(parts, fmt.Sprintf("%d taken as other years had them", l.OtherYears))
	}
	n := l.Bridged + l.Lent + l.OtherYears
	return []string{fmt.Sprintf("Of %s that count so far, %s, %d %s not observed here: %s.",
		count(l.Days, "day", "days"), span, n, plural(n, "was", "were"), strings.Join(parts, ", "))}
}

func (x *look) aheadWords() []string {
	l := x.health.Leaning
	first := count(l.PastSeasons, "past season", "past seasons") + " can stand in for the days ahead."
	if l.PastSeasons < forecast.LeastYears {
		first = fmt.Sprintf("Only %s can stand in for the days ahead and %d are needed: load older daily records, or name a stand-in that has them.",
			count(l.PastSeasons, "past season", "past seasons"), forecast.LeastYears)
	}
	if l.PastSeasons == 0 {
		first = fmt.Sprintf("No past season can stand in for the days ahead and %d are needed: load older daily records, or name a stand-in that has them.", forecast.LeastYears)
	}
	if at := x.health.OutlookAt; at != nil {
		return []string{first, "The newest outlook was issued " + x.moment(*at) + ", " + ago(x.now, *at) + "."}
	}
	return []string{first, "There is no outlook: a feed can fetch one."}
}

// moment writes an instant as people at the farm say it.
func (x *look) moment(t time.Time) string { return moment(x.farm, t.In(x.zone), x.today) }

func moment(f *forecast.Farm, t time.Time, today weather.Date) string {
	return dateNear(f, weather.DateIn(t), today) + ", " + clock(f, t)
}

// clock writes a time of day as people at the farm say it.
func clock(f *forecast.Farm, t time.Time) string {
	if f.Units == forecast.US {
		return t.Format("3:04 pm")
	}
	return t.Format("15:04")
}

// filled says what stands in a hole of which n days are lent.
func (x *look) filled(h weather.Hole, n int) string {
	const shortHole = 3 // Days that are bridged.
	switch {
	case n == h.Len():
		return "lent by " + x.standIn
	case n > 0:
		return fmt.Sprintf("%d of them lent by %s", n, x.standIn)
	case x.health.Last != nil && h.From > *x.health.Last:
		return "what is usual, until it is known"
	case h.Len() <= shortHole:
		return "a line between its neighbours"
	}
	return "what other years had"
}

// months says month by month how the station differs from its stand-in.
func (x *look) months() []monthRow {
	s := x.health.StandIn
	if s == nil || !s.Used {
		return nil
	}
	var rows []monthRow
	with := func(o forecast.Offset) string {
		return difference(o.C, x.farm) + " ± " + strings.TrimPrefix(strings.Fields(difference(o.SD, x.farm))[0], "+")
	}
	for m, o := range s.Offsets.Months {
		rows = append(rows, monthRow{time.Month(m + 1).String(), with(o.Min), with(o.Max), o.Days})
	}
	return rows
}

// openHoles are the holes of the record, and the days that are missing since.
func (x *look) openHoles() []weather.Hole {
	holes := slices.Clone(x.health.Holes)
	if h := x.health; h.Last != nil && h.DaysOld > 0 {
		holes = append(holes, weather.Hole{From: *h.Last + 1, To: x.today - 1})
	}
	return holes
}

// testWordsOf says what a test finds.
func testWordsOf(test string) string {
	if t, ok := testNames[quality.Test(test)]; ok {
		return t.words
	}
	return test
}

// figuresOf puts the clause of a test as people at the farm say it.
func figuresOf(f *forecast.Farm, text string) string { return f.Finding(text) }

// reasonOf puts the reason of a reader as people say it, dates with their
// weekday. Figures stay in the unit of what was read.
func reasonOf(f *forecast.Farm, text string) string {
	return anyDate.ReplaceAllStringFunc(lowHigh(text), func(s string) string {
		d, err := weather.ParseDate(s)
		if err != nil {
			return s
		}
		return f.DayYear(d)
	})
}
