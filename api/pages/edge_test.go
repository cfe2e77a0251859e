package pages_test

import (
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"ripetide/api"
)

const browserAccepts = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"

// Where there is no page a browser gets one that says so, and a program a
// problem.
func TestBrowsersGetAPageWhereThereIsNone(t *testing.T) {
	t.Parallel()
	signedIn := api.SessionCookie + "=x" // The store of the door fails on it.
	for name, tt := range map[string]struct {
		method, path, accept, cookie string
		status                       int
		says                         string // "": a problem.
	}{
		"no such page":                {"GET", "/nowhere", browserAccepts, "", 404, "There is no such page."},
		"none of a farm either":       {"GET", "/f/hill/nowhere", browserAccepts, "", 404, "There is no such page."},
		"in capitals, not first":      {"GET", "/nowhere", "*/*;q=0.1, TEXT/HTML ;q=1", "", 404, "There is no such page."},
		"a method no page takes":      {"DELETE", "/sign-in", browserAccepts, "", 405, "This address does not take that."},
		"a page that fails badly":     {"GET", "/f/hill", browserAccepts, signedIn, 500, "It is written in the service's log."},
		"a program asks for no page":  {"GET", "/nowhere", "application/json", "", 404, ""},
		"a program that takes all":    {"GET", "/nowhere", "*/*", "", 404, ""},
		"one that says nothing":       {"GET", "/nowhere", "", "", 404, ""},
		"the API, asked by a browser": {"GET", "/v1/nowhere", browserAccepts, "", 404, ""},
		"an API that fails badly":     {"GET", "/v1/farms/hill", browserAccepts, signedIn, 500, ""},
		"a program and a bad failure": {"GET", "/f/hill", "application/json", signedIn, 500, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := httptest.NewRequest(tt.method, tt.path, nil)
			r.Header.Set("Accept", tt.accept)
			r.Header.Set("Cookie", tt.cookie)
			w := httptest.NewRecorder()
			newDoor().ServeHTTP(w, r)
			res := w.Result()
			body, err := io.ReadAll(res.Body)
			if err != nil {
				t.Fatal(err)
			}
			if res.StatusCode != tt.status {
				t.Errorf("%s, want %d", res.Status, tt.status)
			}
			want := "application/problem+json"
			if tt.says != "" {
				want = "text/html; charset=UTF-8"
			}
			if got := res.Header.Get("Content-Type"); got != want {
				t.Errorf("Content-Type %q, want %q", got, want)
			}
			if tt.says == "" {
				return
			}
			if text := string(body); !strings.Contains(text, strings.ReplaceAll(tt.says, "'", "&#39;")) || !strings.Contains(text, `<a href="/">`) {
				t.Errorf("the page does not say %q and lead on:\n%s", tt.says, text)
			}
			if res.Header.Get("Content-Security-Policy") == "" || res.Header.Get("Cache-Control") != "private, no-cache" {
				t.Errorf("headers %v", res.Header)
			}
		})
	}
}
