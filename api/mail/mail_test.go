package mail_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	netmail "net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/api/mail"
	"ripetide/api/mail/mailtest"
	"ripetide/forecast"
	"ripetide/weather"
)

// outbox is a store in memory with the rules of the real one.
type outbox struct {
	mu         sync.Mutex
	farms      []forecast.Farm
	recipients []forecast.Recipient
	tries      map[forecast.MailKey][]*forecast.MailAnswer
	hashes     map[[32]byte]forecast.MailKey
}

func newOutbox(recipients ...forecast.Recipient) *outbox {
	return &outbox{
		farms:      []forecast.Farm{{ID: "hill", Name: "Hill Farm", TimeZone: "America/Detroit", Units: forecast.US}},
		recipients: recipients, tries: map[forecast.MailKey][]*forecast.MailAnswer{}, hashes: map[[32]byte]forecast.MailKey{},
	}
}

func (o *outbox) Farms(context.Context) ([]forecast.Farm, error) { return o.farms, nil }

func (o *outbox) ready(k forecast.MailKey, at time.Time) bool {
	ts := o.tries[k]
	if len(ts) == 0 {
		return true
	}
	a := ts[len(ts)-1]
	return a != nil && a.NextAt != nil && !a.NextAt.After(at)
}

func (o *outbox) MailDue(_ context.Context, farm string, kind forecast.MailKind, day weather.Date, at time.Time) (out []forecast.Recipient, err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, r := range o.recipients {
		k := forecast.MailKey{Farm: farm, Recipient: r.ID, Kind: kind, Day: day}
		if r.Farm == farm && (r.ConfirmedAt != nil) == (kind == forecast.MailMorning) && o.ready(k, at) {
			out = append(out, r)
		}
	}
	return out, nil
}

func (o *outbox) ClaimMail(_ context.Context, k forecast.MailKey, hash [32]byte, at time.Time) (try int, got bool, err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.ready(k, at) {
		return 0, false, nil
	}
	o.tries[k] = append(o.tries[k], nil)
	o.hashes[hash] = k
	return len(o.tries[k]), true, nil
}

func (o *outbox) KeepMail(_ context.Context, k forecast.MailKey, try int, a forecast.MailAnswer) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.tries[k][try-1] = &a
	return nil
}

func (o *outbox) last(t *testing.T, k forecast.MailKey) forecast.MailAnswer {
	t.Helper()
	o.mu.Lock()
	defer o.mu.Unlock()
	ts := o.tries[k]
	if len(ts) == 0 || ts[len(ts)-1] == nil {
		t.Fatalf("no answer of %+v", k)
	}
	return *ts[len(ts)-1]
}

// writer writes letters that a test can tell apart.
type writer struct {
	asOf weather.Date // Of the newest forecast; 0: there is none.
}

func (w *writer) Morning(_ context.Context, f forecast.Farm, at time.Time, late bool) (mail.Morning, bool, error) {
	today, err := f.Today(at)
	return morning{w.asOf}, w.asOf != 0 && (late || w.asOf == today), err
}

type morning struct{ asOf weather.Date }

func (m morning) Letter(leave string) (mail.Letter, error) {
	return mail.Letter{Subject: "Morning of " + m.asOf.String(), Text: "Ripe: Fraîche.\nLeave: " + leave + "\n", HTML: "<p>Ripe: Fraîche. <a href=\"" + leave + "\">Leave</a></p>"}, nil
}

func (w *writer) Ask(f forecast.Farm, link string) (mail.Letter, error) {
	return mail.Letter{Subject: "Do you want it, " + f.Name, Text: link, HTML: link}, nil
}

func (w *writer) Test(forecast.Farm) (mail.Letter, error) {
	return mail.Letter{Subject: "Test", Text: "It works.", HTML: "<p>It works.</p>"}, nil
}

const user, password = "ann", "canary-7f3a"

