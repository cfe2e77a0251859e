package forecast_test

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"ripetide/forecast"
	"ripetide/weather"
)

// near reports whether got is within tol of want; NaN is near nothing.
func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

var (
	kinds = []forecast.Kind{
		forecast.Average, forecast.ClippedAverage, forecast.SingleTriangle,
		forecast.DoubleTriangle, forecast.SingleSine, forecast.DoubleSine,
	}
	cutoffs = []forecast.Cutoff{
		forecast.NoCutoff, forecast.Horizontal, forecast.Intermediate, forecast.Vertical,
	}
)

// none is the method of a kind above a base, without a cutoff.
func none(k forecast.Kind, base float64) forecast.Method {
	return forecast.Method{Kind: k, Base: base, Cutoff: forecast.NoCutoff}
}

// cut is the method of a kind between two thresholds.
func cut(k forecast.Kind, c forecast.Cutoff, base, upper float64) forecast.Method {
	if c == forecast.NoCutoff {
		return none(k, base)
	}
	return forecast.Method{Kind: k, Base: base, Upper: upper, Cutoff: c}
}

// byQuadrature is the oracle: the definition, summed up, sharing no code with
// the closed forms. A day is two half waves, each rising over x from 0 to 1
// from the lower to the higher of its ends; what a temperature counts is
// integrated piece by piece between the moments at which it crosses a
// threshold, which bisection finds.
func byQuadrature(m forecast.Method, minC, maxC, nextMinC float64) float64 {
	half := func(from, to float64) float64 {
		lo, hi := min(from, to), max(from, to)
		temp := func(x float64) float64 { return lo + (hi-lo)*(1-math.Cos(math.Pi*x))/2 }
		if m.Kind == forecast.SingleTriangle || m.Kind == forecast.DoubleTriangle {
			temp = func(x float64) float64 { return lo + (hi-lo)*x }
		}
		thresholds := []float64{m.Base, m.Upper}
		if m.Cutoff == forecast.NoCutoff {
			thresholds = thresholds[:1]
		}
		knots := []float64{0}
		for _, t := range thresholds {
			if lo < t && t < hi {
				knots = append(knots, crossing(temp, t))
			}
		}
		knots = append(knots, 1)
		sum := 0.0
		for i := 1; i < len(knots); i++ {
			if a, b := knots[i-1], knots[i]; b > a {
				mid := temp((a + b) / 2) // The piece lies on one side of each threshold.
				sum += quad.Fixed(func(x float64) float64 { return counts(m, temp(x), mid) }, a, b, 24, nil, 0)
			}
		}
		if m.Cutoff == forecast.Intermediate {
			return max(0, sum)
		}
		return sum
	}
	switch m.Kind {
	case forecast.DoubleTriangle, forecast.DoubleSine:
		return (half(minC, maxC) + half(maxC, nextMinC)) / 2
	}
	return half(minC, maxC)
}

// counts is what the temperature t counts at a moment, on the piece of the day
// that mid belongs to.
func counts(m forecast.Method, t, mid float64) float64 {
	switch {
	case mid <= m.Base:
		return 0
	case m.Cutoff == forecast.NoCutoff || mid <= m.Upper:
		return t - m.Base
	}
	switch m.Cutoff {
	case forecast.Horizontal:
		return m.Upper - m.Base
	case forecast.Intermediate:
		return m.Upper - m.Base - (t - m.Upper)
	}
	return 0
}

