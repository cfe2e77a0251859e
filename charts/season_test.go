package charts_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"image/png"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/charts"
)

var (
	update   = flag.Bool("update", false, "write the golden SVGs anew")
	pictures = flag.String("pictures", "", "folder to write a PNG of every scenario to, for looking at")
)

// each runs f for every scenario, in order of their names.
func each(t *testing.T, f func(t *testing.T, s charts.Season)) {
	t.Helper()
	all := scenarios()
	for _, name := range slices.Sorted(maps.Keys(all)) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f(t, all[name])
		})
	}
}

func TestGolden(t *testing.T) {
	t.Parallel()
	all := scenarios()
	for _, tt := range []struct {
		file, scenario string
		opt            charts.Options
	}{
		{"season.svg", "ten plantings", charts.Options{}},
		{"season-dark.svg", "ten plantings", charts.Options{Theme: charts.Dark, ID: "dark"}},
		{"season-phone.svg", "ten plantings", charts.Options{Width: 390}},
		{"season-us.svg", "US units", charts.Options{Fixed: true}},
		{"season-hindcast.svg", "finished season", charts.Options{}},
		{"season-before-bloom.svg", "before bloom", charts.Options{}},
		{"season-crossing.svg", "ranges that cross", charts.Options{}},
		{"season-new-year.svg", "across New Year", charts.Options{Width: 1000}},
		{"season-crowded-phone.svg", "crowded stretches", charts.Options{Width: 390}},
		{"season-none.svg", "no plantings", charts.Options{}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.scenario], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// golden compares a picture with a file, or writes it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("..", "testdata", "charts", name)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("differs from %s; run with -update and look at the picture\n%s", file, firstDifference(got, want))
	}
}

// firstDifference shows the first line in which two files differ.
func firstDifference(got, want []byte) string {
	a, b := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("line %d\n got %.300s\nwant %.300s", i+1, a[i], b[i])
		}
	}
	return fmt.Sprintf("%d lines, want %d", len(a), len(b))
}

func TestPictures(t *testing.T) {
	t.Parallel()
	if *pictures == "" {
		return // Nothing was asked for.
	}
	each(t, func(t *testing.T, s charts.Season) {
		t.Helper()
		for suffix, o := range map[string]charts.Options{"": {}, "-dark": {Theme: charts.Dark}, "-phone": {Width: 390}, "-middle": {Width: 800}} {
			name := strings.ReplaceAll(strings.TrimPrefix(t.Name(), "TestPictures/"), " ", "_") + suffix
			var p, v bytes.Buffer
			if err := errors.Join(s.WritePNG(&p, o), s.WriteSVG(&v, o),
				os.WriteFile(filepath.Join(*pictures, name+".png"), p.Bytes(), 0o644),
				os.WriteFile(filepath.Join(*pictures, name+".svg"), v.Bytes(), 0o644)); err != nil {
				t.Error(err)
			}
		}
	})
}

func TestSVGIsFitForPages(t *testing.T) {
	t.Parallel()
	bad := regexp.MustCompile(`NaN|Inf|[0-9]e[+-][0-9]| style=|<style|<script|<image|href=|  `)
	each(t, func(t *testing.T, s charts.Season) {
		t.Helper()
		svg, raw := render(t, s, charts.Options{ID: "chart-7"})
		if m := bad.FindString(string(raw)); m != "" {
			t.Errorf("contains %q", m)
		}
		want := map[string]string{
			"role": "img", "aria-labelledby": "chart-7-title chart-7-desc", "width": "100%", "height": "",
			"font-family": "Liberation Sans, Arimo, Arial, Helvetica, sans-serif",
		}
		for k, v := range want {
			if svg.attr[k] != v {
				t.Errorf("%s is %q, want %q", k, svg.attr[k], v)
			}
		}
		title, desc := svg.children[0], svg.children[1]
		if title.name != "title" || title.attr["id"] != "chart-7-title" || title.text != s.Title() {
			t.Errorf("title %v is not %q", title, s.Title())
		}
		if desc.name != "desc" || desc.attr["id"] != "chart-7-desc" || desc.text != s.Description() {
			t.Errorf("desc %v is not %q", desc, s.Description())
		}
		for _, b := range s.Bars {
			if name := strings.Join(strings.Fields(b.Variety), " "); !strings.Contains(desc.text, name) {
				t.Errorf("%q is not in the description", name)
			}
		}
	})
}

func TestFixedSizeIsThatOfTheViewBox(t *testing.T) {
	t.Parallel()
	svg, _ := render(t, sample(), charts.Options{Fixed: true, Width: 1000})
	if got, want := "0 0 "+svg.attr["width"]+" "+svg.attr["height"], svg.attr["viewBox"]; got != want || svg.attr["width"] != "1000" {
		t.Errorf("size %s, view box %s", got, want)
	}
}