// runnerAt returns a runner that sends to a server at an instant, and its log.
func runnerAt(s *mailtest.Server, o mail.Store, w mail.Writer, now func() time.Time) (*mail.Runner, *bytes.Buffer) {
	var log bytes.Buffer
	return &mail.Runner{
		Store: o, Writer: w, Public: "https://ripetide.example", Now: now, Log: slog.New(slog.NewJSONHandler(&log, nil)),
		Client: mail.NewClient(mail.Settings{Server: s.Addr, From: "farm@hill.example", TLS: mail.StartTLS, Roots: s.Roots}),
	}, &log
}

// at is a moment of the 11th of June 2018 at the farm.
func at(clock string) func() time.Time {
	zone, err := time.LoadLocation("America/Detroit")
	if err != nil {
		panic(err)
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", "2018-06-11 "+clock, zone)
	if err != nil {
		panic(err)
	}
	return func() time.Time { return t }
}

var mon11 = weather.DateOf(2018, time.June, 11)

func reader(id string) forecast.Recipient {
	then := time.Date(2018, 6, 1, 12, 0, 0, 0, time.UTC)
	return forecast.Recipient{ID: id, Farm: "hill", Address: id + "@reader.example", AskedAt: then, ConfirmedAt: &then}
}

func morningOf(id string) forecast.MailKey {
	return forecast.MailKey{Farm: "hill", Recipient: id, Kind: forecast.MailMorning, Day: mon11}
}

// parts reads a mail with a parser that is not the sender's.
func parts(t *testing.T, raw []byte) (h netmail.Header, text, html string) {
	t.Helper()
	m, err := netmail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatalf("%v\n%s", err, raw)
	}
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("Content-Type %q, %v", m.Header.Get("Content-Type"), err)
	}
	r := multipart.NewReader(m.Body, params["boundary"])
	var kinds []string
	for {
		p, err := r.NextRawPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Header.Get("Content-Transfer-Encoding"); got != "quoted-printable" {
			t.Errorf("encoding %q", got)
		}
		b, err := io.ReadAll(quotedprintable.NewReader(p))
		if err != nil {
			t.Fatal(err)
		}
		kind, params, err := mime.ParseMediaType(p.Header.Get("Content-Type"))
		if err != nil || !strings.EqualFold(params["charset"], "utf-8") {
			t.Errorf("part %q, %v", p.Header.Get("Content-Type"), err)
		}
		kinds = append(kinds, kind)
		if kind == "text/html" {
			html = string(b)
		} else {
			text = string(b)
		}
	}
	if fmt.Sprint(kinds) != "[text/plain text/html]" { // The best comes last, RFC 2046 5.1.4.
		t.Errorf("parts %v", kinds)
	}
	return m.Header, strings.ReplaceAll(text, "\r\n", "\n"), html
}

func TestAMailAsItArrives(t *testing.T) {
	t.Parallel()
	s := mailtest.Start(t, mail.StartTLS, "", "")
	o := newOutbox(reader("ann"))
	o.farms[0].Name = "Fraîche & Söhne"
	r, log := runnerAt(s, o, &writer{asOf: mon11}, at("05:31"))
	r.Pass(t.Context())
	got := s.Mails("")
	if len(got) != 1 || !got[0].TLS || got[0].From != "farm@hill.example" || got[0].To != "ann@reader.example" {
		t.Fatalf("%+v", got)
	}
	h, text, html := parts(t, got[0].Raw)
	list, err := h.AddressList("From")
	if err != nil || len(list) != 1 || list[0].Name != "Fraîche & Söhne" || list[0].Address != "farm@hill.example" {
		t.Errorf("From %v, %v", list, err)
	}
	if list, err := h.AddressList("To"); err != nil || len(list) != 1 || list[0].Address != "ann@reader.example" {
		t.Errorf("To %v, %v", list, err)
	}
	if d, err := h.Date(); err != nil || !d.Equal(at("05:31")()) {
		t.Errorf("Date %v, %v", d, err)
	}
	leave := strings.Trim(h.Get("List-Unsubscribe"), "<>")
	secret, ours := strings.CutPrefix(leave, "https://ripetide.example/mail/leave/")
	if !ours || len(secret) != 32 || h.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
		t.Errorf("List-Unsubscribe %q, -Post %q", h.Get("List-Unsubscribe"), h.Get("List-Unsubscribe-Post"))
	}
	for name, want := range map[string]string{
		"Subject": "Morning of 2018-06-11", "Auto-Submitted": "auto-generated", "Mime-Version": "1.0",
		"Message-Id": "<morning.2018-06-11.ann.hill@hill.example>", "Bcc": "", "Cc": "", "Reply-To": "",
	} {
		if got := h.Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	if text != "Ripe: Fraîche.\nLeave: "+leave+"\n" || html != `<p>Ripe: Fraîche. <a href="`+leave+`">Leave</a></p>` {
		t.Errorf("parts %q and %q", text, html)
	}
	if len(o.hashes) != 1 || strings.Contains(log.String(), secret) || strings.Contains(log.String(), "ann@") || !strings.Contains(log.String(), `"outcome":"sent"`) {
		t.Errorf("%d secrets, log %s", len(o.hashes), log)
	}
	r.Pass(t.Context())
	if n := len(s.Mails("")); n != 1 {
		t.Errorf("%d mails", n)
	}
}

