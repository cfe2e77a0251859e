package feed_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
	"ripetide/weather/feed"
)

// answers is what a service says instead of data.
func answers(status int, body string, header ...string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		for i := 0; i+1 < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		w.WriteHeader(status)
		io.WriteString(w, body)
	}
}

func packed(t testing.TB, body string) string {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	io.WriteString(z, body)
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestBadAnswers(t *testing.T) {
	t.Parallel()
	good := nceiJSON
	z := packed(t, good)
	for _, tt := range []struct {
		name   string
		answer http.HandlerFunc
		want   feed.Outcome
		words  string
	}{
		{"forbidden", answers(403, ""), feed.Refused, "127.0.0.1 answered 403 Forbidden."},
		{"not known", answers(401, `{"message":"Invalid token."}`), feed.Refused, "401 Unauthorized: Invalid token."},
		{"bad request, as Open-Meteo says it", answers(400, sample(t, "openmeteo_error_SPEC.json")), feed.Refused,
			"400 Bad Request: Cannot initialize WeatherVariable from invalid String value"},
		{"bad request, as NCEI says it", answers(400, `{"errorMessage":"Validation error","errorCode":400}`), feed.Refused, "Validation error"},
		{"gateway", answers(502, "<html>Bad Gateway</html>"), feed.Failed, "502 Bad Gateway."},
		{"a problem of RFC 9457", answers(503, sample(t, "nws_expired_SPEC.json")), feed.Failed, "503 Service Unavailable: The requested forecast grid"},
		{"a problem, packed", answers(503, packed(t, sample(t, "nws_expired_SPEC.json")), "Content-Encoding", "gzip"), feed.Failed, "The requested"},
		{"too many requests", answers(429, "", "Retry-After", "7200"), feed.Failed, "429 Too Many Requests"},
		{"request timeout", answers(408, ""), feed.Failed, "408"},
		{"too early", answers(425, ""), feed.Failed, "425"},
		{"no content", answers(204, ""), feed.Failed, "204 No Content"},
		{"part of it", answers(206, good), feed.Failed, "206"},
		{"a status that nobody knows", answers(599, ""), feed.Failed, "answered 599."},
		{"not modified, though not asked", answers(304, ""), feed.Failed, "nothing has changed, which it was not asked"},
		{"a web page", answers(200, "\n<!DOCTYPE html><title>Maintenance</title>"), feed.Failed, "a web page instead of data"},
		{"an error with 200", answers(200, `{"error":"no data available"}`), feed.Failed, "The service answered: no data available."},
		{"no data", answers(200, "[]"), feed.Failed, "cannot be read"},
		{"nothing", answers(200, ""), feed.Failed, "empty"},
		{"JSON of something else", answers(200, `{"a":[1,2]}`), feed.Failed, "cannot be read"},
		{"JSON that is cut off", answers(200, good[:len(good)/2]), feed.Failed, "cannot be read"},
		{"text", answers(200, "OK"), feed.Failed, "cannot be read"},
		{"deep JSON", answers(200, strings.Repeat("[", 1<<20)), feed.Failed, "cannot be read"},
		{"packed", answers(200, z, "Content-Encoding", "gzip"), feed.New, "2 observed days"},
		{"packed in capitals", answers(200, z, "Content-Encoding", "GZIP"), feed.New, "2 observed days"},
		{"packed without saying so", answers(200, z), feed.New, "2 observed days"},
		{"said to be packed and is not", answers(200, good, "Content-Encoding", "gzip"), feed.Failed, "does not unpack"},
		{"packed and cut off", answers(200, z[:len(z)-9], "Content-Encoding", "gzip"), feed.Failed, "does not unpack"},
		{"packed and damaged", answers(200, z[:20]+"\x00\x00\x00"+z[23:], "Content-Encoding", "gzip"), feed.Failed, "does not unpack"},
		{"packed in another way", answers(200, good, "Content-Encoding", "br"), feed.Failed, "does not unpack"},
		{"packed twice", answers(200, packed(t, z), "Content-Encoding", "gzip"), feed.New, "2 observed days"},
		{"packed three times", answers(200, packed(t, packed(t, z)), "Content-Encoding", "gzip"), feed.Failed, "cannot be read"},
		{"a bomb", answers(200, packed(t, strings.Repeat(" ", weather.MaxBytes+1)), "Content-Encoding", "gzip"), feed.Failed, "larger than 32 MiB"},
		{"a redirect to nowhere", answers(302, ""), feed.Failed, "302 Found"},
		{"a redirect to no address", answers(302, "", "Location", "http://[::1"), feed.Failed, "redirects to an address that is none"},
		{"a redirect to a long address", answers(302, "", "Location", "/"+strings.Repeat("a", 3000)), feed.Failed, "redirects to an address that is none"},
		{"a redirect to itself", answers(307, "", "Location", "?"), feed.Failed, "redirects more than 3 times"},
		{"a redirect to a file", answers(301, "", "Location", "file:///etc/passwd"), feed.Refused, "not http or https"},
		{"a redirect with a password", answers(301, "", "Location", "http://u:p@127.0.0.1/"), feed.Refused, "user or password"},
		{"a redirect to a private address", answers(301, "", "Location", "http://127.0.0.2/"), feed.Refused, "127.0.0.2 is not an address of the public internet"},
		{"a redirect to the secrets of a cloud", answers(308, "", "Location", "//169.254.169.254/latest"), feed.Refused, "169.254.169.254"},
		{"words that do not print", answers(400, `{"reason":"a\u001b[31m\r\nb"}`), feed.Refused, "400 Bad Request: a [31m  b."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := at(t, "1991-06-11T12:00:00Z")
			s := serve(t, tt.answer)
			res, st := fetch(t, client(c), nceiSpec(s.URL), time.UTC, feed.State{})
			wantOutcome(t, res, tt.want, tt.words)
			if tt.want == feed.New {
				return
			}
			if res.Days != nil || res.Outlook != nil || st.Failures != 1 || !st.NextAt.After(c.Now()) || !st.LastOK.IsZero() || st.ETag != "" {
				t.Errorf("days %v, outlook %v, state %+v", res.Days, res.Outlook, st)
			}
			if n := len(s.requests()); n > 4 || n != res.Requests {
				t.Errorf("%d requests, said to be %d", n, res.Requests)
			}
		})
	}
}

