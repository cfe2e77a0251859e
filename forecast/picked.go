package forecast

import (
	"math"

	"ripetide/weather"
)

// picked is what is on record of a season's pickings. Days are numbered from the
// season's first.
//
// A farm of which any picking of the season is on record enters its pickings, so
// until the morning of the forecast nothing else was picked: neither on a day
// without an entry, nor of a planting without one, nor before its first. The
// morning's own day is told of only when it has an entry, for it is to come.
// Where nobody said how much was left, as much as was picked is gone; where none
// was left, all is. More than a member has standing cannot be taken from it: its
// crop is then less than what there was, and it stays as likely as the others.
type picked struct {
	through int         // Last day that it tells of.
	first   int         // First day on which others than staff picked; -1: none.
	last    int         // Last day with an entry.
	kg      [][]float64 // What is gone at the end of the day [planting][day]; +Inf: all that stood.
}

// picked returns what is on record of this season's pickings, of the targets
// that are counted; nil: there is none.
func (c *computing) picked(ripening []int) *picked {
	start, days := c.targets[0].ahead.first, len(c.targets[0].ahead.paths[0])
	at := map[string][]float64{}
	p := &picked{through: int(c.asOf-start) - 1, first: -1}
	for _, t := range ripening {
		kg := make([]float64, days)
		at[c.in.Plantings[c.targets[t].planting].ID] = kg
		p.kg = append(p.kg, kg)
	}
	any := false
	for _, x := range c.in.Pickings {
		d := int(x.Date - start)
		if SeasonOf(x.Date, c.southern) != c.season || d < 0 || d >= days {
			continue
		}
		any = true
		p.through, p.last = max(p.through, d), max(p.last, d)
		if x.Kg > 0 && x.Source != PickedByStaff && (p.first < 0 || d < p.first) {
			p.first = d
		}
		if kg := at[x.Planting]; kg != nil {
			kg[d] = x.Kg
			if x.Left == LeftNone && !x.Closed {
				kg[d] = math.Inf(1)
			}
		}
	}
	if !any {
		return nil
	}
	return p
}

// tells reports whether the record tells of a day.
func (p *picked) tells(day int) bool { return p != nil && day <= p.through }

// opened reports whether others than staff had picked by a day.
func (p *picked) opened(day int) bool { return p != nil && p.first >= 0 && day >= p.first }

// take takes what was picked on a day off what stood, kg by planting.
func (p *picked) take(day int, standing []float64) {
	for i := range standing {
		standing[i] = max(standing[i]-p.kg[i][day], 0)
	}
}

// notePickings says that fruit may have been picked that is not on record.
func (c *computing) notePickings(p *picked) {
	if p == nil || c.asOf > c.f.SeasonSpan.Last.P90 {
		return
	}
	if last := c.targets[0].ahead.first + weather.Date(p.last); last < c.asOf-1 {
		c.note(NotePickings, "", "The last picking on record is that of %s: what has ripened since counts as not picked.", c.day(last))
	}
}
