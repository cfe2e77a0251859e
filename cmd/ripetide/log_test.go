package main

import (
	"bytes"
	"io"
	stdlog "log"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"ripetide/db/dbtest"
)

// wholeLog keeps everything.
type wholeLog struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *wholeLog) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *wholeLog) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// TestTheLogTellsNoSecret sends a secret by every way there is, those that end
// well and those that fail.
func TestTheLogTellsNoSecret(t *testing.T) {
	t.Parallel()
	const secret = "canary5fe1"
	// A key goes to https only; nobody vouches for this one's certificate, and the
	// error of that names the whole address.
	source := httptest.NewTLSServer(http.NotFoundHandler())
	source.Config.ErrorLog = stdlog.New(io.Discard, "", 0)
	defer source.Close()
	database := dbtest.DSN(t)
	dsn, err := url.Parse(database)
	if err != nil {
		t.Fatal(err)
	}
	dsn.User = url.UserPassword(dsn.User.Username(), secret) // The socket does not ask for it.
	var log wholeLog
	s := &service{t: t, log: &log, env: map[string]string{
		"DATABASE_URL": dsn.String(), "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0", "RIPETIDE_DAILY": "off", "RIPETIDE_LOG": "json",
		"RIPETIDE_FEED_NETWORKS": "127.0.0.0/8",
		"RIPETIDE_SMTP":          freeAddr(t), "RIPETIDE_SMTP_FROM": "farm@farm.example", "RIPETIDE_SMTP_USER": "farm", "RIPETIDE_SMTP_PASSWORD": secret,
		"RIPETIDE_SMTP_TLS": "none",
	}}
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "owner", "--name", "test"))
	s.start()
	s.small()
	feed := "/v1/farms/f/stations/s/feeds/x"
	const form, jsonType = "application/x-www-form-urlencoded", "application/json"
	requests := 0
	for _, r := range []struct {
		status                   int
		method, path, kind, body string
	}{
		{422, "GET", "/v1/farms?key=" + secret, "", ""},
		{410, "GET", "/sign-in/" + secret, "", ""},
		{404, "GET", "/subscribe/" + secret + "/calendar.ics", "", ""},
		{404, "GET", "/" + secret, "", ""},
		{404, "GET", "/v1/farms/" + secret, "", ""},
		{200, "GET", "/sign-in?back=/" + secret, "", ""},
		{422, "GET", "/at/f/ripe.svg?" + secret, "", ""},
		{422, "PUT", feed, jsonType, `{"name":"` + secret + `"}`},
		{400, "PUT", feed, jsonType, secret},
		{201, "PUT", feed, jsonType, `{"kind":"open-meteo","address":"` + source.URL + `","key":"` + secret + `"}`},
		{200, "POST", feed + "/fetch", "", ""},
		{422, "POST", "/v1/farms/f/stations/s/days", "text/csv", secret},
		{422, "POST", "/sign-in", form, "key=" + secret},
		{200, "POST", "/v1/farms/f/mail/test", jsonType, `{"address":"ann@farm.example"}`},
	} {
		res, body := s.plain(r.method, r.path, r.kind, []byte(r.body))
		if res.StatusCode != r.status {
			t.Errorf("%s %s: %s, want %d: %s", r.method, r.path, res.Status, r.status, body)
		}
		if r.path == feed+"/fetch" && (!bytes.Contains(body, []byte("certificate")) || bytes.Contains(body, []byte(secret))) {
			t.Errorf("why the service was not asked is not told, or with the secret: %s", body)
		}
		requests++
	}
	key := s.key
	s.key = secret
	s.call(401, "GET", "/v1/farms", "", "")
	s.key = key
	// A database that is away is logged with where it was looked for.
	s.database("ALTER DATABASE " + strings.TrimPrefix(dsn.Path, "/") + " ALLOW_CONNECTIONS false")
	s.database("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '" + strings.TrimPrefix(dsn.Path, "/") + "'")
	for range 5 { // The first find connections that were cut.
		s.call(503, "GET", "/v1/farms", "", "")
	}
	requests += 1 + 5 + 2 // And the farm and its station.
	text := log.String()
	if strings.Contains(text, secret) || strings.Contains(text, s.key) {
		t.Errorf("a secret is logged:\n%s", text)
	}
	if n := strings.Count(text, `"msg":"request"`); n < requests {
		t.Errorf("%d requests are logged of %d:\n%s", n, requests, text)
	}
	if !strings.Contains(text, "not currently accepting connections") {
		t.Errorf("that the database was away is not logged:\n%s", text)
	}
}

// database runs a statement in the database of the server itself, as its superuser.
func (s *service) database(sql string) {
	s.t.Helper()
	dsn, err := url.Parse(s.env["DATABASE_URL"])
	if err != nil {
		s.t.Fatal(err)
	}
	dsn.Path = "/postgres"
	order(s.t, dsn.String(), sql)
}