func TestTheMorningAtTheFarmDecides(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		clock string
		asOf  weather.Date
		want  int
	}{
		{"before half past five", "05:29", mon11, 0},
		{"with this morning's forecast from half past five", "05:30", mon11, 1},
		{"yesterday's will not do yet", "06:59", mon11 - 1, 0},
		{"but from seven", "07:00", mon11 - 1, 1},
		{"without a forecast never", "07:00", 0, 0},
		{"until noon", "11:59", mon11, 1},
		{"at noon it is no morning any more", "12:00", mon11, 0},
		{"and nothing is caught up", "23:00", mon11, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := mailtest.Start(t, mail.StartTLS, "", "")
			r, _ := runnerAt(s, newOutbox(reader("ann")), &writer{asOf: tt.asOf}, at(tt.clock))
			r.Pass(t.Context())
			if n := len(s.Mails("")); n != tt.want {
				t.Errorf("%d mails, want %d", n, tt.want)
			}
		})
	}
}

// A stranger is asked, at any hour, and gets nothing else.
func TestAQuestionComesAtAnyHourForADay(t *testing.T) {
	t.Parallel()
	s := mailtest.Start(t, mail.StartTLS, "", "")
	x := forecast.Recipient{ID: "cem", Farm: "hill", Address: "cem@reader.example", AskedAt: at("08:00")()}
	now := at("08:00")()
	r, _ := runnerAt(s, newOutbox(x), &writer{asOf: mon11}, func() time.Time { return now })
	now = now.Add(24 * time.Hour)
	r.Pass(t.Context())
	if n := len(s.Mails("")); n != 0 {
		t.Errorf("asked a day too late: %d", n)
	}
	now = at("23:30")()
	r.Pass(t.Context())
	r.Pass(t.Context())
	got := s.Mails("")
	if len(got) != 1 {
		t.Fatalf("%d mails", len(got))
	}
	h, text, _ := parts(t, got[0].Raw)
	if h.Get("List-Unsubscribe") != "" || !strings.HasPrefix(text, "https://ripetide.example/mail/confirm/") {
		t.Errorf("the question %v\n%s", h, text)
	}
}

