package main

import (
	"bytes"
	"net/http"
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

func (l *wholeLog) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// TestTheLogTellsNoSecret sends a secret by every way there is.
func TestTheLogTellsNoSecret(t *testing.T) {
	t.Parallel()
	const secret = "canary5fe1"
	var log wholeLog
	s := &service{t: t, log: &log, env: map[string]string{
		"DATABASE_URL": dbtest.DSN(t), "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0", "RIPETIDE_DAILY": "off", "RIPETIDE_LOG": "json",
	}}
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "owner", "--name", "test"))
	s.start()
	s.small()
	for _, path := range []string{"/v1/farms?key=" + secret, "/sign-in/" + secret, "/subscribe/" + secret + "/calendar.ics", "/" + secret, "/v1/farms/" + secret, "/sign-in?back=/" + secret, "/at/f?" + secret} {
		s.plain("GET", path, "", nil)
	}
	for _, body := range []string{`{"name":"` + secret + `"}`, secret, `{"kind":"ncei","source_station":"x","key":"` + secret + `"}`} {
		s.plain("PUT", "/v1/farms/f/stations/s/feeds/x", "application/json", []byte(body))
		s.plain("POST", "/v1/farms/f/stations/s/days", "text/csv", []byte(body))
		s.plain("POST", "/sign-in", "application/x-www-form-urlencoded", []byte("key="+secret))
	}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.base+"/v1/farms", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+secret)
	req.Header.Set("Cookie", "ripetide_session="+secret)
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	text := log.text()
	if strings.Contains(text, secret) || strings.Contains(text, s.key) {
		t.Errorf("a secret is logged:\n%s", text)
	}
	if n := strings.Count(text, `"msg":"request"`); n < 15 {
		t.Errorf("%d requests are logged:\n%s", n, text)
	}
}
