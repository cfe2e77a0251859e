package scoring

import (
	"maps"
	"math/rand/v2"
	"slices"
)

// Range is from Lo to Hi; OK says that it means something.
type Range struct {
	Lo, Hi float64
	OK     bool
}

// redrawnPart is the share of what is drawn that lies within a [Range].
const redrawnPart = 0.8

// Redrawn returns the central 80 % of the mean of f over cases when as many
// seasons as there are are drawn with replacement from a fixed seed, 2,000
// times, each with all its cases. It takes two seasons or more; with few it is
// too narrow.
func Redrawn(cases []Case, f func(Case) float64) Range {
	type sums struct{ n, sum float64 }
	by := map[int]sums{}
	for _, c := range cases {
		s := by[c.Season]
		by[c.Season] = sums{s.n + 1, s.sum + f(c)}
	}
	if len(by) < 2 {
		return Range{}
	}
	seasons := slices.Sorted(maps.Keys(by))
	r := rand.New(rand.NewPCG(1, 1))
	means := make([]float64, resamples)
	for i := range means {
		var all sums
		for range seasons {
			s := by[seasons[r.IntN(len(seasons))]]
			all.n += s.n
			all.sum += s.sum
		}
		means[i] = all.sum / all.n
	}
	slices.Sort(means)
	const tail = resamples * (1 - redrawnPart) / 2
	return Range{means[int(tail)], means[resamples-1-int(tail)], true}
}
