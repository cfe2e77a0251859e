package forecast_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"ripetide/forecast"
)

// The oracle is the density of the observations themselves, a Gaussian whose
// covariance is written down from the model: no effects, no precision.
func TestLikelihoodIsThatOfTheObservations(t *testing.T) {
	t.Parallel()
	e := effects()
	density := func(cov *mat.SymDense, y []float64) float64 {
		var chol mat.Cholesky
		if !chol.Factorize(cov) {
			t.Fatal("covariance is not positive definite")
		}
		v, w := mat.NewVecDense(len(y), y), new(mat.VecDense)
		if err := chol.SolveVecTo(w, v); err != nil {
			t.Fatal(err)
		}
		return -(chol.LogDet() + mat.Dot(v, w)) / 2
	}
	for stage := range 3 {
		a, covA, y := e.LogLikelihood(stage, 0.03, 0.05)
		b, covB, _ := e.LogLikelihood(stage, 0.09, 0.02)
		if got, want := a-b, density(covA, y)-density(covB, y); !near(got, want, 1e-7*math.Abs(want)) {
			t.Errorf("stage %d: log likelihoods differ by %v, want %v", stage, got, want)
		}
	}
}

// grown returns a farm's records drawn from the model itself, with the given sd
// of seasons and of the rest by stage. Stages correlate by 0.9.
func grown(seed uint64, plantings, seasons int, season, own [3]float64) forecast.Effects {
	r := rand.New(rand.NewPCG(seed, 1))
	draw := func(sd [3]float64) (x [3]float64) {
		shared := r.NormFloat64()
		for s := range x {
			x[s] = sd[s] * (math.Sqrt(0.9)*shared + math.Sqrt(0.1)*r.NormFloat64())
		}
		return x
	}
	type key struct{ p, y int }
	u, e, dating := map[int][3]float64{}, map[key][3]float64{}, map[[3]int]float64{}
	for y := range seasons {
		u[y] = draw(season)
		for p := range plantings {
			e[key{p, y}] = draw(own)
			for s := range 3 {
				dating[[3]int{p, y, s}] = 0.01 * r.NormFloat64()
			}
		}
	}
	return forecast.Effects{
		Plantings: plantings, Seasons: seasons, Noise: 0.01, SeenNow: math.Log(330),
		Log: func(p, y, s int) float64 {
			return math.Log([]float64{330, 390, 470}[s]+10*float64(p)) + u[y][s] + e[key{p, y}][s] + dating[[3]int{p, y, s}]
		},
	}
}

func TestSpreadOfSeasonsIsRecovered(t *testing.T) {
	t.Parallel()
	season, own := [3]float64{0.03, 0.04, 0.10}, [3]float64{0.02, 0.05, 0.06}
	const seeds = 20
	var logSeason, logOwn [3]float64
	for seed := range uint64(seeds) {
		s, o := grown(seed, 10, 30, season, own).Spread()
		for i := range 3 {
			logSeason[i] += math.Log(s[i]/season[i]) / seeds
			logOwn[i] += math.Log(o[i]/own[i]) / seeds
		}
	}
	for i := range 3 {
		// An sd from 30 seasons is known to 1/sqrt(2·29) = 13 %, the mean of 20
		// to 3 %; the prior draws the sd of seasons towards 0.06 by up to
		// another 10 %.
		if !near(logSeason[i], 0, 0.15) {
			t.Errorf("stage %d: sd of seasons is %.0f %% off", i, 100*logSeason[i])
		}
		// 270 degrees of freedom each; dating adds 0.01 to what is drawn, which
		// is told apart.
		if !near(logOwn[i], 0, 0.06) {
			t.Errorf("stage %d: own sd is %.0f %% off", i, 100*logOwn[i])
		}
	}
}

func TestSpreadOfSeasonsIsNotReadFromThree(t *testing.T) {
	t.Parallel()
	huge := [3]float64{0.5, 0.5, 0.5}
	season, own := grown(1, 5, 3, huge, huge).Spread()
	if season != [3]float64{0.06, 0.06, 0.06} || own != [3]float64{0.04, 0.04, 0.04} {
		t.Errorf("with three seasons sd are %v and %v, want the defaults", season, own)
	}
	season, own = grown(1, 5, 4, huge, huge).Spread()
	for i := range 3 {
		if !(season[i] > 0.06 && own[i] > 0.06) {
			t.Errorf("with four wild seasons sd are %v and %v, no wider than the defaults", season[i], own[i])
		}
	}
}

// Seasons drawn from the model itself with the constants it assumes: its
// ranges must hold the truth as often as they say.
func TestPosteriorCoversWhatTheModelGrows(t *testing.T) {
	t.Parallel()
	season, own := [3]float64{0.06, 0.06, 0.06}, [3]float64{0.04, 0.04, 0.04}
	const seeds, plantings = 400, 4
	for _, seasons := range []int{0, 1, 3, 12} {
		hits, n := 0, 0
		for seed := range uint64(seeds) {
			truth := forecast.GrowFromModel(seed, plantings, seasons, season, own)
			mean, sd, err := truth.Effects.Posterior()
			if err != nil {
				t.Fatal(err)
			}
			for i := range mean {
				if i == 0 {
					continue // Seen.
				}
				if math.Abs(truth.Now[i]-mean[i]) <= 1.2815515655*sd[i] {
					hits++
				}
				n++
			}
		}
		// Eleven stages of a farm and season are about two independent ones.
		se := math.Sqrt(0.8 * 0.2 / (2 * seeds))
		if got := float64(hits) / float64(n); !near(got, 0.8, 4*se) {
			t.Errorf("%d seasons: 80 %% ranges hold %.3f of %d stages", seasons, got, n)
		}
	}
}
