package forecast

import "math"

// A requirement triple is indexed by ripe stage: first ripe, peak, last pick.
type triple [ripeStages]float64

// mat3 is a 3×3 matrix over ripe stages.
type mat3 [ripeStages][ripeStages]float64

// priors holds what is assumed before a farm has records of its own. Each
// figure names its source; where it says "default" there is none.
var priors = struct {
	FirstRipe   float64               // °C·d from bloom_10 to first ripe.
	FirstRipeSD float64               // Relative.
	Window      float64               // °C·d from first ripe to last pick.
	WindowSD    float64               // Relative.
	PeakShare   float64               // Of the window, where the peak lies.
	PeakShareSD float64               // Absolute.
	ClassOffset [VeryLate + 1]float64 // °C·d added to FirstRipe by ripening class.
	Method      Method                // Which the heat above holds for.
	FruitDays   float64               // Days from bloom to first ripe, for another base.
	WindowDays  float64               // Days from first ripe to last pick, likewise.

	BeliefSD    float64 // Relative sd of a requirement that the farm itself states.
	FarmPart    float64 // Part of the prior variance that all varieties of a farm share.
	SeasonSD    float64 // Of the log requirement, shared by all plantings in a season.
	OwnSD       float64 // Of the log requirement, one planting in one season.
	PlantingSD  float64 // Of the log requirement, one planting in all seasons.
	Correlation float64 // Between the stages of one planting.

	BloomSD         float64 // Days, of a bloom date.
	BloomPinnedSD   float64 // Days, when it was "not yet" the day before.
	BloomFromFulSD  float64 // Days, when it was reckoned back from full bloom.
	BloomFromRipeSD float64 // Days, when it was reckoned back from ripe fruit.
	BloomToFull     float64 // °C·d from bloom_10 to full bloom.
	HoleSD          float64 // °C·d for each day whose heat was taken from other years.

	VarianceSD float64 // Of the log of SeasonSD and OwnSD, before a farm's own seasons tell.

	Spring          float64               // °C·d above 0 °C from the end of winter to bloom_10; the farm's own blooms soon overrule it.
	SpringFarmSD    float64               // Of its log, shared by all plantings of a farm: places differ.
	SpringVarietySD float64               // Of its log, one variety, beyond its class.
	SpringSeasonSD  float64               // Of its log, shared by all plantings in a season.
	SpringOwnSD     float64               // Of its log, one planting in one season.
	BloomOffset     [VeryLate + 1]float64 // Days added to bloom by ripening class.
	BloomHeat       float64               // °C·d above 0 °C of a day about bloom.

	EnteredLate float64 // Probability that a stage is entered a day late, given that it is not yet.
}{
	// Krüger et al. (2012), J. Berry Research, base 3 °C: Elsanta 334-355,
	// Korona 301-385, Clery 320-434 °C·d from anthesis to harvest start. The
	// spread between varieties is a default.
	FirstRipe: 345, FirstRipeSD: 0.12,
	// Common practice: a variety lasts a week to ten days, at 15 to 18 °C·d
	// each. The 297-402 °C·d of the same trial run to the last small berry.
	Window: 150, WindowSD: 0.30,
	PeakShare: 0.4, PeakShareSD: 0.1, // From memory: the peak comes at 1/3 to 0.45 of the window.
	ClassOffset: [...]float64{Early: -30, EarlyMid: -15, Mid: 0, LateMid: 15, Late: 30, VeryLate: 45}, // A guess: no source gives them.
	Method:      DefaultMethod,
	FruitDays:   31.5, // Krüger et al. (2012): Elsanta 29-34 days.
	WindowDays:  10,   // Common practice.

	BeliefSD: 0.06, FarmPart: 0.5, // Defaults, like all that follow.
	SeasonSD: 0.06, OwnSD: 0.04, PlantingSD: 0.02, Correlation: 0.9,
	BloomSD: 1, BloomPinnedSD: 0.5, BloomFromFulSD: 2, BloomFromRipeSD: 4, BloomToFull: 60,
	HoleSD: 2, VarianceSD: 0.5, EnteredLate: 0.3,
	Spring: 450, SpringFarmSD: 0.5, SpringVarietySD: 0.05, SpringSeasonSD: 0.06, SpringOwnSD: 0.03,
	BloomOffset: [...]float64{Early: -4, EarlyMid: -2, Mid: 0, LateMid: 2, Late: 4, VeryLate: 8}, // A guess: no source gives them.
	BloomHeat:   12,
}