// What came of a try decides whether there is another.
func TestWhatFailedForNowIsTriedAgain(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name    string
		replies []mailtest.Reply // Of one try after the other; then it is taken.
		tries   int
		mails   int
		outcome forecast.MailOutcome
		code    int
		text    string
	}{
		{"at once", nil, 1, 1, forecast.MailSent, 250, "2.0.0 OK: queued"},
		{"grey-listed", []mailtest.Reply{{Code: 451, Text: "Come back"}, {Code: 421, Text: "Busy", Late: true}}, 3, 1, forecast.MailSent, 250, "2.0.0 OK: queued"},
		{"no such mailbox", []mailtest.Reply{{Code: 550, Text: "No such mailbox"}}, 1, 0, forecast.MailRefused, 550, "No such mailbox"},
		{"the text is refused", []mailtest.Reply{{Code: 554, Text: "Spam", Late: true}}, 1, 0, forecast.MailRefused, 554, "Spam"},
		{"the connection ends early", []mailtest.Reply{{Drop: true}}, 2, 1, forecast.MailSent, 250, "2.0.0 OK: queued"},
		{"it ends before the answer", []mailtest.Reply{{DropLate: true}}, 1, 1, forecast.MailUncertain, 0, "before the server said whether it took the mail"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := mailtest.Start(t, mail.StartTLS, "", "")
			s.Reply(func(_ string, n int) mailtest.Reply {
				if n <= len(tt.replies) {
					return tt.replies[n-1]
				}
				return mailtest.Reply{}
			})
			o := newOutbox(reader("ann"))
			now := at("05:30")()
			r, _ := runnerAt(s, o, &writer{asOf: mon11}, func() time.Time { return now })
			for range 12 { // An hour, so that any pause of the first tries is over.
				before := s.Tries("ann@reader.example")
				r.Pass(t.Context())
				r.Pass(t.Context()) // At once again: never.
				if n := s.Tries("ann@reader.example"); n > before+1 {
					t.Fatalf("tried %d times at once", n-before)
				}
				now = now.Add(5 * time.Minute)
			}
			a := o.last(t, morningOf("ann"))
			if n := s.Tries("ann@reader.example"); n != tt.tries || len(s.Mails("")) != tt.mails {
				t.Errorf("%d tries and %d mails, want %d and %d", n, len(s.Mails("")), tt.tries, tt.mails)
			}
			if a.Outcome != tt.outcome || a.Code != tt.code || !strings.Contains(a.Text, tt.text) {
				t.Errorf("the last answer is %+v", a)
			}
		})
	}
}

// A server that refuses for now all morning is left alone in the end, and the
// next day is another.
func TestTriesEndWithTheMorning(t *testing.T) {
	t.Parallel()
	s := mailtest.Start(t, mail.StartTLS, "", "")
	s.Reply(func(string, int) mailtest.Reply { return mailtest.Reply{Code: 451, Text: "Never"} })
	o := newOutbox(reader("ann"))
	now := at("05:30")()
	r, _ := runnerAt(s, o, &writer{asOf: mon11}, func() time.Time { return now })
	for range 7 * 60 {
		r.Pass(t.Context())
		now = now.Add(time.Minute)
	}
	if n := s.Tries("ann@reader.example"); n != 8 {
		t.Errorf("%d tries", n)
	}
	if a := o.last(t, morningOf("ann")); a.NextAt != nil {
		t.Errorf("it goes on: %+v", a)
	}
	// Nobody is told of a time that will not come: the shortest pause is 45 s.
	last := newOutbox(reader("bob"))
	r.Store, now = last, at("11:59")().Add(30*time.Second)
	r.Pass(t.Context())
	if a := last.last(t, morningOf("bob")); a.Outcome != forecast.MailLater || a.NextAt != nil {
		t.Errorf("half a minute before noon: %+v", a)
	}
	r.Store = o
	s.Reply(nil)
	r.Writer = &writer{asOf: mon11 + 1}
	now = at("05:30")().Add(24 * time.Hour)
	r.Pass(t.Context())
	if got := s.Mails(""); len(got) != 1 || !strings.Contains(string(got[0].Raw), "2018-06-12") {
		t.Errorf("the next day: %d mails", len(got))
	}
}

func TestAServerThatIsNotThereIsNotHammered(t *testing.T) {
	t.Parallel()
	s := mailtest.Start(t, mail.StartTLS, "", "")
	var rs []forecast.Recipient
	for i := range 40 {
		rs = append(rs, reader(fmt.Sprint("r", i)))
	}
	o := newOutbox(rs...)
	r, log := runnerAt(s, o, &writer{asOf: mon11}, at("05:30"))
	r.Client = mail.NewClient(mail.Settings{Server: "127.0.0.1:1", From: "farm@hill.example", TLS: mail.StartTLS})
	r.Pass(t.Context())
	if n := strings.Count(log.String(), "mail tried"); n == 0 || n > 8 {
		t.Errorf("%d tries at a server that is not there", n)
	}
	// Once it is, everybody gets theirs, those who were tried after their pause.
	back, _ := runnerAt(s, o, &writer{asOf: mon11}, at("05:35"))
	back.Pass(t.Context())
	if n := len(s.Mails("")); n != 40 {
		t.Errorf("%d mails", n)
	}
}

