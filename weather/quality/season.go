package quality

import (
	"fmt"
	"math"
)

// bins of five days make a year.
const bins = 73

// normal is what is usual of a column at a time of year.
type normal struct {
	centre, scale float64 // °C; like a mean and a standard deviation.
	per           float64 // 1/scale.
	n             int     // Values; below enough the others are not to be used.
}

// z returns how many scales x, °C, lies from the centre.
func (n *normal) z(x float64) float64 { return (x - n.centre) * n.per }

const (
	// enough values for a normal: Durre et al. (2010).
	enough = 100
	// leastScale keeps a record that hardly varies from finding everything
	// unusual: 1 °C is about what two good thermometers differ by.
	leastScale = 1
)

// z returns how many scales x, °C, of a column lies from what is usual on the
// day at i; ok is false where too little is known.
func (r *record) z(column, i int, x float64) (z float64, ok bool) {
	n := &r.normal[column][r.bin[i]]
	return n.z(x), n.n >= enough
}

// normals returns the normals of a column: of each five days of the year from
// the values of the fifteen days around, in all years, and where those are
// fewer than enough from thirty-five days, which are wider for what the season
// itself changes. Centre and scale are the biweight mean and standard
// deviation of Lanzante (1996), Int. J. Climatol. 16, 1197-1226, with c = 7.5,
// on counts of tenths of a degree.
func normals(tenths []int16, bin []uint8) (out [bins]normal) {
	least, most := int16(math.MaxInt16), int16(math.MinInt16)
	for _, t := range tenths {
		if t != noChange {
			least, most = min(least, t), max(most, t)
		}
	}
	if least > most {
		return out
	}
	var in [bins]int
	for i, t := range tenths {
		if t != noChange {
			in[bin[i]]++
		}
	}
	around := func(b, reach int) (n int) {
		for k := b - reach; k <= b+reach; k++ {
			n += in[(k+bins)%bins]
		}
		return n
	}
	widest := 0
	for b := range out {
		widest = max(widest, around(b, 3))
	}
	if widest < enough {
		return out // So it is with young records, of which there are most.
	}
	width := int(most) - int(least) + 1
	counts := make([]uint32, bins*width)
	for i, t := range tenths {
		if t != noChange {
			counts[int(bin[i])*width+int(t-least)]++
		}
	}
	sum := make([]uint32, width)
	for b := range out {
		for _, reach := range [...]int{1, 3} {
			n := around(b, reach)
			out[b].n = n
			if n < enough {
				continue
			}
			clear(sum)
			for k := b - reach; k <= b+reach; k++ {
				at := (k + bins) % bins * width
				for j, c := range counts[at : at+width] {
					sum[j] += c
				}
			}
			centre, scale := biweight(sum, n)
			scale = max(scale/10, leastScale)
			out[b] = normal{(centre + float64(least)) / 10, scale, 1 / scale, n}
			break
		}
	}
	return out
}

// biweight returns the biweight mean and standard deviation of n values, of
// which counts[x] are x.
func biweight(counts []uint32, n int) (centre, scale float64) {
	half := uint32(n+1) / 2
	median, below := 0, uint32(0)
	for below+counts[median] < half {
		below += counts[median]
		median++
	}
	// The median distance from the median, at least a step.
	distance, within := 0, counts[median]
	for within < half {
		distance++
		if k := median - distance; k >= 0 {
			within += counts[k]
		}
		if k := median + distance; k < len(counts) {
			within += counts[k]
		}
	}
	reach := 7.5 * float64(max(distance, 1))
	first, last := max(0, median-int(reach)), min(len(counts)-1, median+int(reach))
	var w, wx, up, down float64
	for k := first; k <= last; k++ {
		if counts[k] == 0 {
			continue
		}
		c, x := float64(counts[k]), float64(k-median)
		u := x / reach
		v := 1 - u*u
		w += c * v * v
		wx += c * v * v * x
		up += c * x * x * v * v * v * v
		down += c * v * (1 - 5*u*u)
	}
	return float64(median) + wx/w, math.Sqrt(float64(n)*up) / math.Abs(down)
}

// season marks values that lie 6 scales or more from the centre of their time
// of year: the climatological outlier of Durre et al. (2010).
func (r *record) season() {
	const far = 6
	for i := range r.days {
		for c := lows; c <= highs; c++ {
			x := r.value(c, i)
			if z, ok := r.z(c, i, x); ok && math.Abs(z) >= far {
				n := r.normal[c][r.bin[i]]
				r.mark(i, Season, fmt.Sprintf("%s %.1f °C, where %.1f is usual at that time of year and %.1f the standard deviation",
					names[c], x, n.centre, n.scale))
			}
		}
	}
}

// gap marks values beyond a gap of 10 °C or more among all values of the
// calendar month, seen from their median: Durre et al. (2010). It takes enough
// values; the one March of a young record may well fall apart into winter and
// summer.
func (r *record) gap() {
	const wide = 100 // Tenths of °C.
	for c := lows; c <= highs; c++ {
		tenths := r.tenths[c]
		least, most := int16(math.MaxInt16), int16(math.MinInt16)
		for _, t := range tenths {
			least, most = min(least, t), max(most, t)
		}
		width := int(most) - int(least) + 1
		counts := make([]uint32, 12*width)
		var in [12]uint32
		for i, t := range tenths {
			counts[int(r.month[i])*width+int(t-least)]++
			in[r.month[i]]++
		}
		var low, high [12]int // The last values before a gap.
		for m := range in {
			if in[m] < enough {
				low[m], high[m] = 0, width
				continue
			}
			month := counts[m*width : (m+1)*width]
			median, below := 0, uint32(0)
			for below+month[median] < (in[m]+1)/2 {
				below += month[median]
				median++
			}
			low[m], high[m] = median, median
			for k := median; k >= 0 && low[m]-k < wide; k-- {
				if month[k] > 0 {
					low[m] = k
				}
			}
			for k := median; k < width && k-high[m] < wide; k++ {
				if month[k] > 0 {
					high[m] = k
				}
			}
		}
		for i, t := range tenths {
			m := r.month[i]
			switch k := int(t - least); {
			case k < low[m]:
				r.mark(i, Gap, fmt.Sprintf("%s %.1f °C, where the next lowest of that month is %.1f",
					names[c], r.value(c, i), float64(low[m]+int(least))/10))
			case k > high[m]:
				r.mark(i, Gap, fmt.Sprintf("%s %.1f °C, where the next highest of that month is %.1f",
					names[c], r.value(c, i), float64(high[m]+int(least))/10))
			}
		}
	}
}
