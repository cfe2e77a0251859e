package hindcast_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// The figures of a row, worked out again from the cases.
func TestRowsByBruteForce(t *testing.T) {
	t.Parallel()
	in := grown(t, 2008, 2011)
	r := replay(t, in, hindcast.Options{From: 2008, Every: 6}) // The first season has few baselines.
	rows, err := r.Rows()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(hindcast.Groups())*len(hindcast.Stages()) {
		t.Fatalf("%d rows", len(rows))
	}
	for i, row := range rows {
		name := row.Group.String() + ", " + hindcast.StageName(row.Stage)
		if row.Group != hindcast.Groups()[i/4] || row.Stage != hindcast.Stages()[i%4] {
			t.Errorf("row %d is %s", i, name)
		}
		n, bias, mae, crps, hits := 0.0, 0.0, 0.0, 0.0, 0
		seasons := map[int]bool{}
		var baseN, baseMAE, baseCRPS, paired [5]float64
		for _, c := range r.Cases {
			if !c.In(row.Group) || row.Stage != hindcast.AllStages && row.Stage != c.Stage {
				continue
			}
			n++
			seasons[c.Season] = true
			off := float64(c.Forecast.Median() - c.Actual)
			bias, mae = bias+c.Forecast.Mean()-float64(c.Actual), mae+math.Abs(off)
			mine := scoring.CRPSEnergy(c.Forecast, c.Actual)
			crps += mine
			if c.Forecast.Quantile(0.1) <= c.Actual && c.Actual <= c.Forecast.Quantile(0.9) {
				hits++
			}
			for b := range baseN {
				if d, why := c.Versus(hindcast.Baseline(b)); why == "" {
					baseN[b]++
					baseMAE[b] += math.Abs(float64(d.Median() - c.Actual))
					baseCRPS[b] += scoring.CRPSEnergy(d, c.Actual)
					paired[b] += mine
				}
			}
		}
		if row.N != int(n) || row.Seasons != len(seasons) || row.InSample || !near(row.Bias, bias/n, 1e-9) || !near(row.MAE, mae/n, 1e-9) || !near(row.CRPS, crps/n, 1e-9) || row.Coverage.Hits != hits {
			t.Errorf("%s: %+v", name, row.Accuracy)
		}
		if len(row.PIT) != hindcast.PITBins || !(row.MAERange.OK && row.MAERange.Lo < row.MAE && row.MAE < row.MAERange.Hi) || !(row.BiasRange.Lo < row.Bias && row.Bias < row.BiasRange.Hi) {
			t.Errorf("%s: PIT %v, %+v around %g, %+v around %g", name, row.PIT, row.MAERange, row.MAE, row.BiasRange, row.Bias)
		}
		for b, a := range row.Against {
			without := 0
			for _, u := range a.Why {
				if u.Reason != hindcast.NoPast {
					t.Errorf("%s, %s: %+v", name, a.Baseline, u)
				}
				without += u.Cases
			}
			if a.Baseline != hindcast.Baseline(b) || a.N != int(baseN[b]) || a.Excluded != row.N-a.N || without != a.Excluded {
				t.Errorf("%s, %s: %d cases and %d excluded of %d", name, a.Baseline, a.N, a.Excluded, row.N)
			}
			if (a.Excluded == 0) != (a.Baseline == hindcast.BloomRule) {
				t.Errorf("%s, %s: %d are excluded", name, a.Baseline, a.Excluded)
			}
			if !near(a.MAE, baseMAE[b]/baseN[b], 1e-9) || !near(a.CRPS, baseCRPS[b]/baseN[b], 1e-9) {
				t.Errorf("%s, %s: %+v", name, a.Baseline, a.Accuracy)
			}
			if !near(a.Skill.CRPS.Value, 1-paired[b]/baseCRPS[b], 1e-9) || !near(a.AsPoint.CRPS.Value, 1-paired[b]/baseMAE[b], 1e-9) || a.Skill.N != a.N || a.AsPoint.OnlyForecast != a.Excluded {
				t.Errorf("%s, %s: skill %+v, as a point %+v", name, a.Baseline, a.Skill, a.AsPoint)
			}
		}
	}
}

// With two seasons a quarter of the draws has the one twice and a quarter the
// other: the ranges are the two means themselves. With one there is none.
func TestRangesOfTwoSeasons(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	r := replay(t, in, hindcast.Options{From: 2009})
	rows, err := r.Rows()
	if err != nil {
		t.Fatal(err)
	}
	off, bias := map[int]float64{}, map[int]float64{}
	for _, c := range r.Cases {
		if c.In(hindcast.AtBloom) && c.Stage == forecast.FirstRipe {
			off[c.Season] = math.Abs(float64(c.Forecast.Median() - c.Actual))
			bias[c.Season] = c.Forecast.Mean() - float64(c.Actual)
		}
	}
	row := rows[1]
	for _, x := range []struct {
		got  scoring.Range
		want map[int]float64
	}{{row.MAERange, off}, {row.BiasRange, bias}} {
		lo, hi := min(x.want[2009], x.want[2010]), max(x.want[2009], x.want[2010])
		if !x.got.OK || !near(x.got.Lo, lo, 1e-9) || !near(x.got.Hi, hi, 1e-9) || lo == hi {
			t.Errorf("%+v, want %g to %g", x.got, lo, hi)
		}
	}
	one, err := replay(t, in, hindcast.Options{From: 2010}).Rows()
	if err != nil || one[1].MAERange.OK || one[1].N != 1 {
		t.Errorf("one season: %+v (%v)", one[1].MAERange, err)
	}
}