func TestTwoRunnersSendEachMailOnce(t *testing.T) {
	t.Parallel()
	s := mailtest.Start(t, mail.StartTLS, "", "")
	var rs []forecast.Recipient
	for i := range 30 {
		rs = append(rs, reader(fmt.Sprint("r", i)))
	}
	o := newOutbox(rs...)
	var wg sync.WaitGroup
	for range 3 {
		r, _ := runnerAt(s, o, &writer{asOf: mon11}, at("05:30"))
		wg.Go(func() { r.Pass(t.Context()) })
	}
	wg.Wait()
	for _, x := range rs {
		if n := len(s.Mails(x.Address)); n != 1 {
			t.Errorf("%s got %d mails", x.ID, n)
		}
	}
}

// A test tells what the server said, whatever it said, within ten seconds.
func TestATestTellsWhatTheServerSaid(t *testing.T) {
	t.Parallel()
	for _, mode := range []mail.Mode{mail.StartTLS, mail.Implicit, mail.Plain} {
		t.Run(string(mode), func(t *testing.T) {
			t.Parallel()
			s := mailtest.Start(t, mode, user, password)
			r, log := runnerAt(s, newOutbox(), &writer{}, at("15:00"))
			settings := mail.Settings{Server: s.Addr, From: "farm@hill.example", TLS: mode, Roots: s.Roots, User: user, Password: password}
			try := func() mail.Answer {
				t.Helper()
				r.Client = mail.NewClient(settings)
				a, err := r.Test(t.Context(), forecast.Farm{Name: "Hill Farm"}, "ann@reader.example")
				if err != nil {
					t.Fatal(err)
				}
				return a
			}
			if a := try(); a.Outcome != forecast.MailSent || a.Code != 250 || a.Text != "2.0.0 OK: queued" {
				t.Errorf("%+v", a)
			}
			got := s.Mails("")
			if len(got) != 1 || got[0].User != user || got[0].TLS != (mode != mail.Plain) {
				t.Fatalf("%+v", got)
			}
			if h, text, _ := parts(t, got[0].Raw); h.Get("Subject") != "Test" || text != "It works." {
				t.Errorf("%v %q", h, text)
			}
			s.Reply(func(string, int) mailtest.Reply { return mailtest.Reply{Code: 552, Text: "Mailbox full"} })
			if a := try(); a != (mail.Answer{Outcome: forecast.MailRefused, Code: 552, Text: "Mailbox full"}) {
				t.Errorf("%+v", a)
			}
			settings.Password = "canary-wrong"
			if a := try(); a.Outcome != forecast.MailRefused || a.Code != 535 || !strings.Contains(a.Text, "Who are you?") {
				t.Errorf("a wrong password: %+v", a)
			}
			if strings.Contains(log.String()+fmt.Sprintf("%v %+v %#v", settings, settings, settings), "canary") {
				t.Errorf("the password shows: %+v, log %s", settings, log)
			}
			if mode == mail.Plain {
				return
			}
			settings.Roots = nil
			if a := try(); a.Outcome != forecast.MailLater || !strings.Contains(a.Text, "certificate") {
				t.Errorf("an unknown certificate: %+v", a)
			}
		})
	}
	t.Run("a server without encryption is not used", func(t *testing.T) {
		t.Parallel()
		s := mailtest.Start(t, mail.Plain, user, password)
		r, _ := runnerAt(s, newOutbox(), &writer{}, at("15:00"))
		r.Client = mail.NewClient(mail.Settings{Server: s.Addr, From: "farm@hill.example", TLS: mail.StartTLS, User: user, Password: password})
		a, err := r.Test(t.Context(), forecast.Farm{}, "ann@reader.example")
		if err != nil || a.Outcome != forecast.MailLater || !strings.Contains(a.Text, "STARTTLS") || len(s.Mails("")) > 0 {
			t.Errorf("%+v, %v", a, err)
		}
	})
	t.Run("a slow server", func(t *testing.T) {
		t.Parallel()
		s := mailtest.Start(t, mail.StartTLS, "", "")
		s.Reply(func(string, int) mailtest.Reply { return mailtest.Reply{Wait: 13 * time.Second} })
		r, _ := runnerAt(s, newOutbox(), &writer{}, at("15:00"))
		begin := time.Now()
		a, err := r.Test(t.Context(), forecast.Farm{}, "ann@reader.example")
		if took := time.Since(begin); err != nil || took > 11500*time.Millisecond || a.Outcome != forecast.MailLater || a.Text != "the server did not answer in time" {
			t.Errorf("after %s: %+v, %v", took, a, err)
		}
	})
}