// crossing finds by bisection where the rising temp passes t within (0, 1).
func crossing(temp func(float64) float64, t float64) float64 {
	lo, hi := 0.0, 1.0
	for range 80 {
		if mid := (lo + hi) / 2; temp(mid) < t {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// randomDay draws extremes and thresholds, °C, so that every order of the four
// is common, and now and then two of them are equal.
func randomDay(r *rand.Rand) (minC, maxC, nextC, base, upper float64) {
	draw := func(lo, hi float64) float64 { // Halves of a degree, half the time.
		x := lo + (hi-lo)*r.Float64()
		if r.IntN(2) == 0 {
			return math.Round(2*x) / 2
		}
		return x
	}
	minC = draw(-15, 35)
	maxC = minC + draw(0, 25)
	nextC = draw(-15, 40)
	base = draw(-5, 20)
	upper = base + draw(0.5, 30)
	return minC, maxC, nextC, base, upper
}

// waves are the kinds that the quadrature describes.
var waves = []forecast.Kind{
	forecast.SingleTriangle, forecast.DoubleTriangle, forecast.SingleSine, forecast.DoubleSine,
}

func TestDegreeDaysAgainstQuadrature(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	for range 5000 {
		lo, hi, next, base, upper := randomDay(r)
		for _, k := range waves {
			for _, c := range cutoffs {
				m := cut(k, c, base, upper)
				got, want := m.DegreeDays(lo, hi, next), byQuadrature(m, lo, hi, next)
				if !near(got, want, 1e-11) {
					t.Fatalf("%v: day %g to %g, then %g: got %.14g, by quadrature %.14g", m, lo, hi, next, got, want)
				}
			}
		}
	}
}

// The double methods, °C: closed form and 20,000 steps of integration agreed
// when the table was made. The third extreme is the next minimum.
func TestDoubleMethodsTabulated(t *testing.T) {
	t.Parallel()
	const h, i, v = forecast.Horizontal, forecast.Intermediate, forecast.Vertical
	const tri, sine = forecast.DoubleTriangle, forecast.DoubleSine
	for _, tt := range []struct {
		kind         forecast.Kind
		cutoff       forecast.Cutoff
		lo, hi, next float64
		want         float64
	}{
		{tri, h, 2, 18, 9, 6.8906},
		{sine, h, 2, 18, 9, 7.0312},
		{tri, h, 12, 24, 4, 11.0125},
		{sine, h, 12, 24, 4, 11.0477},
		{tri, h, 10, 33, 18, 18.2522},
		{tri, i, 10, 33, 18, 18.0043},
		{tri, v, 10, 33, 18, 14.1217},
		{sine, h, 10, 33, 18, 17.9761},
		{sine, i, 10, 33, 18, 17.4523},
		{sine, v, 10, 33, 18, 11.3461},
	} {
		m := cut(tt.kind, tt.cutoff, 5, 30)
		if got := m.DegreeDays(tt.lo, tt.hi, tt.next); !near(got, tt.want, fourDigits) {
			t.Errorf("%v: day %g to %g, then %g: got %.5f, want %.4f", m, tt.lo, tt.hi, tt.next, got, tt.want)
		}
	}
}

// fourDigits is the tolerance for a value printed with four decimals.
const fourDigits = 0.5e-4 + 1e-9

func TestDoubleByHand(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name         string
		m            forecast.Method
		lo, hi, next float64
		want         float64
	}{
		{"the next night as cold is the single day", none(forecast.DoubleTriangle, 6), 2, 10, 2, 1},  // 4²/(2·8)
		{"a mild next night", none(forecast.DoubleTriangle, 6), 2, 10, 6, 1.5},                       // ½[1 + (8-6)]
		{"a next night above the maximum rises to it", none(forecast.DoubleSine, 0), 4, 10, 14, 9.5}, // ½[7 + 12]
		{"and may cross the base on its way", none(forecast.DoubleTriangle, 10), 4, 10, 14, 1},       // ½[0 + 2]
		{"and is cut off above", cut(forecast.DoubleSine, forecast.Horizontal, 0, 5), 6, 10, 14, 5},
		// ½[max(0, 31-2·21) + 16-2·22²/64]: each half on its own.
		{"a half day that counts below zero counts 0", cut(forecast.DoubleTriangle, forecast.Intermediate, 0, 10), 30, 32, 0, 0.4375},
		{"a flat day and a flat night", none(forecast.DoubleSine, 3), 7, 7, 7, 4},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := tt.m.DegreeDays(tt.lo, tt.hi, tt.next); !near(got, tt.want, 1e-12) {
				t.Errorf("got %.14g, want %.14g", got, tt.want)
			}
		})
	}
}

