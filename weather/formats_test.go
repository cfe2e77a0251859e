package weather_test

import (
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripetide/weather"
)

// TestEveryFileIsTakenByItsOwnFormat asks all recognisers about all files. The
// plain CSV and the table come last because they would take others' files too;
// of the others no two may want the same.
func TestEveryFileIsTakenByItsOwnFormat(t *testing.T) {
	t.Parallel()
	formats := []struct{ begins, format string }{ // Of the name; the first that fits.
		{"acis_", "acis"},
		{"ann_arbor_full", "ghcn-dly"},
		{"ann_arbor.dly", "ghcn-dly"},
		{"ann_arbor_ghcn_wide", "ghcn-wide"},
		{"minneapolis_ghcn_wide", "ghcn-wide"},
		{"minneapolis_ghcn_rows", "ghcn-rows"},
		{"minneapolis_2014", "csv"},
		{"kamloops", "csv"},
		{"dwd_", "dwd"},
		{"eccc_", "eccc"},
		{"knmi_", "knmi"},
		{"meteireann_", "met-eireann"},
		{"ncei_fahrenheit", "ncei-json"},
		{"ncei_", "ncei-csv"},
		{"nws_", "nws-grid"},
		{"openmeteo_", "open-meteo"},
		{"logger_", "table"},
	}
	names, err := filepath.Glob("../testdata/weather/formats/*")
	if err != nil || len(names) < 30 {
		t.Fatalf("%d files, %v", len(names), err)
	}
	seen := map[string]bool{}
	for _, name := range names {
		base, want := filepath.Base(name), ""
		for _, f := range formats {
			if strings.HasPrefix(base, f.begins) {
				want = f.format
				break
			}
		}
		seen[want] = true
		got := weather.Recognisers(whole(t, name))
		if len(got) == 0 || got[0] != want {
			t.Errorf("%s is taken by %v, want %q", base, got, want)
			continue
		}
		for _, other := range got[1:] {
			if other != "csv" && other != "table" {
				t.Errorf("%s is wanted by %v", base, got)
			}
		}
	}
	for _, f := range weather.Formats() {
		if !seen[f] {
			t.Errorf("there is no file of format %s", f)
		}
	}
}

// whole returns a file, unpacked if its name says that it is packed.
func whole(t *testing.T, name string) string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		if in, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	b, err := io.ReadAll(in)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