func TestSameSeasonSameBytes(t *testing.T) {
	t.Parallel()
	s := sample()
	o := charts.Options{Width: 600, Scale: 1}
	draw := func() (svg, img []byte) {
		var a, b bytes.Buffer
		if err := errors.Join(s.WriteSVG(&a, o), s.WritePNG(&b, o)); err != nil {
			t.Error(err)
		}
		return a.Bytes(), b.Bytes()
	}
	svg, img := draw()
	var wg sync.WaitGroup
	for range 3 { // At the same time, too.
		wg.Go(func() {
			svg2, img2 := draw()
			if !bytes.Equal(svg, svg2) || !bytes.Equal(img, img2) {
				t.Error("two runs differ")
			}
		})
	}
	wg.Wait()
}

func TestPNGHasTheSizeAskedFor(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		opt   charts.Options
		width int
	}{
		{charts.Options{Width: 390, Scale: 1}, 390},
		{charts.Options{Width: 390, Scale: 2}, 780},
		{charts.Options{}, 1800},
	} {
		var b bytes.Buffer
		if err := sample().WritePNG(&b, tt.opt); err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if got := img.Bounds().Dx(); got != tt.width {
			t.Errorf("%+v: %d pixels wide, want %d", tt.opt, got, tt.width)
		}
		if r, g, _, _ := img.At(1, 1).RGBA(); r>>8 != 0xff || g>>8 != 0xfe {
			t.Errorf("%+v: the paper is %x %x", tt.opt, r, g)
		}
	}
}

func TestBadInputIsRefused(t *testing.T) {
	t.Parallel()
	local := time.FixedZone("", 7200)
	for _, tt := range []struct {
		name  string
		spoil func(*charts.Season)
		want  string // in the error
	}{
		{"no as-of date", func(s *charts.Season) { s.AsOf = time.Time{} }, "AsOf: missing"},
		{"an hour is no date", func(s *charts.Season) { s.AsOf = s.AsOf.Add(time.Hour) }, "AsOf: 2026-06-16T01:00:00Z"},
		{"midnight elsewhere is no date", func(s *charts.Season) { s.Bars[2].Peak.P50 = s.Bars[2].Peak.P50.In(local) }, "Bars[2].Peak.P50"},
		{"a date of another millennium", func(s *charts.Season) { s.Bars[0].Last.P90 = date("9999-01-01") }, "Bars[0].Last.P90"},
		{"no year", func(s *charts.Season) { s.Year = 0 }, "Year"},
		{"unknown units", func(s *charts.Season) { s.Units = 7 }, "Units"},
		{"weather from the future", func(s *charts.Season) { s.WeatherThrough = s.AsOf }, "WeatherThrough"},
		{"quantiles out of order", func(s *charts.Season) { s.Bars[7].First.P10 = s.Bars[7].First.P90.AddDate(0, 0, 1) }, "Bars[7].First"},
		{"stages out of order", func(s *charts.Season) { s.Bars[7].Last = s.Bars[7].First; s.Bars[7].First = s.Bars[7].Peak }, "Bars[7]"},
		{"a missing range", func(s *charts.Season) { s.Bars[7].Peak = charts.Range{} }, "Bars[7].Peak.P50: missing"},
		{"a planting without a name", func(s *charts.Season) { s.Bars[1] = charts.Bar{NoForecast: "x", Variety: " \x00"} }, "Bars[1]: no name"},
		{"a window of no days", func(s *charts.Season) { s.Bars[1].WindowDays = [3]int{0, 3, 4} }, "Bars[1].WindowDays"},
		{"fruit that is not a number", func(s *charts.Season) { s.Supply[4].P50Kg = math.NaN() }, "Supply[4].P50Kg"},
		{"infinite fruit", func(s *charts.Season) { s.Supply[4].PlantingKg[2] = math.Inf(1) }, "Supply[4].PlantingKg[2]"},
		{"negative fruit", func(s *charts.Season) { s.Supply[4].P10Kg = -1 }, "Supply[4].P10Kg"},
		{"supply quantiles out of order", func(s *charts.Season) { s.Supply[9].P10Kg = 1e6 }, "Supply[9]"},
		{"too few plantings in the supply", func(s *charts.Season) { s.Supply[4].PlantingKg = nil }, "Supply[4].PlantingKg"},
		{"supply out of order", func(s *charts.Season) { s.Supply[4].Date = s.Supply[3].Date }, "Supply[4].Date"},
		{"a minimum that is not a number", func(s *charts.Season) { s.ThinKg = math.NaN() }, "ThinKg"},
		{"a stretch that ends before it starts", func(s *charts.Season) { s.Gaps[0].To = date("2026-06-01") }, "Gaps[0]"},
		{"a stretch of no kind", func(s *charts.Season) { s.Gaps[0].Kind = 5 }, "Gaps[0].Kind"},
		{"a probability in percent", func(s *charts.Season) { s.Gaps[0].Probability = 60 }, "Gaps[0].Probability"},
		{"a probability that is not a number", func(s *charts.Season) { s.Gaps[0].Probability = math.NaN() }, "Gaps[0].Probability"},
		{"a mark without words", func(s *charts.Season) { s.Holidays[0].Label = "  " }, "Holidays[0].Label"},
		{"dates more than a year apart", func(s *charts.Season) { s.Gaps[0].To = date("2028-06-01") }, "days apart"},
		{"a thousand plantings", func(s *charts.Season) { s.Bars = make([]charts.Bar, 1000) }, "Bars"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := sample()
			tt.spoil(&s)
			err := s.Validate()
			if !errors.Is(err, charts.ErrInvalidSeason) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one about %q", err, tt.want)
			}
			var b bytes.Buffer
			if err := s.WriteSVG(&b, charts.Options{}); !errors.Is(err, charts.ErrInvalidSeason) || b.Len() > 0 {
				t.Errorf("WriteSVG: %v after %d bytes", err, b.Len())
			}
			if err := s.WritePNG(&b, charts.Options{}); !errors.Is(err, charts.ErrInvalidSeason) || b.Len() > 0 {
				t.Errorf("WritePNG: %v after %d bytes", err, b.Len())
			}
			if s.Title() == "" || !strings.Contains(s.Description(), "no chart") {
				t.Errorf("title %q, description %q", s.Title(), s.Description())
			}
		})
	}
}