// What holds of every kind and cutoff: bounds, never falling as an extreme
// rises, the same in °F, the mean where no threshold binds, and the order of
// the cutoffs and of the kinds.
func TestProperties(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(2, 2))
	for range 20_000 {
		lo, hi, next, base, upper := randomDay(r)
		var byKind [4]float64 // Without cutoff, single kinds, from flattest to widest.
		for _, k := range kinds {
			double := k == forecast.DoubleSine || k == forecast.DoubleTriangle
			top := hi
			if double {
				top = max(hi, next)
			}
			var byCutoff [4]float64
			for i, c := range cutoffs {
				m := cut(k, c, base, upper)
				got := m.DegreeDays(lo, hi, next)
				byCutoff[i] = got
				say := func(format string, args ...any) {
					t.Helper()
					t.Fatalf("%v: day %g to %g, then %g: %g: %s", m, lo, hi, next, got, fmt.Sprintf(format, args...))
				}
				most := max(0, top-base)
				if c != forecast.NoCutoff {
					most = min(most, upper-base)
				}
				if !(0 <= got && got <= most+1e-12) {
					say("outside 0 to %g", most)
				}
				if c == forecast.NoCutoff || c == forecast.Horizontal {
					d := 5 * r.Float64()
					if more := m.DegreeDays(lo, hi+d, next); !(more >= got-1e-12) {
						say("falls to %g as the maximum rises by %g", more, d)
					}
					if more := m.DegreeDays(min(lo+d, hi), hi, next); !(more >= got-1e-12) {
						say("falls to %g as the minimum rises by %g", more, d)
					}
					if more := m.DegreeDays(lo, hi, next+d); !(more >= got-1e-12) {
						say("falls to %g as the next minimum rises by %g", more, d)
					}
				}
				f := func(c float64) float64 { return c*9/5 + 32 }
				mf := cut(k, c, f(base), f(upper))
				// The two averages jump at the cutoff, where the conversion may round to either side.
				if c != forecast.Vertical || double || k == forecast.SingleSine || k == forecast.SingleTriangle {
					if gotF := mf.DegreeDays(f(lo), f(hi), f(next)); !near(gotF*5/9, got, 1e-11) {
						say("in °F %g", gotF)
					}
				}
				if same := m.DegreeDays(lo, hi, 99); !double && !near(same, got, 0) {
					say("a single kind looks at the next minimum")
				}
				if all := base <= lo && base <= next && (c == forecast.NoCutoff || hi <= upper && next <= upper); all && !double {
					if mean := (lo + hi) / 2; !near(got, mean-base, 1e-12) {
						say("between the thresholds, want the mean %g less the base", mean)
					}
				}
			}
			if byCutoff[1] > byCutoff[0] || byCutoff[2] > byCutoff[1] || byCutoff[3] > byCutoff[1]+1e-12 {
				t.Fatalf("%s: none, horizontal, intermediate, vertical: %g", k, byCutoff)
			}
			switch k {
			case forecast.Average:
				byKind[0] = byCutoff[0]
			case forecast.SingleTriangle:
				byKind[1] = byCutoff[0]
			case forecast.SingleSine:
				byKind[2] = byCutoff[0]
			case forecast.ClippedAverage:
				byKind[3] = byCutoff[0]
			}
		}
		// The excess is convex in T, so a course that spreads wider about the same mean has more.
		for i := 1; i < 4; i++ {
			if !(byKind[i] >= byKind[i-1]-1e-12) {
				t.Fatalf("day %g to %g above %g: average, triangle, sine, clipped average: %g", lo, hi, base, byKind)
			}
		}
	}
}

func TestAppendDegreeDays(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 3))
	var days []weather.Day
	date := weather.DateOf(2023, 2, 20)
	for range 400 {
		lo, hi, _, _, _ := randomDay(r)
		date++
		if r.IntN(20) == 0 {
			date += weather.Date(r.IntN(4)) // A hole, three times in four.
		}
		days = append(days, weather.Day{Date: date, Min: lo, Max: hi})
	}
	for _, k := range kinds {
		for _, c := range cutoffs {
			m := cut(k, c, 3, 22)
			got := m.AppendDegreeDays([]float64{-1}, days)
			if len(got) != len(days)+1 || got[0] != -1 {
				t.Fatalf("%v: does not append one value a day", m)
			}
			for i, d := range days {
				next := d.Min
				if i+1 < len(days) && days[i+1].Date == d.Date+1 {
					next = days[i+1].Min
				}
				if want := m.DegreeDays(d.Min, d.Max, next); got[i+1] != want {
					t.Errorf("%v: %v: got %g, want %g", m, d, got[i+1], want)
				}
			}
		}
	}
	if got := forecast.DefaultMethod.AppendDegreeDays(nil, nil); len(got) != 0 {
		t.Errorf("no days: got %v", got)
	}
}

