package review_test

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// near reports whether got is within tol of want; NaN is near nothing.
func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// table reads a CSV of testdata/review as its header's names and its rows.
func table(t *testing.T, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open("../../testdata/review/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, x := range line {
			row[all[0][i]] = x
		}
		rows = append(rows, row)
	}
	return rows
}

func date(t *testing.T, s string) weather.Date {
	t.Helper()
	d, err := weather.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// TestScoresAgainstNumpy: all figures of six invented seasons, with three
// baselines, as testdata/review/scores.py worked them out with numpy, which
// shares no code with the program.
func TestScoresAgainstNumpy(t *testing.T) {
	t.Parallel()
	in := forecast.Inputs{Farm: forecast.Farm{ID: "f", Latitude: 48, TimeZone: "UTC"}}
	for _, id := range []string{"a", "b", "c"} {
		in.Varieties = append(in.Varieties, forecast.Variety{ID: id, Ripens: forecast.Mid})
		in.Plantings = append(in.Plantings, forecast.Planting{ID: id, Variety: id, Station: "s", PlantedOn: weather.DateOf(2000, 4, 1)})
	}
	var rows []review.Row
	entered := map[forecast.Sighting]bool{}
	for _, e := range table(t, "events.csv") {
		stage, err := forecast.ParseStage(e["stage"])
		if err != nil {
			t.Fatal(err)
		}
		lead := slices.IndexFunc(review.Leads(), func(l review.Lead) bool { return l.String() == e["lead"] })
		season := int(number(t, e["season"]))
		for _, s := range []forecast.Sighting{
			{Planting: e["planting"], Stage: forecast.Bloom10, Date: date(t, e["bloom"]), Seen: true},
			{Planting: e["planting"], Stage: stage, Date: date(t, e["actual"]), Seen: true},
		} {
			if !entered[s] {
				entered[s] = true
				in.Sightings = append(in.Sightings, s)
			}
		}
		rows = append(rows, review.Row{
			Actual: forecast.Actual{Planting: e["planting"], Season: season, Stage: stage, Date: date(t, e["actual"])}, Lead: review.Lead(lead),
			Said: &review.Said{AsOf: date(t, e["as_of"]), P10: date(t, e["p10"]), P50: date(t, e["p50"]), P90: date(t, e["p90"])},
		})
	}
	scores, err := review.Scores(in, rows)
	if err != nil {
		t.Fatal(err)
	}
	want := table(t, "scores.csv")
	if len(want) != 20 {
		t.Fatalf("%d rows of scores", len(want))
	}
	for i, w := range want {
		got := scores[i]
		name := w["stage"] + " " + w["lead"]
		if hindcast.StageName(got.Stage) != hindcast.StageName(stageNamed(w["stage"])) || got.Lead.String() != w["lead"] || got.Ripens != nil {
			t.Fatalf("row %d is of %s %s, want %s", i, hindcast.StageName(got.Stage), got.Lead, name)
		}
		check := func(what string, got float64) {
			t.Helper()
			if !near(got, number(t, w[what]), 1e-9) {
				t.Errorf("%s: %s %.10f, want %s", name, what, got, w[what])
			}
		}
		check("n", float64(got.N))
		check("seasons", float64(got.Seasons))
		check("bias", got.Bias)
		check("mae", got.MAE)
		check("pinball", got.Pinball)
		check("inside", float64(got.Inside))
		for _, b := range []hindcast.Baseline{hindcast.MeanDate, hindcast.BloomRule, hindcast.OwnDays} {
			a := got.Against[b]
			check(b.String()+" n", float64(a.N))
			check(b.String()+" mae", a.MAE)
			check(b.String()+" skill", a.Skill.Value)
			check(b.String()+" pinball skill", a.Pinball.Value)
		}
	}
}

// stageNamed reads a stage's name; all stages are another.
func stageNamed(name string) forecast.Stage {
	s, err := forecast.ParseStage(name)
	if err != nil {
		return hindcast.AllStages
	}
	return s
}