func TestCSVHasARowForEveryCase(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	r := replay(t, in, hindcast.Options{From: 2007, Every: 10})
	var b bytes.Buffer
	if err := r.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != len(r.Cases)+1 {
		t.Fatalf("%d rows of %d cases (%v)", len(rows), len(r.Cases), err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	date := func(row []string, name string) weather.Date {
		d, err := weather.ParseDate(row[at[name]])
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		return d
	}
	number := func(row []string, name string) float64 {
		x, err := strconv.ParseFloat(row[at[name]], 64)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		return x
	}
	for i, c := range r.Cases {
		row := rows[i+1]
		if got, want := strings.Join(row[:5], "/"), fmt.Sprintf("%d/p/v/%s/%s", c.Season, c.Stage, c.AsOf); got != want {
			t.Errorf("%s, want %s", got, want)
		}
		lo, mid, hi := date(row, "p10"), date(row, "p50"), date(row, "p90")
		if lo != c.Forecast.Quantile(0.1) || mid != c.Forecast.Median() || hi != c.Forecast.Quantile(0.9) || date(row, "actual") != c.Actual {
			t.Errorf("%s: %v", c.Key, row)
		}
		if number(row, "error_days") != float64(mid)-float64(c.Actual) || number(row, "lead_days") != float64(c.Lead) || (row[at["inside"]] == "true") != (lo <= c.Actual && c.Actual <= hi) {
			t.Errorf("%s: %v", c.Key, row)
		}
		if !near(number(row, "crps_days"), scoring.CRPS(c.Forecast, c.Actual), 5.1e-5) || !near(number(row, "pinball_days"), scoring.MeanPinball(c.Forecast, c.Actual), 5.1e-5) {
			t.Errorf("%s: %v", c.Key, row)
		}
		for _, g := range hindcast.Groups() {
			has := false
			for name := range strings.FieldsSeq(row[at["groups"]]) {
				has = has || name == strings.ReplaceAll(g.String(), " ", "_")
			}
			if has != c.In(g) {
				t.Errorf("%s: groups %q", c.Key, row[at["groups"]])
			}
		}
		for b, column := range map[hindcast.Baseline]string{
			hindcast.MeanDate: "mean_date", hindcast.BloomRule: "bloom_rule", hindcast.OwnDays: "own_days",
			hindcast.UsualHeat: "usual_heat", hindcast.MeanTemperature: "mean_temperature",
		} {
			d, why := c.Versus(b)
			if why != "" {
				if row[at[column+"_p50"]] != "" || row[at[column+"_crps_days"]] != "" {
					t.Errorf("%s: %v", c.Key, row)
				}
				continue
			}
			if date(row, column+"_p50") != d.Median() || !near(number(row, column+"_crps_days"), scoring.CRPS(d, c.Actual), 5.1e-5) {
				t.Errorf("%s, %s: %v", c.Key, b, row)
			}
		}
	}
}

func TestWithinAsksForTheDaysFromTheMorning(t *testing.T) {
	t.Parallel()
	r := replay(t, handFarm(t), hindcast.Options{From: 2010, Every: 10})
	var want []scoring.Event
	for _, c := range r.Cases {
		if c.In(hindcast.Days7) {
			want = append(want, scoring.Event{Probability: c.Forecast.CDF(c.AsOf + 6), Happened: false})
		}
	}
	if got := r.Within(hindcast.Days7, 6); len(want) != 3 || !reflect.DeepEqual(got, want) {
		t.Errorf("within 6 days, a week before: %v, want %v", got, want)
	}
	for _, e := range r.Within(hindcast.Days7, 7) {
		if !e.Happened {
			t.Error("within 7 days, a week before: did not come")
		}
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	var groups, baselines, stages []string
	for _, g := range hindcast.Groups() {
		groups = append(groups, g.String())
	}
	for _, b := range hindcast.Baselines() {
		baselines = append(baselines, b.String())
	}
	for _, s := range hindcast.Stages() {
		stages = append(stages, hindcast.StageName(s))
	}
	for _, x := range []struct {
		got  []string
		want string
	}{
		{groups, "at bloom|21 days before|14 days before|7 days before|3 days before|all mornings"},
		{baselines, "mean date|bloom + 30 days|own mean days|usual heat|mean temperature"},
		{stages, "all stages|first ripe|peak|last pick"},
		{[]string{hindcast.Group(9).String(), hindcast.Baseline(9).String()}, "Group(9)|Baseline(9)"},
	} {
		if got := strings.Join(x.got, "|"); got != x.want {
			t.Errorf("%s, want %s", got, x.want)
		}
	}
}