func TestALongErrorIsCutShort(t *testing.T) {
	t.Parallel()
	s := serve(t, answers(400, `{"detail":"`+strings.Repeat("ü", 5000)+`"}`))
	res, _ := fetch(t, client(at(t, berlin)), nceiSpec(s.URL), time.UTC, feed.State{})
	if n := len([]rune(res.Detail)); n > 250 || !strings.Contains(res.Detail, "üü…") {
		t.Errorf("%d characters: %s", n, res.Detail)
	}
}

func TestServersThatDoNotEnd(t *testing.T) {
	t.Parallel()
	hang := func(r *http.Request) { <-r.Context().Done() }
	member := packed(t, strings.Repeat(" ", 1<<20))
	quick := func(o *feed.Options) {
		o.Limits = feed.Limits{Connect: 5 * time.Second, Header: 50 * time.Millisecond, Whole: 20 * time.Second}
	}
	short := func(o *feed.Options) {
		o.Limits = feed.Limits{Connect: 5 * time.Second, Header: 20 * time.Second, Whole: 100 * time.Millisecond}
	}
	for _, tt := range []struct {
		name   string
		limits func(*feed.Options)
		answer http.HandlerFunc
		words  string
	}{
		{"no header", quick, func(_ http.ResponseWriter, r *http.Request) { hang(r) }, "did not answer in time"},
		{"no header, against the whole limit", short, func(_ http.ResponseWriter, r *http.Request) { hang(r) }, "did not answer in time"},
		{"a header and no body", short, func(w http.ResponseWriter, r *http.Request) {
			w.(http.Flusher).Flush()
			hang(r)
		}, "did not answer in time"},
		{"a body that stops", short, func(w http.ResponseWriter, r *http.Request) {
			io.WriteString(w, nceiJSON[:40])
			w.(http.Flusher).Flush()
			hang(r)
		}, "did not answer in time"},
		{"an error whose body stops", short, func(w http.ResponseWriter, r *http.Request) {
			w.WriteHeader(http.StatusInternalServerError)
			io.WriteString(w, "{")
			w.(http.Flusher).Flush()
			hang(r)
		}, "answered 500"},
		{"an endless body", func(*feed.Options) {}, func(w http.ResponseWriter, _ *http.Request) {
			for block := make([]byte, 1<<16); ; {
				if _, err := w.Write(block); err != nil {
					return
				}
			}
		}, "larger than 32 MiB"},
		{"an endless packed body", func(*feed.Options) {}, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Encoding", "gzip")
			for { // Members of a file follow each other.
				if _, err := io.WriteString(w, member); err != nil {
					return
				}
			}
		}, "larger than 32 MiB"},
		{"an endless header", func(*feed.Options) {}, func(w http.ResponseWriter, _ *http.Request) {
			for i := range 100 {
				w.Header().Set(fmt.Sprint("X-", i), strings.Repeat("x", 1000))
			}
		}, "could not be reached"},
		{"a body that is cut off", func(*feed.Options) {}, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Length", "1000")
			io.WriteString(w, nceiJSON[:100])
		}, "broke off"},
		{"a packed body that is cut off", func(*feed.Options) {}, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Encoding", "gzip")
			w.Header().Set("Content-Length", "1000")
			w.Write([]byte("\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff"))
		}, "broke off"},
		{"a connection that is closed", func(*feed.Options) {}, func(w http.ResponseWriter, _ *http.Request) {
			conn, _, err := w.(http.Hijacker).Hijack()
			if err == nil {
				conn.Close()
			}
		}, "broke off"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := serve(t, tt.answer)
			begin := time.Now()
			res, st := fetch(t, client(at(t, berlin), tt.limits), nceiSpec(s.URL), time.UTC, feed.State{})
			wantOutcome(t, res, feed.Failed, tt.words)
			if d := time.Since(begin); d > 15*time.Second && strings.Contains(tt.words, "in time") {
				t.Errorf("it took %v", d)
			}
			if res.Requests != 1 || st.Failures != 1 {
				t.Errorf("%d requests, state %+v", res.Requests, st)
			}
		})
	}
}

