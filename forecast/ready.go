package forecast

import "cmp"

// readyRule says how much ripe fruit standing is enough to open on a weekday:
// the weight for that weekday, else the farm's weight for any, else a share of
// the first varieties' crop, else the least that serves the crowd; with nothing
// set, anything ripe.
type readyRule struct {
	kg     [7]float64 // By weekday; 0: by share.
	share  float64
	firsts int
	thin   float64
}

func newReadyRule(f Farm) readyRule {
	o := f.Opening
	r := readyRule{kg: o.ReadyKgOn, firsts: max(1, o.FirstVarieties), thin: f.ThinKgPerDay}
	other := o.ReadyKg
	if other == 0 {
		r.share = o.ReadyShare
	}
	if other == 0 && r.share == 0 {
		other = f.ThinKgPerDay
	}
	for w := range r.kg {
		if r.kg[w] == 0 {
			r.kg[w] = other
		}
	}
	return r
}

// needs returns what is enough in one member, kg by weekday.
func (r readyRule) needs(ps []memberDay) [7]float64 {
	needs := r.kg
	if r.share == 0 {
		return needs
	}
	kg := r.share * firstCrop(ps, r.firsts)
	for w := range needs {
		if needs[w] == 0 {
			needs[w] = kg
		}
	}
	return needs
}

// least returns what is still enough for the crowd of a day after opening, of
// which need was asked before it: the farm's minimum, if it has one.
func (r readyRule) least(need float64) float64 {
	if r.thin > 0 {
		return r.thin
	}
	return need
}

// firstCrop returns the whole crop, kg, of the n varieties that ripen first; of
// two on one day the one whose slug comes first.
func firstCrop(ps []memberDay, n int) (kg float64) {
	counted := make(map[int]bool, n)
	for range n {
		next := -1
		for i, p := range ps {
			if counted[p.variety] {
				continue
			}
			if next < 0 || cmp.Or(cmp.Compare(p.first, ps[next].first), cmp.Compare(p.slug, ps[next].slug)) < 0 {
				next = i
			}
		}
		if next < 0 {
			break
		}
		counted[ps[next].variety] = true
	}
	for _, p := range ps {
		if counted[p.variety] {
			kg += p.kg
		}
	}
	return kg
}