func TestDegreeDaysPanics(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	sine, double := forecast.DefaultMethod, cut(forecast.DoubleSine, forecast.Horizontal, 3, 30)
	for _, tt := range []struct {
		name         string
		m            forecast.Method
		lo, hi, next float64
		panics       bool
	}{
		{"minimum above maximum", sine, 5, 4, 0, true},
		{"minimum not a number", sine, nan, 4, 0, true},
		{"maximum not a number", sine, 5, nan, 0, true},
		{"minimum infinite", sine, -inf, 4, 0, true},
		{"maximum infinite", sine, 5, inf, 0, true},
		{"both infinite", sine, inf, inf, 0, true},
		{"next minimum not a number, of a single kind", sine, 4, 5, nan, false},
		{"next minimum not a number, of a double kind", double, 4, 5, nan, true},
		{"next minimum infinite, of a double kind", double, 4, 5, -inf, true},
		{"next minimum above the maximum, of a double kind", double, 4, 5, 6, false},
		{"unknown kind", cut("hourly", forecast.Horizontal, 3, 30), 4, 5, 4, true},
		{"unknown cutoff", cut(forecast.SingleSine, "diagonal", 3, 30), 4, 5, 4, true},
		{"no cutoff named", cut(forecast.SingleSine, "", 3, 30), 4, 5, 4, true},
		{"base not a number", none(forecast.SingleSine, nan), 4, 5, 4, true},
		{"base infinite", none(forecast.Average, -inf), 4, 5, 4, true},
		{"upper at base", cut(forecast.SingleSine, forecast.Horizontal, 3, 3), 4, 5, 4, true},
		{"upper not a number", cut(forecast.Average, forecast.Vertical, 3, nan), 4, 5, 4, true},
		{"upper infinite, of the default", cut(forecast.SingleSine, forecast.Horizontal, 3, inf), 4, 5, 4, true},
		{"upper infinite", cut(forecast.SingleTriangle, forecast.Vertical, 3, inf), 4, 5, 4, true},
		{"upper unused without a cutoff", forecast.Method{Kind: forecast.SingleSine, Upper: nan, Cutoff: forecast.NoCutoff}, 4, 5, 4, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := panics(func() { tt.m.DegreeDays(tt.lo, tt.hi, tt.next) }); got != tt.panics {
				t.Errorf("DegreeDays panics: %t, want %t", got, tt.panics)
			}
			day := weather.Date(0)
			days := []weather.Day{{Date: day, Min: tt.lo, Max: tt.hi}, {Date: day + 1, Min: tt.next, Max: max(tt.next, tt.hi)}}
			if tt.next != tt.next {
				return // The day after cannot be.
			}
			if got := panics(func() { tt.m.AppendDegreeDays(nil, days) }); got != tt.panics {
				t.Errorf("AppendDegreeDays panics: %t, want %t", got, tt.panics)
			}
		})
	}
}

// panics reports whether f panics.
func panics(f func()) (yes bool) {
	defer func() { yes = recover() != nil }()
	f()
	return false
}

