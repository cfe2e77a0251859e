package hindcast_test

import (
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/scoring"
	"ripetide/forecast/simfarm"
	"ripetide/weather"
)

// The proof of the advice to open, on the farms of the proof of the forecast:
// open every day, ready with openingKg of ripe fruit standing. The world keeps
// its fruit by another rule than the forecaster: sound for three days, then
// gone.

const (
	openingKg         = 300
	openingConfidence = 0.8
)

// openings are what came of the advice of one farm.
type openings struct {
	events []scoring.Event   // Whether a candidate day was ready.
	taken  map[int][]advised // By days of notice.
	usual  []advised         // The mean first possible day of past seasons.
	bloom  []advised         // The first bloom + 30 days.
	sure   []advised         // The day by which 8 in 10 past seasons were ready.
}

// advised is a day that was settled on, against what came.
type advised struct {
	said  float64 // Probability that went with it.
	ready bool
	late  float64 // Days behind the first possible day.
}

// standing returns the ripe fruit on each day of a season if nobody picks, and
// the first day with enough.
func standing(truths []simfarm.Truth, days weather.Series) (kg map[weather.Date]float64, first weather.Date) {
	kg = map[weather.Date]float64{}
	for _, s := range simfarm.Supply(truths, days, func(weather.Date) bool { return false }) {
		kg[s.Date] = s.StandingKg
		if first == 0 && s.StandingKg >= openingKg {
			first = s.Date
		}
	}
	return kg, first
}

// proveOpenings takes the advice of one farm, season by season.
func proveOpenings(days weather.Series, seed uint64) (o openings) {
	o.taken = map[int][]advised{}
	sim, in := proofFarm(seed, false)
	in.Farm.Opening = forecast.Opening{ReadyKg: openingKg, Confidence: openingConfidence}
	in.Records = []forecast.Record{{Station: weather.Station{ID: "s", Latitude: 42.3}, Days: days}}
	truths := map[int][]simfarm.Truth{}
	bloomed := map[int]weather.Date{}
	for y := proofFirst; y <= proofLast; y++ {
		ts, err := sim.Season(days, y)
		if err != nil {
			panic(err) // Not on the test's own goroutine.
		}
		truths[y], bloomed[y] = ts, math.MaxInt32
		for _, x := range ts {
			bloomed[y] = min(bloomed[y], x.Noted[forecast.Bloom10])
			for _, s := range []forecast.Stage{forecast.Bloom10, forecast.FirstRipe, forecast.Peak, forecast.LastPick} {
				in.Sightings = append(in.Sightings, forecast.Sighting{Planting: x.Planting, Date: x.Noted[s], Stage: s, Seen: true})
			}
		}
	}
	var firsts []int // Of past seasons, days into the year.
	for y := proofFirst; y <= proofLast; y++ {
		newYear := weather.DateOf(y, time.January, 1)
		kg, first := standing(truths[y], days)
		settle := func(d weather.Date, said float64) advised {
			return advised{said, kg[d] >= openingKg, float64(d - first)}
		}
		if y >= proofFirst+proofLearn {
			slices.Sort(firsts)
			sum := 0
			for _, f := range firsts {
				sum += f
			}
			o.usual = append(o.usual, settle(newYear+weather.Date(math.Round(float64(sum)/float64(len(firsts)))), math.NaN()))
			o.sure = append(o.sure, settle(newYear+weather.Date(firsts[int(math.Ceil(openingConfidence*float64(len(firsts))))-1]), math.NaN()))
			o.bloom = append(o.bloom, settle(bloomed[y]+30, math.NaN()))
			// Mornings from the first bloom on, until there is no notice left to give:
			// every one once the day to commit is near.
			open := []int{14, 7}
			for asOf := bloomed[y]; len(open) > 0; {
				f, err := forecast.Compute(in, asOf)
				if err != nil {
					panic(err) // Not on the test's own goroutine.
				}
				for _, d := range f.Days {
					if d.Date > asOf {
						o.events = append(o.events, scoring.Event{Probability: d.Ready, Happened: kg[d.Date] >= openingKg})
					}
				}
				d := f.Advice.Opening.Day
				if d != nil && int(*d-asOf) <= open[0] {
					o.taken[open[0]] = append(o.taken[open[0]], settle(*d, *f.Advice.Opening.Probability))
					if open = open[1:]; len(open) == 0 {
						break
					}
				}
				step := weather.Date(1)
				if d != nil {
					step = max(step, (*d-asOf-weather.Date(open[0]))/2)
				}
				asOf += step
			}
		}
		firsts = append(firsts, int(first-newYear))
	}
	return o
}