func TestBadOptionsAreRefused(t *testing.T) {
	t.Parallel()
	for name, o := range map[string]charts.Options{
		"too narrow": {Width: 100}, "too wide": {Width: 1e6}, "negative": {Width: -1},
		"too coarse": {Scale: 0.1}, "too fine": {Scale: 100}, "no scale": {Scale: math.NaN()},
		"no theme": {Theme: 9}, "id with a quote": {ID: `x"><script>`}, "id of a digit": {ID: "7"},
		"too many pixels": {Width: 2400, Scale: 4},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if err := manyRows().WritePNG(io.Discard, o); !errors.Is(err, charts.ErrInvalidOptions) {
				t.Errorf("error %v", err)
			}
		})
	}
}

// manyRows is a season with as many plantings as are allowed.
func manyRows() charts.Season {
	s := sample()
	s.Supply = nil
	for len(s.Bars) < 200 {
		s.Bars = append(s.Bars, s.Bars[len(s.Bars)%10])
	}
	return s
}

// broken fails on every write.
type broken struct{}

var errBroken = errors.New("pipe")

func (broken) Write([]byte) (int, error) { return 0, errBroken }

func TestErrorsOfTheWriterComeBack(t *testing.T) {
	t.Parallel()
	s := sample()
	if err := s.WriteSVG(broken{}, charts.Options{}); !errors.Is(err, errBroken) {
		t.Errorf("WriteSVG: %v", err)
	}
	if err := s.WritePNG(broken{}, charts.Options{Width: 320, Scale: 0.5}); !errors.Is(err, errBroken) {
		t.Errorf("WritePNG: %v", err)
	}
}

func TestSeenStageHasOneDate(t *testing.T) {
	t.Parallel()
	s := sample()
	b := &s.Bars[7]
	b.SeenFirst, b.SeenPeak, b.SeenLast = true, true, true
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	svg, _ := render(t, s, charts.Options{})
	title := svg.class("planting")[7].children[0].text
	if strings.Contains(title, "8 in 10: Sat") || strings.Count(title, "seen") != 3 {
		t.Errorf("said %q", title)
	}
}

// A large farm has the same variety in many blocks: the wide chart names each.
func TestManyRowsNameTheirBlocks(t *testing.T) {
	t.Parallel()
	s := sample()
	s.Supply, s.Bars = nil, slices.Clone(s.Bars)
	for n := 0; len(s.Bars) < 25; n++ {
		s.Bars = append(s.Bars, s.Bars[n])
	}
	for i := range s.Bars {
		s.Bars[i].Block = fmt.Sprintf("Schoolhouse Field %d", i+1)
	}
	for _, width := range []int{800, 960, 1184, 2400} {
		var out bytes.Buffer
		if err := s.WriteSVG(&out, charts.Options{Width: width}); err != nil {
			t.Fatal(err)
		}
		for _, b := range s.Bars {
			if !strings.Contains(out.String(), ">"+b.Block+"<") {
				t.Errorf("%d px wide: %s of %s is not named", width, b.Block, b.Variety)
			}
		}
	}
}