func FuzzDegreeDays(f *testing.F) {
	f.Add(2.0, 16.0, 9.0, 5.0, 25.0, uint8(4), uint8(1))
	f.Add(10.0, 23.0, 18.0, 5.0, 25.0, uint8(5), uint8(3))
	f.Add(15.0, 0.0, 15.0, 15.0, 5.0, uint8(2), uint8(3))
	f.Add(40.0, 2.0, -20.0, 0.0, 10.0, uint8(3), uint8(2))
	f.Add(-40.0, 1e-13, 60.0, -40.0, 1e-9, uint8(0), uint8(3))
	f.Fuzz(func(t *testing.T, lo, span, next, base, width float64, kind, cutoff uint8) {
		for _, x := range []float64{lo, next, base} {
			if !(math.Abs(x) <= 150) {
				t.Skip()
			}
		}
		if !(0 <= span && span <= 150 && 1e-9 <= width && width <= 150) {
			t.Skip()
		}
		hi, upper := lo+span, base+width
		m := cut(kinds[int(kind)%len(kinds)], cutoffs[int(cutoff)%len(cutoffs)], base, upper)
		got := m.DegreeDays(lo, hi, next)
		most := max(0, max(hi, next)-base)
		if m.Cutoff != forecast.NoCutoff {
			most = min(most, upper-base)
		}
		if !(0 <= got && got <= most+1e-11) {
			t.Fatalf("%v: day %g to %g, then %g: %g is outside 0 to %g", m, lo, hi, next, got, most)
		}
		if m.Cutoff == forecast.NoCutoff || m.Cutoff == forecast.Horizontal {
			if more := m.DegreeDays(lo, hi+1, next); !(more >= got-1e-11) {
				t.Fatalf("%v: day %g to %g, then %g: falls from %g to %g as the maximum rises", m, lo, hi, next, got, more)
			}
		}
		if m.Kind == forecast.Average || m.Kind == forecast.ClippedAverage {
			return
		}
		// A range of rounding errors crosses a threshold anywhere, and the vertical cutoff jumps there.
		if m.Cutoff == forecast.Vertical && (span < 1e-6 || math.Abs(next-hi) < 1e-6) {
			return
		}
		tol := 1e-10
		if m.Cutoff == forecast.Vertical {
			tol = 1e-6 // F has the slope of arccos near an extreme.
		}
		if want := byQuadrature(m, lo, hi, next); !near(got, want, tol) {
			t.Fatalf("%v: day %g to %g, then %g: got %.14g, by quadrature %.14g", m, lo, hi, next, got, want)
		}
	})
}

// annArbor returns the days of the file that testdata/README.md describes.
func annArbor(tb testing.TB) []weather.Day {
	tb.Helper()
	f, err := os.Open("../testdata/weather/ann_arbor_1976_2018.csv")
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	var days []weather.Day
	lines := bufio.NewScanner(f)
	lines.Scan() // The header.
	for lines.Scan() {
		cells := strings.Split(lines.Text(), ",")
		date, err1 := weather.ParseDate(cells[0])
		lo, err2 := strconv.ParseFloat(cells[1], 64)
		hi, err3 := strconv.ParseFloat(cells[2], 64)
		if err1 != nil || err2 != nil || err3 != nil {
			tb.Fatalf("row %q: %v %v %v", lines.Text(), err1, err2, err3)
		}
		days = append(days, weather.Day{Date: date, Min: lo, Max: hi})
	}
	return days
}

// BenchmarkDegreeDays times a day of a real record; "ns/day" is the figure to
// look at. The plain average is the floor: what reading the day and adding it
// up costs.
func BenchmarkDegreeDays(b *testing.B) {
	days := annArbor(b)[:10_000]
	perDay := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(days)), "ns/day")
	}
	for _, m := range []forecast.Method{
		none(forecast.Average, 3),
		none(forecast.SingleSine, 3),
		forecast.DefaultMethod,
		cut(forecast.SingleSine, forecast.Horizontal, 10, 25), // Both thresholds bind often.
		none(forecast.SingleTriangle, 3),
		cut(forecast.SingleSine, forecast.Vertical, 3, 30),
		cut(forecast.DoubleSine, forecast.Horizontal, 3, 30),
	} {
		b.Run(strings.ReplaceAll(m.String(), " ", "_")+"/append", func(b *testing.B) {
			dst := make([]float64, 0, len(days))
			for b.Loop() {
				dst = m.AppendDegreeDays(dst[:0], days)
			}
			perDay(b)
		})
		b.Run(strings.ReplaceAll(m.String(), " ", "_")+"/single", func(b *testing.B) {
			sum := 0.0
			for b.Loop() {
				for i := range days {
					sum += m.DegreeDays(days[i].Min, days[i].Max, days[i].Min)
				}
			}
			perDay(b)
			if !(sum >= 0) {
				b.Fatal(sum)
			}
		})
	}
}
