package main

import (
	"fmt"
	"strings"
	"testing"
)

// Nobody is told that a farm closes before it opens, and a decision rests on a
// forecast of its own season.
func TestDecisionsAgreeWithEachOther(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	const decide = "/v1/farms/lanternfen/seasons/2018/decisions/"
	refuse := func(path, body, want string) {
		t.Helper()
		if got := string(s.call(422, "PUT", path, "application/json", body)); !strings.Contains(got, want) {
			t.Errorf("%s: %s, want %q", body, got, want)
		}
	}
	s.json(201, "PUT", decide+"opening", `{"day":"2018-06-16"}`)
	refuse(decide+"closing", `{"day":"2018-06-15"}`, "must not be before 2018-06-16, the opening day that was decided")
	grower := newVisitor(t, s.base)
	grower.signIn(strings.TrimSpace(s.command("key", "new", "--name", "grower", "--role", "grower", "--farm", "lanternfen")))
	if _, page := grower.form(422, "/f/lanternfen/opening", "kind", "closing", "day", "2018-06-15"); !strings.Contains(page, "ust not be before 2018-06-16, the opening day that was decided.") {
		t.Errorf("on the page:\n%s", page)
	}
	s.json(201, "PUT", decide+"closing", `{"day":"2018-06-16"}`) // One day is a season.
	refuse(decide+"opening", `{"day":"2018-06-17"}`, "must not be after 2018-06-16, the last day that was decided")
	s.json(200, "PUT", decide+"closing", `{"day":"2018-07-01"}`)
	s.json(200, "PUT", decide+"opening", `{"day":"2018-06-17"}`)
	// What was taken back stands in nobody's way.
	s.call(204, "DELETE", decide+"opening", "", "")
	s.json(200, "PUT", decide+"closing", `{"day":"2018-06-12"}`)
	// The chart of a forecast is kept, and still says when the season is over.
	const chart, over = "/v1/farms/lanternfen/opening.svg", "The season is over"
	if got := string(s.call(200, "GET", chart, "", "")); strings.Contains(got, over) {
		t.Errorf("before its last day the chart says that %q", over)
	}
	s.json(200, "PUT", decide+"closing", `{"day":"2018-06-10"}`)
	if got := string(s.call(200, "GET", chart, "", "")); !strings.Contains(got, over) {
		t.Error("after the last day the chart is the one from before")
	}

	id := s.json(200, "GET", "/v1/farms/lanternfen/forecasts/latest", "")["id"]
	refuse("/v1/farms/lanternfen/seasons/2017/decisions/opening", fmt.Sprintf(`{"day":"2017-06-16","forecast":%q}`, id), "is of season 2018, not of 2017")
}

// What only the database can tell of a farm is told with field and reason too.
func TestAFarmIsToldWhyItStaysOnItsSide(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	farm := s.json(200, "GET", "/v1/farms/lanternfen", "")
	delete(farm, "farm")
	farm["latitude"] = -42.29
	got := string(s.call(422, "PUT", "/v1/farms/lanternfen", "application/json", jsonOf(t, farm)))
	if !strings.Contains(got, `"pointer":"/latitude"`) || !strings.Contains(got, "must stay on its side of the equator") {
		t.Errorf("refused with %s", got)
	}
}