func TestAServerThatIsNotThere(t *testing.T) {
	t.Parallel()
	s := httptest.NewServer(http.NotFoundHandler())
	s.Close()
	res, _ := fetch(t, client(at(t, berlin)), nceiSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.Failed, "127.0.0.1 could not be reached")
	if res.Status != 0 || res.Requests != 1 {
		t.Errorf("status %d, %d requests", res.Status, res.Requests)
	}
}

func TestACertificateThatNobodyKnows(t *testing.T) {
	t.Parallel()
	s := serveTLS(t, text(nceiJSON))
	s.Config.ErrorLog = nil
	res, _ := fetch(t, client(at(t, berlin)), nceiSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.Failed, "certificate")
	// And a server without TLS.
	p := serve(t, text(nceiJSON))
	res, _ = fetch(t, client(at(t, berlin)), nceiSpec("https://"+strings.TrimPrefix(p.URL, "http://")), time.UTC, feed.State{})
	wantOutcome(t, res, feed.Failed, "does not answer by https")
	if len(s.requests())+len(p.requests()) != 0 {
		t.Error("they were asked nonetheless")
	}
}

func TestRedirectsAreFollowedThreeTimes(t *testing.T) {
	t.Parallel()
	for _, status := range []int{301, 302, 303, 307, 308} {
		s := serve(t, func(w http.ResponseWriter, r *http.Request) {
			if n := len(r.URL.Path); n < len("/xxx") {
				w.Header().Set("Location", r.URL.Path+"x?"+r.URL.RawQuery)
				w.WriteHeader(status)
				return
			}
			io.WriteString(w, nceiJSON)
		})
		res, _ := fetch(t, client(at(t, "1991-06-11T12:00:00Z")), nceiSpec(s.URL+"/x"), time.UTC, feed.State{})
		wantOutcome(t, res, feed.New)
		if last := s.requests()[2]; len(s.requests()) != 3 || last.query["dataset"] == nil || last.header.Get("User-Agent") == "" {
			t.Errorf("%d: asked %v", status, s.requests())
		}
	}
}

