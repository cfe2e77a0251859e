package main

import (
	"net/http"
	"strings"
	"testing"
)

// The pages of no farm say what service this is, and let people leave.
func TestPagesOfNoFarm(t *testing.T) {
	t.Parallel()
	s := newService(t)
	nobody := newVisitor(t, s.base)
	_, page := nobody.send("GET", "/sign-in", "")
	pageSays(t, "Sign in", page, "Sign in to Ripetide", "It tells a strawberry farm when each variety will be ripe")
	if strings.Contains(page, "/sign-out") {
		t.Error("nobody can sign out")
	}
	res, page := nobody.send("GET", "/sign-in/spent", "")
	if res.StatusCode != http.StatusGone {
		t.Errorf("a spent link: %s", res.Status)
	}
	pageHolds(t, "a spent link", page, `href="/sign-in"`)

	const farm = `{"name":"%","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`
	for id, name := range map[string]string{"a": "Zehnthof", "b": "acker am Bach", "c": "Mühlfeld"} {
		s.json(201, "PUT", "/v1/farms/"+id, strings.ReplaceAll(farm, "%", name))
	}
	v := newVisitor(t, s.base)
	v.signIn(s.key)
	_, page = v.send("GET", "/", "")
	pageSays(t, "the farms", page, "acker am Bach Mühlfeld Zehnthof")
	pageHolds(t, "the farms", page, `action="/sign-out"`)
	_, page = v.send("GET", "/setup", "")
	pageHolds(t, "the page that sets up a farm", page, `action="/sign-out"`)
}
