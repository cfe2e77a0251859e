package feed_test

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"ripetide/weather"
	"ripetide/weather/feed"
)

// FuzzFetch answers anything to a feed of any kind. Whatever that is, the result
// is one of the outcomes with words that do not hold the key, days that were
// asked for, an outlook that counts, and a moment to ask again within bounds.
func FuzzFetch(f *testing.F) {
	for _, name := range []string{
		"nws_grid_ALY.json", "nws_expired_SPEC.json", "openmeteo_berlin.json", "openmeteo_error_SPEC.json", "openmeteo_null.json",
		"acis_hours_SPEC.json", "acis_error_SPEC.json", "ncei_fahrenheit_SPEC.json",
	} {
		for kind := range uint8(4) {
			f.Add(kind, 200, sample(f, name), "ETag", `"a"`, int64(1637992800)) // berlin.
		}
	}
	f.Add(uint8(0), 200, `{"properties":{"forecastGridData":"https://api.weather.gov/gridpoints/ALY/71,67"}}`, "Cache-Control", "max-age=60", int64(1781121600))
	f.Add(uint8(3), 200, nceiJSON, "Last-Modified", "Mon, 10 Jun 1991 00:00:00 GMT", int64(676641600))
	f.Add(uint8(1), 429, "", "Retry-After", "120", int64(0))
	f.Add(uint8(1), 302, "", "Location", "https://example.org/?apikey=k3yk3y", int64(0))
	f.Add(uint8(1), 301, "", "Location", "//127.0.0.1/", int64(0))
	f.Add(uint8(2), 304, "", "Content-Encoding", "gzip", int64(1<<33))
	kinds := []func(string) feed.Spec{nwsSpec, meteoSpec, acisSpec, nceiSpec}
	z := zone(f, "America/New_York")
	f.Fuzz(func(t *testing.T, kind uint8, status int, body, name, value string, unix int64) {
		if unix < -1<<32 || unix > 1<<33 || status < 100 || status > 999 || name == "" || strings.ContainsAny(name+value, "\r\n") {
			return
		}
		c := &clock{}
		c.to(time.Unix(unix, 0))
		cl := client(c)
		cl.SetTransport(roundTrip(func(r *http.Request) (*http.Response, error) {
			h := http.Header{}
			h.Set(name, value)
			return &http.Response{StatusCode: status, Header: h, Body: io.NopCloser(strings.NewReader(body)), Request: r}, nil
		}))
		spec := kinds[int(kind)%len(kinds)]("")
		if spec.Kind == feed.OpenMeteo {
			spec.Key = "k3yk3y"
		}
		var st feed.State
		for range 3 {
			var res feed.Result
			res, st = cl.Fetch(t.Context(), spec, z, st)
			check(t, c, z, spec, res, st)
			c.to(c.Now().Add(time.Hour))
		}
	})
}

func check(t *testing.T, c *clock, z *time.Location, spec feed.Spec, res feed.Result, st feed.State) {
	t.Helper()
	now := c.Now()
	switch res.Outcome {
	case feed.New, feed.Unchanged:
		if st.Failures != 0 || (res.Outcome == feed.New) != (res.Days != nil || res.Outlook != nil) {
			t.Errorf("%s with days %v, outlook %v, %d failures", res.Outcome, res.Days, res.Outlook, st.Failures)
		}
	case feed.Stale, feed.Failed, feed.Refused:
		if res.Err == nil {
			t.Errorf("%s without an error", res.Outcome)
		}
	default:
		t.Errorf("outcome %q", res.Outcome)
	}
	if !utf8.ValidString(res.Detail) || !strings.HasSuffix(res.Detail, ".") || len(res.Detail) > 2000 || strings.Contains(res.Detail, "fault of this program") {
		t.Errorf("detail %q (%v)", res.Detail, res.Err)
	}
	if spec.Key != "" && strings.Contains(res.Detail, string(spec.Key)) {
		t.Errorf("detail %q holds the key", res.Detail)
	}
	if wait := st.NextAt.Sub(now); wait < 150*time.Second || wait > 24*time.Hour+10*time.Minute || res.Requests > 12 {
		t.Errorf("asked again after %v, %d requests", wait, res.Requests)
	}
	today := weather.DateIn(now.In(z))
	if r := res.Days; r != nil {
		if len(r.Days) == 0 || r.Received != len(r.Days)+r.Repeats+len(r.Refused) || r.Remarks != nil && len(r.Remarks) != len(r.Days) {
			t.Errorf("does not add up: %+v", r)
		}
		for _, d := range r.Days {
			if _, err := weather.NewDay(d.Date, d.Min, d.Max); err != nil || d.Date >= today || d.Date < today-feed.MaxHistory {
				t.Errorf("day %v: %v", d, err)
			}
		}
	}
	if o := res.Outlook; o != nil && (o.Days.Len() == 0 || o.IssuedAt.After(now.Add(weather.ClockSkew)) || now.Sub(o.IssuedAt) > 37*time.Hour) {
		t.Errorf("outlook of %d days issued %v at %v", o.Days.Len(), o.IssuedAt, now)
	}
}