func TestAQuestionByPostIsNotMadeAGet(t *testing.T) {
	t.Parallel()
	for status, want := range map[int]feed.Outcome{301: feed.Failed, 302: feed.Failed, 303: feed.Failed, 307: feed.New, 308: feed.New} {
		s := serve(t, func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == "/StnData" {
				w.Header().Set("Location", "/new")
				w.WriteHeader(status)
				return
			}
			io.WriteString(w, observed(`["2012-05-01",["68"," ",17],["50"," ",17]]`))
		})
		res, _ := fetch(t, client(at(t, "2012-05-04T12:00:00Z")), acisSpec(s.URL), time.UTC, feed.State{})
		if res.Outcome != want {
			t.Errorf("%d: %s, want %s: %s", status, res.Outcome, want, res.Detail)
		}
		rs := s.requests()
		if last := rs[len(rs)-1]; last.method != http.MethodPost || last.body == "" {
			t.Errorf("%d: asked %+v", status, last)
		}
	}
}

func TestRedirectsNeverLeaveHTTPS(t *testing.T) {
	t.Parallel()
	plain := serve(t, text(nceiJSON))
	s := serveTLS(t, func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, plain.URL, http.StatusFound) })
	res, _ := fetch(t, client(at(t, berlin), trust(s)), nceiSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.Refused, "redirects from https to http")
	if len(plain.requests()) != 0 {
		t.Error("the other server was asked")
	}
	// The other way is fine.
	safe := serveTLS(t, text(nceiJSON))
	p := serve(t, func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, safe.URL, http.StatusFound) })
	res, _ = fetch(t, client(at(t, "1991-06-11T12:00:00Z"), trust(safe)), nceiSpec(p.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.New)
}

func TestTheKeyGoesToNoOtherServer(t *testing.T) {
	t.Parallel()
	const key = "k3y/+" // Is written in an address in more than one way.
	other := serveTLS(t, text(sample(t, "openmeteo_berlin.json")))
	var to string // Where the service redirects; QUERY is what it was asked.
	s := serveTLS(t, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/again" {
			io.WriteString(w, sample(t, "openmeteo_berlin.json"))
			return
		}
		w.Header().Set("Location", strings.ReplaceAll(to, "QUERY", r.URL.RawQuery))
		w.WriteHeader(http.StatusTemporaryRedirect)
	})
	spec := meteoSpec(s.URL)
	spec.Key = key
	for _, tt := range []struct {
		to   string
		want feed.Outcome
		left int // Requests to the other server.
	}{
		{"/again?QUERY", feed.New, 0},
		{other.URL + "/v1/forecast?QUERY", feed.New, 1},
		{other.URL + "/v1/forecast?APIKEY=k3y%2F%2B", feed.Refused, 0},
		{other.URL + "/k3y%2F+/forecast", feed.Refused, 0},
		{other.URL + "/k3y/+/forecast", feed.Refused, 0},
	} {
		from := len(other.requests())
		to = tt.to
		res, _ := fetch(t, client(at(t, berlin), trust(s)), spec, zone(t, "Europe/Berlin"), feed.State{})
		if res.Outcome != tt.want {
			t.Errorf("%s: %s, want %s: %s", tt.to, res.Outcome, tt.want, res.Detail)
		}
		asked := other.requests()[from:]
		if len(asked) != tt.left {
			t.Errorf("%s: the other server was asked %v", tt.to, asked)
		}
		for _, r := range asked {
			if said := fmt.Sprint(r); strings.Contains(said, "k3y") {
				t.Errorf("%s: it was told the key: %s", tt.to, said)
			}
		}
	}
}

