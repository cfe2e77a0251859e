package forecast

import (
	"math"
	"slices"
)

// published are the quantiles that every range shows.
var published = [3]float64{0.1, 0.5, 0.9}

// dayQuantiles returns, for each published p, the smallest of the days xs with
// at least a share p of them on or before it. xs must not be empty and its
// values must lie in [0, 2000).
func dayQuantiles(xs []int16) (q [3]int) {
	lo, hi := slices.Min(xs), slices.Max(xs)
	counts := make([]int, hi-lo+1)
	for _, x := range xs {
		counts[x-lo]++
	}
	i, sum := 0, 0
	for d, n := range counts {
		sum += n
		for i < len(q) && sum >= rank(published[i], len(xs)) {
			q[i] = int(lo) + d
			i++
		}
	}
	return q
}

// rank returns how many of n members a share p is, at least: the place,
// counted from 1, of the p-quantile among n sorted values.
func rank(p float64, n int) int {
	return max(1, int(math.Ceil(p*float64(n)-1e-9)))
}

// kgQuantiles returns the published quantiles of xs, which it reorders.
func kgQuantiles(xs []float32) (q [3]float64) {
	lo := 0
	for i, p := range published {
		k := rank(p, len(xs)) - 1
		selectNth(xs[lo:], k-lo)
		q[i] = float64(xs[k])
		lo = k
	}
	return q
}

// selectNth puts the value that sorting would put at k there, smaller ones
// before and greater ones behind it (Hoare's selection).
func selectNth(xs []float32, k int) {
	lo, hi := 0, len(xs)-1
	for lo < hi {
		pivot := median3(xs[lo], xs[(lo+hi)/2], xs[hi])
		i, j := lo, hi
		for i <= j {
			for xs[i] < pivot {
				i++
			}
			for xs[j] > pivot {
				j--
			}
			if i <= j {
				xs[i], xs[j] = xs[j], xs[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return
		}
	}
}

func median3(a, b, c float32) float32 { return max(min(a, b), min(max(a, b), c)) }