func TestTestsAreFewAndToAddresses(t *testing.T) {
	t.Parallel()
	s := mailtest.Start(t, mail.StartTLS, "", "")
	now := at("15:00")()
	r, _ := runnerAt(s, newOutbox(), &writer{}, func() time.Time { return now })
	if _, err := r.Test(t.Context(), forecast.Farm{}, "ann@reader.example\r\nRCPT TO:<bob@reader.example>"); !errors.Is(err, forecast.ErrInvalid) {
		t.Errorf("no address: %v", err)
	}
	var err error
	for range 21 {
		_, err = r.Test(t.Context(), forecast.Farm{}, "ann@reader.example")
	}
	if !errors.Is(err, mail.ErrTooMany) || len(s.Mails("")) != 20 {
		t.Errorf("%v, %d mails", err, len(s.Mails("")))
	}
	now = now.AddDate(0, 0, -400) // It was ahead.
	if _, err := r.Test(t.Context(), forecast.Farm{}, "ann@reader.example"); err != nil {
		t.Errorf("when the clock is right again: %v", err)
	}
	r.Client = nil
	if _, err := r.Test(t.Context(), forecast.Farm{}, "ann@reader.example"); !errors.Is(err, mail.ErrNotSetUp) {
		t.Errorf("not set up: %v", err)
	}
}

// A name or a summary with line breaks makes no header of its own.
func TestNobodyWritesHeaders(t *testing.T) {
	t.Parallel()
	for _, name := range []string{
		"Hill\r\nBcc: bob@evil.example", "Hill\nX-Evil: yes\n\nBody", "Hill\rSubject: other", "Hill\u2028X: y", "Hill\x00\x0bFarm", "=?utf-8?q?=0AX-Evil:_yes?=",
		`"Hill" <bob@evil.example>, `, strings.Repeat("Fraîche ", 100), "\xff\xfe",
	} {
		s := mailtest.Start(t, mail.StartTLS, "", "")
		o := newOutbox(reader("ann"))
		o.farms[0].Name = name
		r, _ := runnerAt(s, o, &headers{name}, at("05:31"))
		r.Pass(t.Context())
		got := s.Mails("")
		if len(got) != 1 {
			t.Fatalf("%q: %d mails: %+v", name, len(got), o.last(t, morningOf("ann")))
		}
		h, _, _ := parts(t, got[0].Raw)
		for k := range h {
			switch k {
			case "From", "To", "Subject", "Date", "Message-Id", "Mime-Version", "Content-Type", "Auto-Submitted", "List-Unsubscribe", "List-Unsubscribe-Post", "Received":
			default:
				t.Errorf("%q writes the header %s: %q", name, k, h[k])
			}
		}
		list, err := h.AddressList("From")
		if err != nil || len(list) != 1 || list[0].Address != "farm@hill.example" || len([]rune(list[0].Name)) > 100 || strings.ContainsAny(list[0].Name, "\r\n") {
			t.Errorf("%q: From %q, %v", name, h.Get("From"), err)
		}
		subject, err := new(mime.WordDecoder).DecodeHeader(h.Get("Subject"))
		if err != nil || len([]rune(subject)) > 150 || strings.ContainsAny(subject, "\r\n\x00\u2028") {
			t.Errorf("%q: the subject is %q, %v", name, subject, err)
		}
		for line := range strings.SplitSeq(strings.SplitN(string(got[0].Raw), "\r\n\r\n", 2)[0], "\r\n") {
			if len(line) > 998 { // RFC 5322 2.1.1.
				t.Errorf("%q: a line of %d bytes", name, len(line))
			}
		}
	}
}

