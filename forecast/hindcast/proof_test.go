package hindcast_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/scoring"
	"ripetide/forecast/simfarm"
	"ripetide/testdata"
	"ripetide/weather"
)

// The proof of the forecast, in a world that is not its own: farms grown by
// simfarm on the real record of Ann Arbor. Twelve plantings; eight seasons to
// learn from, then every season is forecast each fifth day from the farm's
// first bloom to its end, and what it says of the stages to come is scored by
// the mean pinball loss at 10, 50 and 90 %.

const (
	proofFirst = 1985 // First season with sightings.
	proofLast  = 2017
	proofLearn = 8
	proofFarms = 8
	proofEvery = 5 // Days between the mornings.
)

// unwatched skips a test under the race detector, which is for the run without it.
func unwatched(t *testing.T) {
	t.Helper()
	if watched {
		t.Skip("it calculates for long; the race detector sees the same in others")
	}
}

// proofFarm is a farm with traits of its own drawn from seed; a gappy one has
// nothing between its mid and its late varieties.
func proofFarm(seed uint64, gappy bool) (simfarm.Farm, forecast.Inputs) {
	r := rand.New(rand.NewPCG(seed, 77))
	sim := simfarm.Farm{Seed: seed, Latitude: 42.3, Scatter: simfarm.UsualScatter}
	in := forecast.Inputs{Farm: forecast.Farm{ID: "proof", Latitude: 42.3, TimeZone: "America/Detroit"}}
	blocks := []string{"A", "B", "C", "D"}
	for _, b := range blocks {
		sim.Sites = append(sim.Sites, simfarm.Site{Block: b, WarmC: 0.4 * r.NormFloat64()})
	}
	classes := []forecast.Class{
		forecast.Early, forecast.Early, forecast.EarlyMid, forecast.EarlyMid, forecast.Mid, forecast.Mid,
		forecast.Mid, forecast.LateMid, forecast.LateMid, forecast.Late, forecast.Late, forecast.VeryLate,
	}
	for i, class := range classes {
		if gappy && class == forecast.LateMid {
			continue
		}
		id := fmt.Sprintf("v%02d", i)
		in.Varieties = append(in.Varieties, forecast.Variety{ID: id, Name: id, Ripens: class})
		in.Plantings = append(in.Plantings, forecast.Planting{
			ID: "p-" + id, Variety: id, Block: blocks[i%len(blocks)], Station: "s",
			PlantedOn: weather.DateOf(1980, time.April, 20), AreaM2: 1000, KgPerM2: 1,
		})
		late := float64(class)
		if gappy && class >= forecast.Late {
			late += 8
		}
		sim.Traits = append(sim.Traits, simfarm.Trait{
			Variety: id,
			Bloom:   36 + 0.6*late + 0.4*r.NormFloat64(),
			Fruit:   17.5 + 0.9*late + 0.6*r.NormFloat64(),
			Spread:  0.65 + 0.08*r.NormFloat64(),
		})
	}
	sim.Plantings = in.Plantings
	return sim, in
}

// proof is what came of the farms.
type proof struct {
	forecast, date, own, floor []scoring.Case // Paired by key; the floor is there for few.
	floored                    []scoring.Case // The forecasts that have a floor.
	gaps                       []scoring.Event
}