// prior returns the mean of the log requirement of a variety, for its method,
// and the covariance of what is not known about it.
func prior(v Variety, m Method) (mean triple, cov mat3) {
	first, window := priors.FirstRipe+priors.ClassOffset[v.Ripens], priors.Window
	// A requirement holds for its own base. At a constant temperature another
	// base changes it by the difference times the days it takes; what the farm
	// itself states is of its own base already.
	if v.Requirement == nil {
		first = rebase(first, priors.FruitDays, m.Base)
		window = rebase(window, priors.WindowDays, m.Base)
	}

	n := triple{first, first + priors.PeakShare*window, first + window}
	// First ripe, the window's length and the peak's place in it vary on their
	// own; the rest is propagation of error to the logs.
	sdF, sdW, sdP := priors.FirstRipeSD*first, priors.WindowSD*window, priors.PeakShareSD*window
	part := [ripeStages]triple{{sdF, 0, 0}, {sdF, priors.PeakShare * sdW, sdP}, {sdF, sdW, 0}}
	for i := range n {
		for j := range n {
			for k := range part[i] {
				cov[i][j] += part[i][k] * part[j][k]
			}
			cov[i][j] /= n[i] * n[j]
		}
	}
	if r := v.Requirement; r != nil {
		n = triple{r.FirstRipe, r.Peak, r.LastPick}
		cov = cov.scale(priors.BeliefSD * priors.BeliefSD / (priors.FirstRipeSD * priors.FirstRipeSD))
	}
	for i := range n {
		mean[i] = math.Log(n[i])
	}
	return mean, cov
}

// rebase returns what heat above the base of the priors, over so many days, is
// above another base. A base near the temperature of the season itself leaves
// nothing to count by; a twentieth is left then, so that it stays heat.
func rebase(heat, days, base float64) float64 {
	return max(heat-days*(base-priors.Method.Base), heat/20)
}

// stageCov is the covariance of an effect with the given sd of each stage and
// the usual correlation between them.
func stageCov(sd triple) (c mat3) {
	for i := range c {
		for j := range c[i] {
			c[i][j] = sd[i] * sd[j] * priors.Correlation
		}
		c[i][i] = sd[i] * sd[i]
	}
	return c
}

// alike returns a triple of x.
func alike(x float64) triple { return triple{x, x, x} }

func (a mat3) scale(f float64) mat3 {
	for i := range a {
		for j := range a[i] {
			a[i][j] *= f
		}
	}
	return a
}

func (a mat3) plus(b mat3) mat3 {
	for i := range a {
		for j := range a[i] {
			a[i][j] += b[i][j]
		}
	}
	return a
}

// outer returns x xᵀ.
func outer(x triple) (a mat3) {
	for i := range a {
		for j := range a[i] {
			a[i][j] = x[i] * x[j]
		}
	}
	return a
}

// invert returns the inverse of the part of the positive definite a whose
// rows and columns are in use, and zero elsewhere. It panics when that part is
// not positive definite, which the sums of covariances it is given always are.
func (a mat3) invert(use [ripeStages]bool) (inv mat3) {
	for i := range a {
		inv[i][i] = 1
	}
	for k := range a {
		if !use[k] {
			continue
		}
		p := a[k][k]
		if !(p > 0) {
			panic("forecast: covariance is not positive definite")
		}
		for j := range a {
			a[k][j] /= p
			inv[k][j] /= p
		}
		for i := range a {
			if i == k || !use[i] {
				continue
			}
			f := a[i][k]
			for j := range a {
				a[i][j] -= f * a[k][j]
				inv[i][j] -= f * inv[k][j]
			}
		}
	}
	for i := range a {
		for j := range a {
			if !use[i] || !use[j] {
				inv[i][j] = 0
			}
		}
	}
	return inv
}
