package quality

import (
	"fmt"
	"math"
)

// shifted marks runs of days whose highs belong to the lows of the day before
// or after, while the rest of the record does not: a column that has slipped.
//
// The change u(d) of the high from the day before, in scales of its time of
// year, is predicted from those of the low, v, as
//
//	p(d) = a·v(d-1) + b·v(d) + c·v(d+1),
//
// with a, b and c by least squares over the whole record. Where the highs have
// slipped by a day, p(d-1) or p(d+1) predicts better; the log-odds of a day are
// half the difference of the squared errors over their variance. A run is
// suspect when they sum to ln(10 n) in a record of n days, so that chance
// makes one in some ten records. Two years are needed. A run of more than 400
// days is left alone: there the reading hour was changed, see [GuessHour].
func (r *record) shifted() {
	const most, years = 400, 730
	n := len(r.days)
	if n < years {
		return
	}
	nan := float32(math.NaN())
	u, v := r.changes(highs), r.changes(lows)
	// Normal equations of the three coefficients, by month.
	var months [12][3][4]float64
	for i := 1; i+1 < n; i++ {
		if x := [...]float64{float64(v[i-1]), float64(v[i]), float64(v[i+1]), float64(u[i])}; r.follows(i) && r.follows(i+1) && !math.IsNaN(x[0]+x[1]+x[2]+x[3]) {
			m := &months[r.month[i]]
			for j := range 3 {
				for k := range 4 {
					m[j][k] += x[j] * x[k]
				}
			}
		}
	}
	var coefficients [12][3]float32
	for k := range months {
		var sum [3][4]float64
		for _, m := range [...]int{(k + 11) % 12, k, (k + 1) % 12} {
			for i := range sum {
				for j := range sum[i] {
					sum[i][j] += months[m][i][j]
				}
			}
		}
		c, ok := solve(sum)
		if !ok {
			return
		}
		coefficients[k] = [3]float32{float32(c[0]), float32(c[1]), float32(c[2])}
	}
	p := make([]float32, n) // NaN where a change is missing.
	sum, count := 0.0, 0
	for i := range p {
		p[i] = nan
		if 0 < i && i+1 < n && r.follows(i) && r.follows(i+1) {
			c := &coefficients[r.month[i]]
			p[i] = c[0]*v[i-1] + c[1]*v[i] + c[2]*v[i+1]
		}
		if e := float64(u[i] - p[i]); e == e {
			sum += e * e
			count++
		}
	}
	if !(sum > 0) {
		return
	}
	variance := sum / float64(count)
	for _, t := range [...]struct {
		step   int
		detail string
	}{{-1, "before"}, {1, "after"}} {
		run := stretch{least: math.Log(10 * float64(n)), found: func(i, j int) {
			if j-i < most {
				r.markAll(i, j, Shifted, fmt.Sprintf("the highs of %d days from %s on go with the lows of the day %s", j-i+1, r.days[i].Date, t.detail))
			}
		}}
		for i := 1; i+1 < n; i++ {
			here, there := float64(u[i]-p[i]), float64(u[i]-p[i+t.step])
			if odds := (here*here - there*there) / (2 * variance); odds == odds { // No NaN: nothing is missing.
				run.add(i, odds)
			}
		}
		run.end()
	}
}

// changes returns the changes of a column from the day before, in scales of
// their time of year, at most three; NaN where one is missing or little known.
func (r *record) changes(column int) []float32 {
	out := make([]float32, len(r.days))
	for i, t := range r.tenths[column+lowChanges] {
		out[i] = float32(math.NaN())
		if n := &r.normal[column+lowChanges][r.bin[i]]; t != noChange && n.n >= enough {
			out[i] = float32(min(max(float64(t)/10/n.scale, -3), 3))
		}
	}
	return out
}

// solve solves three linear equations by Gauss's elimination; ok is false if
// they have no single solution. The matrix must be positive semidefinite.
func solve(m [3][4]float64) (x [3]float64, ok bool) {
	for j := range m {
		if !(m[j][j] > 1e-9) {
			return x, false
		}
		for i := j + 1; i < len(m); i++ {
			f := m[i][j] / m[j][j]
			for k := j; k < 4; k++ {
				m[i][k] -= f * m[j][k]
			}
		}
	}
	for j := 2; j >= 0; j-- {
		x[j] = m[j][3]
		for k := j + 1; k < 3; k++ {
			x[j] -= m[j][k] * x[k]
		}
		x[j] /= m[j][j]
	}
	return x, true
}
