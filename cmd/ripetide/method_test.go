package main

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestMethodIsChosenAndChosenBack(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	const path = "/v1/farms/f/method"
	shown := func(m map[string]any) string {
		return fmt.Sprintf("%v, %v, %v, %v, %v, %v", m["degree_days"], m["base_c"], m["upper_c"], m["cutoff"], m["by"], m["reason"])
	}
	never := s.json(200, "GET", path, "")
	if got := shown(never); got != "single sine, 3, 30, horizontal, <nil>, <nil>" || never["at"] != nil || len(never["history"].([]any)) != 0 {
		t.Errorf("a farm that never chose has %v", never)
	}
	start := time.Now()
	sine := `{"degree_days":"single sine","base_c":2,"upper_c":30,"cutoff":"horizontal","reason":" fits our seasons "}`
	for _, tt := range []struct {
		body   string
		status int
		want   string
		n      int
	}{
		{sine, 201, "single sine, 2, 30, horizontal, test, fits our seasons", 1},
		{sine, 200, "single sine, 2, 30, horizontal, test, fits our seasons", 1},
		{`{"degree_days":"average","base_c":-5,"upper_c":0,"cutoff":"vertical"}`, 200, "average, -5, 0, vertical, test, <nil>", 2},
		{`{"degree_days":"double sine","base_c":4.5,"upper_c":null,"cutoff":"none","reason":null}`, 200, "double sine, 4.5, <nil>, none, test, <nil>", 3},
		{`{"degree_days":"double sine","base_c":4.5,"cutoff":"none"}`, 200, "double sine, 4.5, <nil>, none, test, <nil>", 3},
		{`{"degree_days":"single sine","base_c":3,"upper_c":30,"cutoff":"horizontal"}`, 200, "single sine, 3, 30, horizontal, test, <nil>", 4},
		{sine, 200, "single sine, 2, 30, horizontal, test, fits our seasons", 5}, // Back.
	} {
		put := s.json(tt.status, "PUT", path, tt.body)
		got := s.json(200, "GET", path, "")
		history := got["history"].([]any)
		if fmt.Sprint(put) != fmt.Sprint(got) || shown(got) != tt.want || len(history) != tt.n || shown(history[0].(map[string]any)) != tt.want {
			t.Errorf("after %s:\nput %v\ngot %v\nwant %s, %d choices", tt.body, put, got, tt.want, tt.n)
		}
		at, err := time.Parse(time.RFC3339Nano, got["at"].(string))
		if err != nil || at.Before(start.Truncate(time.Microsecond)) || at.After(time.Now()) || got["at"] != history[0].(map[string]any)["at"] {
			t.Errorf("chosen at %v, %v", got["at"], err)
		}
	}

	// The command line chooses too, and sees the same.
	out := s.command("method", "use", "--degree-days", "single sine", "--base", "2.5", "--upper", "28", "--by", "Ann Baker", "--reason", "six seasons say so")
	for _, o := range []string{out, s.command("method"), s.command("method", "--farm", "f"), s.command("method", "show")} {
		if !strings.HasPrefix(o, "F uses: single sine, 2.5 to 28 °C horizontal.\n") || strings.Count(o, "test") != 5 || !strings.Contains(o, "Ann Baker") || !strings.Contains(o, "six seasons say so") {
			t.Errorf("the command printed\n%s", o)
		}
	}
	if got := s.json(200, "GET", path, ""); shown(got) != "single sine, 2.5, 28, horizontal, Ann Baker, six seasons say so" {
		t.Errorf("after the command: %v", got)
	}
}