// headers writes letters with a subject of its own.
type headers struct{ subject string }

func (w *headers) Morning(context.Context, forecast.Farm, time.Time, bool) (mail.Morning, bool, error) {
	return w, true, nil
}
func (w *headers) Letter(string) (mail.Letter, error) {
	return mail.Letter{Subject: w.subject, Text: "x", HTML: "x"}, nil
}
func (w *headers) Ask(forecast.Farm, string) (mail.Letter, error) { return w.Letter("") }
func (w *headers) Test(forecast.Farm) (mail.Letter, error)        { return w.Letter("") }

func TestPausesGrowAndDiffer(t *testing.T) {
	t.Parallel()
	for try, want := range []time.Duration{time.Minute, 2 * time.Minute, 4 * time.Minute, 8 * time.Minute, 16 * time.Minute, 30 * time.Minute, 30 * time.Minute} {
		for x, share := range map[float64]float64{0: 0.75, 0.5: 1, 1: 1.25} {
			if got := mail.Pause(try+1, x); got != time.Duration(share*float64(want)) {
				t.Errorf("after try %d, %g: %s, want %g of %s", try+1, x, got, share, want)
			}
		}
	}
}

func TestSettingsAreChecked(t *testing.T) {
	t.Parallel()
	good := mail.Settings{Server: "smtp.farm.example:587", From: "farm@hill.example", TLS: mail.StartTLS}
	for name, change := range map[string]func(s *mail.Settings){
		"":                   func(*mail.Settings) {},
		"RIPETIDE_SMTP \"":   func(s *mail.Settings) { s.Server = "smtp.farm.example" },
		"RIPETIDE_SMTP \":":  func(s *mail.Settings) { s.Server = ":587" },
		"host:port":          func(s *mail.Settings) { s.Server = "smtp.farm.example:0" },
		"RIPETIDE_SMTP_FROM": func(s *mail.Settings) { s.From = "farm" },
		"starttls, implicit": func(s *mail.Settings) { s.TLS = "maybe" },
		"this machine":       func(s *mail.Settings) { s.TLS = mail.Plain },
		"go together":        func(s *mail.Settings) { s.User = "ann" },
		"set both":           func(s *mail.Settings) { s.Password = "x" },
	} {
		s := good
		change(&s)
		if err := s.Validate(); (err == nil) != (name == "") || err != nil && !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, host := range []string{"localhost:25", "127.0.0.1:25", "[::1]:25"} {
		if err := (mail.Settings{Server: host, From: "farm@hill.example", TLS: mail.Plain}).Validate(); err != nil {
			t.Errorf("%s: %v", host, err)
		}
	}
	b, err := json.Marshal(map[string]string{"x": fmt.Sprint(mail.Secret("canary"))})
	if err != nil || strings.Contains(string(b), "canary") {
		t.Errorf("%s, %v", b, err)
	}
}

func TestThePublicAddressIsAnAddress(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"https://ripetide.farm.example": "https://ripetide.farm.example", "https://x.example/": "https://x.example", "http://10.0.0.7:8321": "http://10.0.0.7:8321",
		"": "", "ripetide.farm.example": "", "ftp://x.example": "", "https://": "", "https://x.example/path": "https://x.example/path", "https://x.example/farm/berries_2~a-b.c/": "https://x.example/farm/berries_2~a-b.c",
		"https://x.example/a//b": "", "https://x.example/../a": "", "https://x.example/a/.": "", "https://x.example/%61": "", "https://x.example/a%2fb": "", "https://x.example/a;b": "", "https://x.example/a\"b": "", "https://x.example/ä": "", "https://x.example/a?": "", "https://ann@x.example": "",
		"https://x.example?a=b": "", "https://x.example#a": "", "https://x.example\r\nX: y": "", "javascript:alert(1)": "", "https://x y.example": "",
	} {
		got, err := mail.ValidPublicURL(text)
		if got != want || (err == nil) != (want != "") {
			t.Errorf("%q: %q, %v, want %q", text, got, err, want)
		}
	}
}