// told says what became of days that were settled on.
func told(as []advised) (ready, said, late float64) {
	for _, a := range as {
		if a.ready {
			ready++
		}
		said += a.said
		late += a.late
	}
	n := float64(len(as))
	return ready / n, said / n, late / n
}

// TestOpeningAdviceIsKept takes the advice of 200 seasons of eight farms; with
// the race detector that of one. Readiness must be reliable over all candidate
// days; a farm that commits fourteen or seven days ahead must be ready about as
// often as it was told; and it must not wait longer for that than by a rule of
// thumb that is ready as often.
func TestOpeningAdviceIsKept(t *testing.T) {
	t.Parallel()
	unwatched(t)
	days := annArbor(t)
	farms := make([]openings, proofFarms)
	var wg sync.WaitGroup
	for half := range 2 {
		wg.Go(func() {
			for i := half; i < proofFarms; i += 2 {
				farms[i] = proveOpenings(days, uint64(i+1))
			}
		})
	}
	wg.Wait()
	all := openings{taken: map[int][]advised{}}
	for _, o := range farms {
		all.events = append(all.events, o.events...)
		all.usual, all.bloom, all.sure = append(all.usual, o.usual...), append(all.bloom, o.bloom...), append(all.sure, o.sure...)
		for n, as := range o.taken {
			all.taken[n] = append(all.taken[n], as...)
		}
	}
	d := scoring.Decompose(all.events, 10)
	t.Logf("%d candidate days: Brier %.4f: reliability %.4f, resolution %.4f, uncertainty %.4f", len(all.events), d.Brier, d.Reliability, d.Resolution, d.Uncertainty)
	for _, b := range d.Table {
		t.Logf("%.1f to %.1f: %6d days, said %.3f, came %.3f", b.From, b.To, b.N, b.Probability, b.Frequency)
	}
	if !(d.Reliability < 0.05*d.Uncertainty) || !(d.Brier < 0.5*d.Uncertainty) {
		t.Errorf("Brier %.4f and its reliability term %.4f, of an uncertainty of %.4f", d.Brier, d.Reliability, d.Uncertainty)
	}
	for _, x := range []struct {
		name string
		as   []advised
	}{{"the mean date of past seasons", all.usual}, {"the date that 8 in 10 past seasons kept", all.sure}, {"first bloom + 30 days", all.bloom}} {
		ready, _, late := told(x.as)
		t.Logf("%s: ready in %.2f of %d seasons, %+.1f days behind the first possible", x.name, ready, len(x.as), late)
	}
	sureReady, _, sureLate := told(all.sure)
	for _, notice := range []int{14, 7} {
		ready, said, late := told(all.taken[notice])
		n := len(all.taken[notice])
		t.Logf("advice taken %d days ahead: ready in %.2f of %d seasons, said %.2f, %+.1f days behind the first possible", notice, ready, n, said, late)
		if want := proofFarms * (proofLast - proofFirst + 1 - proofLearn); n != want {
			t.Errorf("%d seasons, want %d", n, want)
		}
		// The farms share the weather of 25 years: the sampling error is that of
		// somewhat more than 25 seasons, here taken as 50.
		if tol := 0.03 + 2*math.Sqrt(said*(1-said)/50); !near(ready, said, tol) {
			t.Errorf("advice taken %d days ahead: ready in %.3f and said %.3f", notice, ready, said)
		}
		if !(late < sureLate) {
			t.Errorf("advice taken %d days ahead is %.1f days late, and a fixed date (ready in %.2f) %.1f", notice, late, sureReady, sureLate)
		}
	}
}
