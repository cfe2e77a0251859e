package scoring

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
)

// Comparison is how much better forecasts were than a reference, over the
// events that both forecast.
type Comparison struct {
	N       int // Pairs.
	Seasons int // Different seasons among them.
	// OnlyForecast and OnlyReference count the cases without a partner. They
	// are in no figure here.
	OnlyForecast, OnlyReference int
	InSample                    bool // As in [Accuracy].
	CRPS, Pinball, MAE          SkillScore
}

// Conclusive reports whether there are at least [MinSeasons] seasons; see
// [Accuracy.Conclusive].
func (c Comparison) Conclusive() bool { return c.Seasons >= MinSeasons }

// SkillScore is 1 - S/S_ref for a mean score S and that of the reference: 1 is
// perfect, 0 no better than the reference, below 0 worse.
type SkillScore struct {
	Value float64
	// OK says that Value means something: there are pairs, and the reference is
	// not perfect itself.
	OK bool
	// Lo and Hi are the range that holds 90 % of resampled skills.
	Lo, Hi float64
	// RangeOK says that Lo and Hi mean something: there are two seasons or more,
	// and the reference is perfect in none of the resamples.
	RangeOK bool
}

const (
	resamples  = 2000
	rangeLevel = 0.9
	// perfect is the mean score, days, up to which a reference leaves nothing to
	// be won: rounding leaves as much.
	perfect = 1e-9
)

// Skill compares the forecasts with the reference, pair by pair of cases with
// the same key. Cases without a partner are counted and left out. Without any
// pair no skill is OK, which is no error.
//
// The range of each skill comes from 2,000 resamples: as many seasons as there
// are, drawn with replacement from a fixed seed, each with all its pairs. The
// order of the cases does not matter. With few seasons such ranges are too
// narrow.
//
// It is an error if a key comes twice in one list ([ErrDuplicateKey]), if a
// pair differs in its season or actual date ([ErrMismatch]), if in any of all
// cases the outcome was seen and in others not ([ErrMixed]), or if a case has
// no forecast ([ErrInvalidCase]).
//
// That scores of small samples need a range: Bradley, Schwartz and Hashino
// (2008), Wea. Forecasting 23, 992-1006, from memory.
func Skill(forecast, reference []Case) (Comparison, error) {
	if err := check(slices.Concat(forecast, reference)); err != nil {
		return Comparison{}, err
	}
	partner, err := byKey(reference)
	if err != nil {
		return Comparison{}, err
	}
	if _, err := byKey(forecast); err != nil {
		return Comparison{}, err
	}
	sorted := slices.SortedFunc(slices.Values(forecast), func(a, b Case) int { return strings.Compare(a.Key, b.Key) })
	var c Comparison
	sums := make(map[int]pairSums)
	for _, f := range sorted {
		r, ok := partner[f.Key]
		if !ok {
			c.OnlyForecast++
			continue
		}
		if f.Season != r.Season || f.Actual != r.Actual {
			return Comparison{}, fmt.Errorf("%w: %q is of season %d and came on %v in one, of %d and on %v in the other",
				ErrMismatch, f.Key, f.Season, f.Actual, r.Season, r.Actual)
		}
		s := sums[f.Season]
		s.add(pairSums{1, scoresOf(f), scoresOf(r)})
		sums[f.Season] = s
		c.N++
		c.InSample = f.InSample
	}
	c.OnlyReference = len(reference) - c.N
	c.Seasons = len(sums)
	bySeason := make([]pairSums, 0, len(sums))
	for _, season := range slices.Sorted(maps.Keys(sums)) {
		bySeason = append(bySeason, sums[season])
	}
	skills := skillScores(bySeason)
	c.CRPS, c.Pinball, c.MAE = skills[byCRPS], skills[byPinball], skills[byMAE]
	return c, nil
}

// byKey indexes cases.
func byKey(cases []Case) (map[string]Case, error) {
	m := make(map[string]Case, len(cases))
	for _, c := range cases {
		if _, ok := m[c.Key]; ok {
			return nil, fmt.Errorf("%w: %q", ErrDuplicateKey, c.Key)
		}
		m[c.Key] = c
	}
	return m, nil
}

// pairSums are the scores of some pairs, added up.
type pairSums struct {
	n                   int
	forecast, reference scores
}

func (s *pairSums) add(t pairSums) {
	s.n += t.n
	s.forecast.add(t.forecast)
	s.reference.add(t.reference)
}

// skill returns 1 - S/S_ref of the i-th score, if it is defined.
func (s *pairSums) skill(i int) (value float64, ok bool) {
	if !(s.reference[i] > perfect*float64(s.n)) {
		return 0, false
	}
	return 1 - s.forecast[i]/s.reference[i], true
}

// skillScores returns the skill of each score and its range, from the sums of
// each season.
func skillScores(bySeason []pairSums) (out [len(scores{})]SkillScore) {
	var all pairSums
	for _, s := range bySeason {
		all.add(s)
	}
	var drawn [len(out)][]float64
	if len(bySeason) > 1 {
		r := rand.New(rand.NewPCG(1, 1))
		for range resamples {
			var sum pairSums
			for range bySeason {
				sum.add(bySeason[r.IntN(len(bySeason))])
			}
			for i := range drawn {
				if v, ok := sum.skill(i); ok {
					drawn[i] = append(drawn[i], v)
				}
			}
		}
	}
	for i := range out {
		s := &out[i]
		s.Value, s.OK = all.skill(i)
		if len(drawn[i]) < resamples {
			continue
		}
		slices.Sort(drawn[i])
		s.Lo, s.Hi, s.RangeOK = drawn[i][placeOf((1-rangeLevel)/2)], drawn[i][placeOf((1+rangeLevel)/2)], true
	}
	return out
}

// placeOf is the place, from 0, of the p-quantile among the sorted resamples.
func placeOf(p float64) int { return int(p*resamples+0.5) - 1 }
