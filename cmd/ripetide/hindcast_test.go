package main

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

func demoInputs(t *testing.T) forecast.Inputs {
	t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	in, err := d.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// replayed runs the command on inputs, without a database.
func replayed(t *testing.T, h hindcastCmd, in forecast.Inputs) string {
	t.Helper()
	var out bytes.Buffer
	if err := h.replay(t.Context(), &world{Stdout: &out, Stderr: io.Discard}, in); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// has reports every text that is not in out.
func has(t *testing.T, out string, texts ...string) {
	t.Helper()
	for _, x := range texts {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), x) {
			t.Errorf("does not say %q:\n%s", x, out)
		}
	}
}

func TestHindcastOfTheDemo(t *testing.T) {
	t.Parallel()
	in := demoInputs(t)
	folder := t.TempDir()
	h := hindcastCmd{From: 2016, Every: 20, CSV: filepath.Join(folder, "cases.csv"), Charts: filepath.Join(folder, "charts")}
	out := replayed(t, h, in)
	has(
		t, out,
		"Hindcast of Lanternfen Farm: 2 seasons from 2016 to 2017, forecast again as of",
		"no substitute for the forecasts that were frozen in their time",
		"FIRST RIPE DATES SEASONS BIAS OFF BY CRPS PINBALL IN RANGE MEAN DATE BLOOM + 30 OWN DAYS USUAL HEAT TEMPERATURE",
		"at bloom 24 2 ", // 12 plantings in two seasons.
		"7 days before 72 2 ",
		"34 to peak, 39 to last pick (ten days of picking)",
		"2 seasons prove little", "With fewer than 20 seasons",
		"Left out because bloom was not yet entered that morning: ",
		"Season 2018 is not replayed: it looks unfinished", "--to 2018 replays it all the same",
		"Charts in "+h.Charts+": error-by-lead-first-ripe, error-by-lead-peak, error-by-lead-last-pick, error-by-lead-all-stages, reliability, each as .svg and .png",
	)
	for _, bad := range []string{"NaN", "Inf", "-0", "%!"} {
		if strings.Contains(strings.ReplaceAll(out, folder, ""), bad) {
			t.Errorf("prints %s:\n%s", bad, out)
		}
	}
	table, err := os.ReadFile(h.CSV)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(table)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	has(t, out, fmt.Sprintf("Every forecast: %s (%d rows)", h.CSV, len(rows)-1))
	for _, name := range []string{"error-by-lead-first-ripe", "error-by-lead-peak", "error-by-lead-last-pick", "error-by-lead-all-stages", "reliability"} {
		svg, err := os.ReadFile(filepath.Join(h.Charts, name+".svg"))
		if err != nil {
			t.Fatal(err)
		}
		for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		if !bytes.Contains(svg, []byte("2 seasons prove little")) {
			t.Errorf("%s does not say how little it proves", name)
		}
		img, err := os.ReadFile(filepath.Join(h.Charts, name+".png"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := png.DecodeConfig(bytes.NewReader(img)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}

	// Again: the same to the byte.
	if again := replayed(t, h, in); again != out {
		t.Errorf("a second run prints\n%s\nafter\n%s", again, out)
	}
	if b, err := os.ReadFile(h.CSV); err != nil || !bytes.Equal(b, table) {
		t.Errorf("a second run writes another table (%v)", err)
	}
}

func TestHindcastOfLittle(t *testing.T) {
	t.Parallel()
	in := demoInputs(t)
	keep := func(of func(forecast.Sighting) bool) forecast.Inputs {
		out := in
		out.Sightings = nil
		for _, s := range in.Sightings {
			if of(s) {
				out.Sightings = append(out.Sightings, s)
			}
		}
		return out
	}
	// A farm in its first season.
	out := replayed(t, hindcastCmd{Every: 5, Charts: t.TempDir()}, keep(func(s forecast.Sighting) bool { return s.Date.Year() == 2010 }))
	has(t, out, "There is nothing to replay for Lanternfen Farm", "Season 2010 is not replayed: no earlier season has sightings.", "No chart: there is no forecast to draw.")
	// No bloom was ever entered.
	out = replayed(t, hindcastCmd{Every: 5}, keep(func(s forecast.Sighting) bool { return s.Stage >= forecast.FirstRipe && s.Date.Year() < 2011 }))
	has(t, out, "Not one forecast could be scored.", "Left out because bloom was never entered: ")
	// One season, one planting, first ripe only, a stranger, and what the farm
	// settled later.
	one := keep(func(s forecast.Sighting) bool {
		return s.Planting == "corduroy-creekside" && s.Date.Year() < 2010 && s.Stage <= forecast.FirstRipe
	})
	one.Sightings = append(one.Sightings, forecast.Sighting{Planting: "no-such", Date: weather.DateOf(2009, 6, 1), Stage: forecast.Peak, Seen: true})
	one.Choice = &forecast.MethodChoice{Method: forecast.DefaultMethod, By: "x", At: time.Date(2018, 1, 1, 0, 0, 0, 0, time.UTC)}
	one.Varieties = append([]forecast.Variety{}, one.Varieties...)
	for i, v := range one.Varieties {
		if v.ID == "corduroy" {
			one.Varieties[i].Requirement = &forecast.Requirement{FirstRipe: 340, Peak: 390, LastPick: 480, Method: forecast.DefaultMethod}
		}
	}
	out = replayed(t, hindcastCmd{Every: 5, To: 2009, Charts: t.TempDir()}, one)
	has(
		t, out, "season 2009, forecast again", "One season proves little", "PEAK DATES", "at bloom 0",
		"Left out because the stage was never entered: ", "Left out because the planting is not on record: 1 sighting.",
		"after some of these seasons", "states requirements of its own (corduroy)",
		": error-by-lead-first-ripe, error-by-lead-all-stages, reliability,",
	)
	if strings.Contains(out, "Season 2018") || strings.Contains(out, "NaN") {
		t.Errorf("prints\n%s", out)
	}
}

func TestHindcastOptionsAreCheckedBeforeADatabaseIsOpened(t *testing.T) {
	t.Parallel()
	w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard}
	for args, want := range map[string]string{
		"--every=0": "--every", "--every=-3": "-3 days", "--from=2012|--to=2010": "2010", "--from=-1": "season", "--every=soon": "--every",
	} {
		err := run(t.Context(), w, append([]string{"hindcast"}, strings.Split(args, "|")...))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", args, err)
		}
	}
}

// TestHindcastFromTheStore runs the command as a person would.
func TestHindcastFromTheStore(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	out := s.command("hindcast", "--from", "2017", "--to", "2017", "--every", "30", "--farm", "lanternfen")
	if want := replayed(t, hindcastCmd{From: 2017, To: 2017, Every: 30}, demoInputs(t)); out != want {
		t.Errorf("from the store\n%s\nfrom the files\n%s", out, want)
	}
}