func TestMethodFaultsAreToldAtOnce(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	const path = "/v1/farms/f/method"
	for body, want := range map[string][]string{
		`{}`: {"/degree_days: is needed", "/base_c: is needed", "/cutoff: is needed"},
		`{"degree_days":"sine","base_c":21,"upper_c":61,"cutoff":"soft","reason":"a\u0007","base":2}`: {
			"/degree_days: must be one of", "/base_c: must be at most 20", "/upper_c: must be at most 60", "/cutoff: must be one of", "/reason: must not hold control characters", "/base: unknown field",
		},
		`{"degree_days":"average","base_c":3,"cutoff":"horizontal"}`:                    {`/upper_c: is needed, unless cutoff is "none"`},
		`{"degree_days":"average","base_c":-3,"upper_c":null,"cutoff":"vertical"}`:      {`/upper_c: is needed, unless cutoff is "none"`},
		`{"degree_days":"average","base_c":3,"upper_c":30,"cutoff":"none"}`:             {"/upper_c: must be left out"},
		`{"degree_days":"average","base_c":3,"upper_c":3,"cutoff":"horizontal"}`:        {"/upper_c: must be above base_c"},
		`{"degree_days":"average","base_c":"3","upper_c":"30","cutoff":"horizontal"}`:   {"/base_c: must be a number", "/upper_c: must be a number"},
		`{"degree_days":"average","base_c":null,"upper_c":30,"cutoff":null}`:            {"/base_c: must be a number", "/cutoff: must be"},
		`{"degree_days":"average","base_c":3,"cutoff":"none","reason":"` + long + `"}`:  {"/reason: must be at most 100 characters"},
		`{"degree_days":"average","base_c":-10.1,"cutoff":"none","by":"somebody else"}`: {"/base_c: must be at least -10", "/by: unknown field"},
	} {
		got := said(t, s.call(422, "PUT", path, "application/json", body))
		for _, w := range want {
			i := slices.IndexFunc(got, func(s string) bool { return strings.HasPrefix(s, w) })
			if i < 0 {
				t.Errorf("%s: nothing says %q", body, w)
				continue
			}
			got = slices.Delete(got, i, i+1)
		}
		if len(got) > 0 {
			t.Errorf("%s: says besides %q", body, got)
		}
	}
	s.json(400, "PUT", path, `{"degree_days":`)
	s.json(404, "PUT", "/v1/farms/g/method", `{"degree_days":"average","base_c":3,"cutoff":"none"}`)
	s.json(404, "GET", "/v1/farms/g/method", "")
	if m := s.json(200, "GET", path, ""); m["by"] != nil {
		t.Errorf("a bad body was chosen: %v", m)
	}
}

var long = strings.Repeat("ä", 101)

func TestMethodCommandSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	s := &service{t: t, env: map[string]string{"RIPETIDE_DATA": t.TempDir()}} // Wrong input is told before a database is opened.
	for _, tt := range []struct {
		args string // Parted by "|".
		want []string
	}{
		{"", []string{"--degree-days", "--base", "--by"}},
		{"--degree-days=sine|--base=21|--upper=30|--cutoff=soft|--by= |--reason=" + long, []string{"--degree-days must be", "--base must be", "--cutoff must be", "--by must not be empty", "--reason must be at most"}},
		{"--degree-days=average|--base=3|--upper=2|--by=Ann", []string{"--upper must be above --base"}},
		{"--degree-days=average|--base=3|--cutoff=vertical|--by=Ann", []string{"--upper is needed"}},
		{"--degree-days=average|--base=3|--upper=30|--cutoff=none|--by=Ann", []string{"--upper must be left out"}},
		{"--degree-days=average|--base=NaN|--by=Ann", []string{"--base must be between"}},
		{"--degree-days=average|--base=three|--by=Ann", []string{"--base"}},
	} {
		args := []string{"method", "use"}
		if tt.args != "" {
			args = append(args, strings.Split(tt.args, "|")...)
		}
		var out bytes.Buffer
		err := run(t.Context(), s.world(&out), args)
		for _, want := range tt.want {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %v, want %q", tt.args, err, want)
			}
		}
	}
}

// TestMethodOfOneOfSeveralFarms also shows °F to those who read them.
func TestMethodOfOneOfSeveralFarms(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	s.json(201, "PUT", "/v1/farms/u", `{"name":"U","latitude":42,"longitude":-83,"time_zone":"America/Detroit","units":"us"}`)
	if err := run(t.Context(), s.world(&bytes.Buffer{}), []string{"method"}); err == nil || !strings.Contains(err.Error(), "--farm") {
		t.Errorf("without a farm: %v", err)
	}
	for _, step := range [][2]string{
		{"method --farm u", "U uses the default method: single sine, 3 to 30 °C horizontal (37.4 to 86 °F).\n"},
		{"method use --farm u --degree-days average --base=-1 --by Ann", "U uses: average above -1 °C (30.2 °F).\n"},
		{"method --farm f", "F uses the default method: single sine, 3 to 30 °C horizontal.\n"},
	} {
		if out := s.command(strings.Fields(step[0])...); !strings.HasPrefix(out, step[1]) {
			t.Errorf("%s printed\n%s\nwant\n%s", step[0], out, step[1])
		}
	}
}
