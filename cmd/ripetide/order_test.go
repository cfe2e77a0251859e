package main

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

const demoOrder = "/f/lanternfen/order"

// The page shows the list as it stands, and what is tried of it from the address
// alone; a reader may.
func TestThePlantOrderPage(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	reader := newVisitor(t, s.base)
	reader.signIn(strings.TrimSpace(s.command("key", "new", "--name", "reader", "--role", "reader", "--farm", "lanternfen")))
	see := func(status int, query url.Values, want ...string) string {
		t.Helper()
		res, body := reader.send(http.MethodGet, demoOrder+"?"+query.Encode(), "")
		if res.StatusCode != status {
			t.Fatalf("%s?%s: %s\n%.800s", demoOrder, query.Encode(), res.Status, body)
		}
		for _, w := range want {
			if !strings.Contains(body, w) {
				t.Errorf("?%s: %q is not on the page", query.Encode(), w)
			}
		}
		return body
	}
	body := see(200, nil, "go into the ground in 2018 and bear first in 2019", "As the list stands", "The list as it stands", "Ripe fruit standing on Saturdays",
		"Any very late variety", "its class: a guess", "own records", "no promise of a crop", "Offsets of ripening classes are guesses")
	for _, not := range []string{"With the changes", "Back to the list"} {
		if strings.Contains(body, not) {
			t.Errorf("nothing is tried, and the page says %q", not)
		}
	}
	body = see(200, url.Values{
		"season": {"2019"}, "area-bridgewell-windbreak": {"0"}, "by-plowmoon-creekside": {"late_straw"}, "days-plowmoon-creekside": {"1.5"},
		"add-1": {"class:very_late"}, "add-area-1": {"0.5"},
	}, "With the changes", "Before and after", "given up", "late straw", "added", "Purdue", "in the ground by 2018", "Back to the list as it stands", `value="1.5"`, `value="class:very_late" selected`)
	// A line that was cleared takes none after it away.
	see(200, url.Values{
		"season": {"2019"}, "add-1": {"class:early"}, "add-area-1": {"0.5"}, "add-4": {"class:very_late"}, "add-area-4": {"0.75"},
	}, `name="add-area-4" value="0.75"`, `name="add-5"`)
	// The picture of what is tried is another one than that of the list as it stands.
	src := regexp.MustCompile(`<img src="(/f/lanternfen/order/list\.svg[^"]*)"`)
	_, stands := reader.send(http.MethodGet, html.UnescapeString(src.FindStringSubmatch(see(200, nil))[1]), "")
	_, tried := reader.send(http.MethodGet, html.UnescapeString(src.FindStringSubmatch(body)[1]), "")
	if !strings.Contains(stands, "<svg") || strings.Contains(stands, "with the changes") || !strings.Contains(tried, "with the changes") {
		t.Errorf("pictures of %d and %d bytes", len(stands), len(tried))
	}
	if res, _ := reader.send(http.MethodGet, demoOrder+"/list.svg?season=1999", ""); res.StatusCode != http.StatusNotFound {
		t.Errorf("the picture of a season that cannot be: %s", res.Status)
	}
	if strings.Count(body, "given up") != 1 {
		t.Errorf("%d plantings are given up", strings.Count(body, "given up"))
	}
	// What was shown and not changed is no change.
	at := strings.Index(body, `name="area-plowmoon-creekside" value="`)
	area, _, _ := strings.Cut(body[at+len(`name="area-plowmoon-creekside" value="`):], `"`)
	if body := see(200, url.Values{"area-plowmoon-creekside": {area}, "by-plowmoon-creekside": {""}, "add-1": {""}, "add-area-1": {""}}); strings.Contains(body, "With the changes") {
		t.Errorf("an area of %s was left as it is, and the page tells of changes", area)
	}
	for field, x := range map[string]struct {
		query url.Values
		text  string
	}{
		"season":                  {url.Values{"season": {"1999"}}, "must be from 2018 to 2023"},
		"area-plowmoon-creekside": {url.Values{"area-plowmoon-creekside": {"much"}}, "is not a number"},
		"days-plowmoon-creekside": {url.Values{"by-plowmoon-creekside": {"row_cover"}, "days-plowmoon-creekside": {"40"}}, "must be between 0.5 and 10"},
		"by-plowmoon-creekside":   {url.Values{"by-plowmoon-creekside": {"prayer"}}, "must be row_cover or late_straw"},
		"add-1":                   {url.Values{"add-area-1": {"3"}}, "is to be chosen"},
		"add-area-2":              {url.Values{"add-2": {"class:late"}, "add-area-2": {"-3"}}, "must be between"},
		"area-firstbell-sandbar":  {url.Values{"area-firstbell-sandbar": {"-1"}}, "must be between"},
	} {
		see(422, x.query, `href="#f-`+field+`"`, `id="f-`+field+`"`, x.text)
	}
	if _, body := reader.send(http.MethodGet, "/f/lanternfen/book", ""); !strings.Contains(body, `href="`+demoOrder+`"`) {
		t.Error("the Book does not lead to the plant order")
	}
	if _, body := reader.send(http.MethodGet, "/f/lanternfen/review/2018", ""); !strings.Contains(body, `href="`+demoOrder+`"`) {
		t.Error("the review does not lead to the plant order")
	}
}

// A farm that has nothing on record is told what is missing.
func TestThePlantOrderOfANewFarm(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	if p := s.json(409, "POST", "/v1/farms/f/designs", `{"changes":[]}`); p["type"] != "/problems/too-few-years" {
		t.Errorf("a design of a new farm: %v", p)
	}
	owner := newVisitor(t, s.base)
	owner.signIn(s.key)
	res, body := owner.send(http.MethodGet, "/f/f/order", "")
	if res.StatusCode != http.StatusOK || !strings.Contains(body, "Nothing can be tried yet") {
		t.Errorf("%s\n%.800s", res.Status, body)
	}
}