func annArbor(t *testing.T) weather.Series {
	t.Helper()
	s, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// prove replays one farm. The farm's luck decides the seasons: a farm and year
// is one of them.
func prove(days weather.Series, seed uint64, floor, gaps bool) (p proof) {
	sim, in := proofFarm(seed, gaps)
	in.Records = []forecast.Record{{Station: weather.Station{ID: "s", Latitude: 42.3}, Days: days}}
	truths := map[int][]simfarm.Truth{}
	for y := proofFirst; y <= proofLast; y++ {
		ts, err := sim.Season(days, y)
		if err != nil {
			panic(err) // Not on the test's own goroutine.
		}
		truths[y] = ts
		for _, x := range ts {
			for _, s := range []forecast.Stage{forecast.Bloom10, forecast.FirstRipe, forecast.Peak, forecast.LastPick} {
				in.Sightings = append(in.Sightings, forecast.Sighting{Planting: x.Planting, Date: x.Noted[s], Stage: s, Seen: true})
			}
		}
	}
	for y := proofFirst + proofLearn; y <= proofLast; y++ {
		first, last := weather.Date(math.MaxInt32), weather.Date(0)
		by := map[string]simfarm.Truth{}
		for _, x := range truths[y] {
			first, last = min(first, x.Noted[forecast.Bloom10]), max(last, x.Noted[forecast.LastPick])
			by[x.Planting] = x
		}
		for asOf := first; asOf <= last; asOf += proofEvery {
			if gaps {
				p.gaps = append(p.gaps, gapEvents(in, asOf, truths[y])...)
				continue
			}
			spreads, err := forecast.Spreads(in, asOf)
			if err != nil {
				panic(err) // Not on the test's own goroutine.
			}
			var floors map[string]*[3][]weather.Date
			if floor && (asOf-first)%15 == 0 {
				floors = floorOf(sim, days, y, asOf)
			}
			for _, sp := range spreads {
				x := by[sp.Planting]
				for i, s := range []forecast.Stage{forecast.FirstRipe, forecast.Peak, forecast.LastPick} {
					came := x.Noted[s]
					if came <= asOf || x.Noted[forecast.Bloom10] > asOf {
						continue
					}
					c := scoring.Case{
						Season: int(seed)*10000 + y, Key: fmt.Sprintf("%d/%d/%s/%d/%s", seed, y, sp.Planting, asOf, s),
						Lead: int(came - asOf), Actual: came,
					}
					with := func(d scoring.Distribution, err error) scoring.Case {
						if err != nil {
							panic(err) // Not on the test's own goroutine.
						}
						c.Forecast = d
						return c
					}
					c = with(scoring.FromCounts(sp.Stages[i].First, sp.Stages[i].Counts))
					p.forecast = append(p.forecast, c)
					if f := floors[sp.Planting]; f != nil && len(f[i]) > 0 {
						p.floored = append(p.floored, c)
						p.floor = append(p.floor, with(scoring.FromDates(f[i])))
					}
					// Both baselines name a date, as growers do.
					var date, own, n float64
					for z := proofFirst; z < y; z++ {
						for _, o := range truths[z] {
							if o.Planting == sp.Planting {
								date += float64(o.Noted[s] - weather.DateOf(z, time.January, 1))
								own += float64(o.Noted[s] - o.Noted[forecast.Bloom10])
								n++
							}
						}
					}
					p.date = append(p.date, with(scoring.Point(weather.DateOf(y, time.January, 1)+weather.Date(math.Round(date/n))), nil))
					p.own = append(p.own, with(scoring.Point(x.Noted[forecast.Bloom10]+weather.Date(math.Round(own/n))), nil))
				}
			}
		}
	}
	return p
}

// floorOf returns what the world itself would say, by planting and stage: its
// true constants, this season's luck among them, on the weather so far and that
// of every third past year from then on. What stays open is the weather.
func floorOf(sim simfarm.Farm, days weather.Series, year int, asOf weather.Date) map[string]*[3][]weather.Date {
	out := map[string]*[3][]weather.Date{}
	for y := year - 1; y >= 1977; y -= 3 {
		spliced := slices.Clone(days.Between(weather.DateOf(year, time.January, 1), asOf-1))
		from := asOf.InYear(y)
		for _, d := range days.Between(from, weather.DateOf(y, time.December, 30)) {
			d.Date += asOf - from
			spliced = append(spliced, d)
		}
		s, err := weather.NewSeries(spliced)
		if err != nil {
			continue
		}
		ts, err := sim.Season(s, year)
		if err != nil { // A hole in that year.
			continue
		}
		for _, x := range ts {
			o := out[x.Planting]
			if o == nil {
				o = new([3][]weather.Date)
				out[x.Planting] = o
			}
			for i, s := range []forecast.Stage{forecast.FirstRipe, forecast.Peak, forecast.LastPick} {
				o[i] = append(o[i], x.Noted[s])
			}
		}
	}
	return out
}

// gapEvents asks of every day ahead that a forecast tells of whether it was a
// day of the farm's season on which nothing was in its window.
func gapEvents(in forecast.Inputs, asOf weather.Date, truths []simfarm.Truth) (es []scoring.Event) {
	f, err := forecast.Compute(in, asOf)
	if err != nil {
		panic(err) // Not on the test's own goroutine.
	}
	first, last := weather.Date(math.MaxInt32), weather.Date(0)
	for _, x := range truths {
		first, last = min(first, x.Noted[forecast.FirstRipe]), max(last, x.Noted[forecast.LastPick])
	}
	for _, d := range f.Days {
		if d.Date <= asOf {
			continue
		}
		open := slices.ContainsFunc(truths, func(x simfarm.Truth) bool {
			return x.Noted[forecast.FirstRipe] <= d.Date && d.Date <= x.Noted[forecast.LastPick]
		})
		es = append(es, scoring.Event{Probability: d.GapProbability, Happened: !open && first < d.Date && d.Date < last})
	}
	return es
}

// proveAll replays n farms, two at a time.
func proveAll(t *testing.T, n int, floor, gaps bool) (all proof) {
	t.Helper()
	ps, days := make([]proof, n), annArbor(t)
	var wg sync.WaitGroup
	for half := range 2 {
		wg.Go(func() {
			for i := half; i < n; i += 2 {
				ps[i] = prove(days, uint64(i+1), floor && i == 0, gaps)
			}
		})
	}
	wg.Wait()
	for _, p := range ps {
		all.forecast, all.date, all.own = append(all.forecast, p.forecast...), append(all.date, p.date...), append(all.own, p.own...)
		all.floor, all.floored = append(all.floor, p.floor...), append(all.floored, p.floored...)
		all.gaps = append(all.gaps, p.gaps...)
	}
	return all
}

func scoreOf(t *testing.T, cs []scoring.Case) scoring.Accuracy {
	t.Helper()
	a, err := scoring.Score(cs, 0)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestForecastEarnsItsRanges scores 200 seasons of eight farms; with the race
// detector those of one. The bounds are
// what is asked of the forecast, not what it reached: half the loss of bloom +
// the variety's own mean days, a quarter of that of its mean date, ranges that
// hold what they say within five points, and no bias that the seasons can show.
// A score reached in this world is a score in this world.
func TestForecastEarnsItsRanges(t *testing.T) {
	t.Parallel()
	unwatched(t)
	p := proveAll(t, proofFarms, true, false)
	all, date, own := scoreOf(t, p.forecast), scoreOf(t, p.date), scoreOf(t, p.own)
	floor, floored := scoreOf(t, p.floor), scoreOf(t, p.floored)
	if want := proofFarms * (proofLast - proofFirst + 1 - proofLearn); all.Seasons != want {
		t.Fatalf("%d seasons, want %d", all.Seasons, want)
	}
	t.Logf("%d cases of %d seasons: pinball %.3f d, of own days %.3f (ratio %.2f), of the mean date %.3f (ratio %.2f)",
		all.N, all.Seasons, all.Pinball, own.Pinball, all.Pinball/own.Pinball, date.Pinball, all.Pinball/date.Pinball)
	t.Logf("of one farm, where the world's own constants with unknown weather reach %.3f, the forecast reaches %.3f", floor.Pinball, floored.Pinball)
	in, says := float64(all.Coverage.Hits)/float64(all.N), all.Coverage.Expected/float64(all.N)
	t.Logf("off by %.2f d, bias %+.2f d; ranges hold %.3f and say %.3f", all.MAE, all.Bias, in, says)
	if !(all.Pinball <= 0.5*own.Pinball) {
		t.Errorf("loss is %.2f of that of bloom + own days, want at most 0.5", all.Pinball/own.Pinball)
	}
	if !(all.Pinball <= 0.25*date.Pinball) {
		t.Errorf("loss is %.2f of that of the mean date, want at most 0.25", all.Pinball/date.Pinball)
	}
	if !near(in, says, 0.05) {
		t.Errorf("ranges hold %.3f and say they hold %.3f", in, says)
	}
	// The eight farms share the weather of 25 years; so the sampling error of the
	// bias is that of 25 means.
	byYear := map[int][]float64{}
	for _, c := range p.forecast {
		y := c.Season % 10000
		byYear[y] = append(byYear[y], c.Forecast.Mean()-float64(c.Actual))
	}
	var sum, squares float64
	for _, es := range byYear {
		m := 0.0
		for _, e := range es {
			m += e / float64(len(es))
		}
		sum, squares = sum+m, squares+m*m
	}
	n := float64(len(byYear))
	se := math.Sqrt((squares/n - sum*sum/n/n) / (n - 1))
	t.Logf("bias by year %+.2f d, standard error %.2f", sum/n, se)
	if !(math.Abs(sum/n) <= 0.25+2*se) {
		t.Errorf("bias is %+.2f d, standard error %.2f: more than a quarter of a day", sum/n, se)
	}
	for i, s := range []forecast.Stage{forecast.FirstRipe, forecast.Peak, forecast.LastPick} {
		var cs []scoring.Case
		for _, c := range p.forecast {
			if stage := c.Key[len(c.Key)-len(s.String()):]; stage == s.String() {
				cs = append(cs, c)
			}
		}
		a := scoreOf(t, cs)
		t.Logf("stage %d: pinball %.3f, off by %.2f d, ranges hold %.3f and say %.3f", i, a.Pinball, a.MAE, float64(a.Coverage.Hits)/float64(a.N), a.Coverage.Expected/float64(a.N))
	}
}

// TestGapProbabilitiesAreReliable asks how often a day that was given a chance
// of being a gap was one.
func TestGapProbabilitiesAreReliable(t *testing.T) {
	t.Parallel()
	unwatched(t)
	p := proveAll(t, 2, false, true)
	d := scoring.Decompose(p.gaps, 5)
	t.Logf("Brier %.4f: reliability %.4f, resolution %.4f, uncertainty %.4f", d.Brier, d.Reliability, d.Resolution, d.Uncertainty)
	for _, b := range d.Table {
		t.Logf("%.1f to %.1f: %5d days, said %.3f, came %.3f", b.From, b.To, b.N, b.Probability, b.Frequency)
	}
	if !(d.Brier < 0.8*d.Uncertainty) {
		t.Errorf("Brier score is %.4f, knowing nothing but how often gaps come gives %.4f", d.Brier, d.Uncertainty)
	}
	if !(d.Reliability < 0.1*d.Uncertainty) {
		t.Errorf("reliability term is %.4f of an uncertainty of %.4f", d.Reliability, d.Uncertainty)
	}
}