func TestTheKeyIsInNoWords(t *testing.T) {
	t.Parallel()
	const key = "k3y/+"
	for _, body := range []string{
		`{"error":true,"reason":"Key k3y/+ is not known"}`,
		`{"error":true,"reason":"apikey=k3y%2F%2B is not known, nor k3y%2F+"}`,
	} {
		for _, status := range []int{200, 400} {
			s := serveTLS(t, answers(status, body))
			spec := meteoSpec(s.URL)
			spec.Key = key
			res, _ := fetch(t, client(at(t, berlin), trust(s)), spec, zone(t, "Europe/Berlin"), feed.State{})
			if said := fmt.Sprint(res.Detail, res.Err); strings.Contains(said, "k3y") || !strings.Contains(said, "(secret) is not known") {
				t.Errorf("it says %s", said)
			}
			s.Close()
			res, _ = fetch(t, client(at(t, berlin), trust(s)), spec, zone(t, "Europe/Berlin"), feed.State{})
			if said := fmt.Sprint(res.Detail, res.Err); strings.Contains(said, "k3y") {
				t.Errorf("it says %s", said)
			}
		}
	}
	spec := meteoSpec("")
	spec.Key = key
	for _, said := range []string{fmt.Sprint(spec), fmt.Sprintf("%+v", spec), fmt.Sprintf("%#v", spec), spec.Key.String()} {
		if strings.Contains(said, "k3y") {
			t.Errorf("printed as %s", said)
		}
	}
}

func TestPanicsAreFailuresOfTheFeed(t *testing.T) {
	t.Parallel()
	c := at(t, berlin)
	cl := client(c)
	cl.SetTransport(roundTrip(func(*http.Request) (*http.Response, error) { panic("at the disco") }))
	res, st := fetch(t, cl, nceiSpec(""), time.UTC, feed.State{})
	wantOutcome(t, res, feed.Failed, "fault of this program")
	if !strings.Contains(res.Err.Error(), "at the disco") || st.Failures != 1 || !st.NextAt.After(c.Now()) {
		t.Errorf("error %v, state %+v", res.Err, st)
	}
}

type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

func TestServicesAreAskedAtTheirOwnAddress(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		spec feed.Spec
		want string
	}{
		{nwsSpec(""), "https://api.weather.gov/points/42.735,-73.7"},
		{meteoSpec(""), "https://api.open-meteo.com/v1/forecast"},
		{func() feed.Spec { s := meteoSpec(""); s.Key = "k"; return s }(), "https://customer-api.open-meteo.com/v1/forecast"},
		{acisSpec(""), "https://data.rcc-acis.org/StnData"},
		{nceiSpec(""), "https://www.ncei.noaa.gov/access/services/data/v1"},
		{nceiSpec("http://mirror.example.org/"), "http://mirror.example.org/access/services/data/v1"},
		{nceiSpec("http://mirror.example.org/ncei"), "http://mirror.example.org/ncei"},
		{nwsSpec("https://Mirror.example.org/nws/"), "https://mirror.example.org/nws/points/42.735,-73.7"},
	} {
		var got string
		cl := client(at(t, berlin))
		cl.SetTransport(roundTrip(func(r *http.Request) (*http.Response, error) {
			got, _, _ = strings.Cut(r.URL.String(), "?")
			return nil, io.EOF
		}))
		fetch(t, cl, tt.spec, zone(t, "Europe/Berlin"), feed.State{})
		if got != tt.want {
			t.Errorf("%s at %q is asked at %s, want %s", tt.spec.Kind, tt.spec.Address, got, tt.want)
		}
	}
}

func TestAFetchThatIsBrokenOff(t *testing.T) {
	t.Parallel()
	s := serve(t, func(_ http.ResponseWriter, r *http.Request) { <-r.Context().Done() })
	cl := client(at(t, berlin))
	ctx, cancel := contextThatEndsWhen(t, func() bool { return len(s.requests()) > 0 })
	defer cancel()
	res, _ := cl.Fetch(ctx, nceiSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.Failed, "broken off")
}
