package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/http"
	netmail "net/mail"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/api/mail"
	"ripetide/api/mail/mailtest"
	"ripetide/forecast"
	"ripetide/weather"
)

// received is a mail as a reader's program takes it apart.
type received struct {
	netmail.Header
	text, html string
}

// receive reads a mail with the standard library, which did not write it.
func receive(t *testing.T, m mailtest.Mail) received {
	t.Helper()
	msg, err := netmail.ReadMessage(bytes.NewReader(m.Raw))
	if err != nil {
		t.Fatal(err)
	}
	kind, params, err := mime.ParseMediaType(msg.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("Content-Type %q, %v", msg.Header.Get("Content-Type"), err)
	}
	out := received{Header: msg.Header}
	r := multipart.NewReader(msg.Body, params["boundary"])
	for {
		p, err := r.NextRawPart()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(quotedprintable.NewReader(p))
		if err != nil {
			t.Fatal(err)
		}
		switch kind, _, _ := mime.ParseMediaType(p.Header.Get("Content-Type")); kind {
		case "text/plain":
			out.text = strings.ReplaceAll(string(b), "\r\n", "\n")
		case "text/html":
			out.html = string(b)
		default:
			t.Errorf("a part of %q", kind)
		}
	}
}

const publicURL = "https://ripetide.lanternfen.example"

// at returns the path of the one link of ours in a text.
func (m received) at(t *testing.T, path string) string {
	t.Helper()
	found := regexp.MustCompile(regexp.QuoteMeta(publicURL) + `(` + path + `[a-z2-7]{32})\b`).FindStringSubmatch(m.text)
	if found == nil || !strings.Contains(m.html, `href="`+found[0]+`"`) {
		t.Fatalf("no link to %s in both parts:\n%s\n%s", path, m.text, m.html)
	}
	return found[1]
}

// withMail starts the demo with a mail server, and a function that starts
// another instance of the program on the same database until the test ends.
func withMail(t *testing.T, clock *testClock) (s *service, server *mailtest.Server, again func()) {
	t.Helper()
	server = mailtest.Start(t, mail.StartTLS, "farm", "canary-password")
	dir := t.TempDir()
	ca, password := filepath.Join(dir, "ca.pem"), filepath.Join(dir, "password")
	if err := errors.Join(os.WriteFile(ca, server.PEM, 0o600), os.WriteFile(password, []byte("canary-password\n"), 0o600)); err != nil {
		t.Fatal(err)
	}
	s = newDemoServiceWith(t, clock.now, map[string]string{
		"RIPETIDE_PUBLIC_URL": publicURL + "/", "RIPETIDE_SMTP": server.Addr, "RIPETIDE_SMTP_FROM": "farm@lanternfen.example",
		"RIPETIDE_SMTP_USER": "farm", "RIPETIDE_SMTP_PASSWORD_FILE": password, "RIPETIDE_SMTP_CA": ca,
	})
	return s, server, func() {
		ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
		done := make(chan error, 1)
		go func() { done <- run(ctx, s.world(io.Discard), []string{"serve"}) }()
		t.Cleanup(func() {
			stop()
			if err := <-done; err != nil {
				t.Errorf("another instance: %v", err)
			}
		})
	}
}

// From an address that an owner types to the reader who leaves: asked, confirmed
// by the reader's own hand, sent each morning once across instances, told apart
// by nothing but their links, left at one click.
func TestTheMorningMail(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	morning := clock.now()
	clock.set(morning.Add(-40 * time.Minute)) // Five o'clock.
	s, server, again := withMail(t, clock)
	const path = "/v1/farms/lanternfen/mail"
	names := []string{"ann", "bob", "cem", "dot", "eve", "fay"}
	confirm := func(name string) string {
		t.Helper()
		to := name + "@reader.example"
		s.json(201, "POST", path+"/recipients", `{"address":" `+to+` "}`)
		ask := receive(t, server.Await(t, to, 1)[0])
		if ask.Get("Subject") != "Do you want the morning mail of Lanternfen Farm?" || ask.Get("List-Unsubscribe") != "" {
			t.Errorf("the question has %v", ask.Header)
		}
		return ask.at(t, mail.ConfirmPath)
	}
	links := map[string]string{}
	for _, n := range names {
		links[n] = confirm(n)
	}
	reader := newVisitor(t, s.base)
	// Programs that look at links say no yes.
	pageSays(t, "the question's page", reader.page(links["ann"]), "The morning mail of Lanternfen Farm", "ann@reader.example", "Yes, send it to me")
	if got := fmt.Sprint(s.json(200, "GET", path, "")["recipients"]); strings.Contains(got, "state:confirmed") || !strings.Contains(got, "state:asked") {
		t.Errorf("looked at, it is confirmed: %s", got)
	}
	for _, n := range names[:5] {
		_, body := reader.form(200, links[n])
		pageSays(t, "confirmed", body, "You get the morning mail of Lanternfen Farm", n+"@reader.example")
		reader.form(200, links[n]) // Again it changes nothing.
	}
	s.json(200, "POST", path+"/recipients", `{"address":"ANN@reader.example"}`)
	if n := len(server.Mails("")); n != len(names) {
		t.Errorf("at five %d mails are out, want the %d questions", n, len(names))
	}

	// At twenty to six two instances start at once and a third runs.
	clock.set(morning)
	again()
	again()
	var leave string
	for _, n := range names[:5] {
		m := server.Await(t, n+"@reader.example", 2)
		got := receive(t, m[1])
		if m[1].User != "farm" || !m[1].TLS {
			t.Errorf("sent by %q, encrypted %t", m[1].User, m[1].TLS)
		}
		link := got.at(t, mail.LeavePath)
		if got.Get("List-Unsubscribe") != "<"+publicURL+link+">" || got.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
			t.Errorf("%s: %v", n, got.Header)
		}
		if link == leave {
			t.Error("two readers have one link")
		}
		leave = link
	}
	// It says what the page says.
	owner := newVisitor(t, s.base)
	owner.signIn(s.key)
	got := receive(t, server.Mails("ann@reader.example")[1])
	page := owner.page("/f/lanternfen")
	checked := 0
	for _, line := range regexp.MustCompile(`(?s)<p class="sum">(.*?)</p>|<span class="name">(.*?)</span>|<li><a href="[^"]*"><b>(.*?)</b></a>|<li><b>(.*?)</b>|<h2 id="h-moved">(.*?)</h2>`).FindAllStringSubmatch(page, -1) {
		for _, part := range line[1:] {
			if part = strings.TrimSpace(plainText("<main>" + part)); part == "" {
				continue
			}
			checked++
			if !strings.Contains(strings.ToLower(got.text), strings.ToLower(part)) || !strings.Contains(plainText("<main>"+got.html), part) {
				t.Errorf("the page says %q and the mail does not:\n%s", part, got.text)
			}
		}
	}
	if checked < 8 {
		t.Errorf("only %d things of the page were looked for", checked)
	}
	for _, want := range []string{"Morning of Mon Jun 11, Lanternfen Farm", "OPENING", "estimate: walk the field", publicURL + "/f/lanternfen\n"} {
		if !strings.Contains(got.text, want) {
			t.Errorf("the mail does not say %q:\n%s", want, got.text)
		}
	}
	if sub := got.Get("Subject"); !strings.HasPrefix(sub, "Mon Jun 11. ") {
		t.Errorf("the subject is %q", sub)
	}

	// One click of a mail program, without a cookie and from elsewhere.
	res, body := reader.send("POST", leave, mail.OneClick, "Sec-Fetch-Site", "cross-site", "Origin", "https://webmail.example")
	pageSays(t, "left", body, "No more morning mail", "eve@reader.example")
	if res.StatusCode != http.StatusOK || res.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("%s, %v", res.Status, res.Header)
	}
	bobs := receive(t, server.Mails("bob@reader.example")[1]).at(t, mail.LeavePath)
	pageSays(t, "the page to leave by hand", reader.page(bobs), "No more morning mail?", "bob@reader.example", "No more of it")
	reader.form(200, bobs)
	pageSays(t, "left already", reader.page(bobs), "No more morning mail", "does not come to bob@reader.example any more")
	pageSays(t, "People", owner.page("/f/lanternfen/people"), "ann@reader.example gets it morning mail", "fay@reader.example asked Mon Jun 11, 2018", "Who gets none any more (2)", "eve@reader.example, left Mon Jun 11, 2018")
	list := s.json(200, "GET", path, "")["recipients"].([]any)
	for _, x := range list {
		x := x.(map[string]any)
		if x["address"] == "cem@reader.example" {
			s.call(204, "DELETE", path+"/recipients/"+x["id"].(string), "", "")
			s.call(404, "DELETE", path+"/recipients/"+x["id"].(string), "", "")
		}
		if last := x["last"].(map[string]any); last["outcome"] != "sent" || last["code"] != 250.0 {
			t.Errorf("%s: last %v", x["address"], last)
		}
	}

	// The next morning nobody makes a forecast: at seven yesterday's is sent, with
	// its age, to those who are left.
	clock.set(morning.Add(24*time.Hour + time.Hour)) // 6:40.
	again()
	time.Sleep(2 * time.Second) // For what must not happen there is nothing to wait for.
	clock.set(morning.Add(24*time.Hour + 90*time.Minute))
	again()
	got = receive(t, server.Await(t, "ann@reader.example", 3)[2])
	server.Await(t, "dot@reader.example", 3)
	if !strings.Contains(got.text, "No forecast is made for this morning yet. The newest is yesterday's, of Mon Jun 11.") || !strings.HasPrefix(got.Get("Subject"), "Tue Jun 12, by the forecast of Mon Jun 11. ") {
		t.Errorf("%v\n%s", got.Header, got.text)
	}
	if d, err := got.Date(); err != nil || d.Before(morning.Add(25*time.Hour+20*time.Minute)) {
		t.Errorf("sent %v, before seven; %v", d, err)
	}
	for i, want := range []int{3, 2, 2, 3, 2, 1} {
		if n := len(server.Mails(names[i] + "@reader.example")); n != want {
			t.Errorf("%s got %d mails, want %d", names[i], n, want)
		}
	}
}

// What the server says to a test is shown, by the page and by the API.
func TestTestMailShowsTheServersAnswer(t *testing.T) {
	t.Parallel()
	s, server, _ := withMail(t, newTestClock(t))
	const path, people = "/v1/farms/lanternfen/mail/test", "/f/lanternfen/people"
	owner := newVisitor(t, s.base)
	owner.signIn(s.key)
	if a := s.json(200, "POST", path, `{"address":"ann@reader.example"}`); a["outcome"] != "sent" || a["code"] != 250.0 || a["text"] != "2.0.0 OK: queued" {
		t.Errorf("%v", a)
	}
	_, body := owner.form(200, people+"/mail/test", "test_address", "ann@reader.example")
	pageSays(t, "the test", body, "The server took the test to ann@reader.example. It said: 250 2.0.0 OK: queued.")
	if got := receive(t, server.Mails("")[1]); !strings.Contains(got.text, "a test of the mail of Lanternfen Farm") {
		t.Errorf("the test says %s", got.text)
	}
	server.Reply(func(string, int) mailtest.Reply {
		return mailtest.Reply{Code: 550, Text: "No such <b>mailbox</b> here"}
	})
	if a := s.json(200, "POST", path, `{"address":"ann@reader.example"}`); a["outcome"] != "refused" || a["code"] != 550.0 || a["text"] != "No such <b>mailbox</b> here" {
		t.Errorf("%v", a)
	}
	_, body = owner.form(200, people+"/mail/test", "test_address", "ann@reader.example")
	pageSays(t, "the test", body, "The test to ann@reader.example was not sent. The server said: 550 No such <b>mailbox</b> here.")
	for _, bad := range []string{"", "ann", "ann@reader.example\r\nBcc: bob@reader.example"} {
		_, body = owner.form(422, people+"/mail/test", "test_address", bad)
		pageSays(t, "no address", body, "Mail address must")
		owner.form(422, people+"/mail", "ask_address", bad)
	}
	s.call(422, "POST", path, "application/json", `{"address":"ann@reader.example\r\nBcc: bob@reader.example"}`)
	// The question that is refused is not asked again, and the page says why.
	owner.form(303, people+"/mail", "ask_address", "ann@reader.example")
	for range 300 {
		if server.Tries("ann@reader.example") >= 5 {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	s.command("version") // Nothing of it needs mail.
	var page string
	for range 100 {
		if page = plainText(owner.page(people)); strings.Contains(page, "refused") {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if !strings.Contains(page, "ann@reader.example asked Mon Jun 11, 2018 question") || !strings.Contains(page, "refused. The server said: 550 No such <b>mailbox</b> here.") {
		t.Errorf("People: %s", page)
	}
	// Who may not, may not.
	key := s.key
	for _, role := range []string{"grower", "reader"} {
		s.key = strings.TrimSpace(s.command("key", "new", "--role", role, "--name", role, "--farm", "lanternfen"))
		s.call(403, "POST", path, "application/json", `{"address":"ann@reader.example"}`)
		s.call(403, "GET", "/v1/farms/lanternfen/mail", "", "")
	}
	s.key = key
}

// Nothing needs mail, and where there is none that is said.
func TestWithoutMailItIsSaid(t *testing.T) {
	t.Parallel()
	s, who := hillFarm(t, "us")
	owner := who["owner"]
	pageSays(t, "People", owner.page("/f/hill-farm/people"), "Mail is not set up.", "Everything else works without.")
	if m := s.json(200, "GET", "/v1/farms/hill-farm/mail", ""); m["set_up"] != false || m["linked"] != false {
		t.Errorf("%v", m)
	}
	for _, path := range []string{"/recipients", "/test"} {
		s.call(409, "POST", "/v1/farms/hill-farm/mail"+path, "application/json", `{"address":"ann@reader.example"}`)
	}
	owner.form(303, "/f/hill-farm/people/mail", "ask_address", "ann@reader.example")
	owner.form(303, "/f/hill-farm/people/mail/test", "test_address", "ann@reader.example")
	owner.form(404, "/f/hill-farm/people/mail/nobody/remove")
	for _, path := range []string{mail.ConfirmPath, mail.LeavePath} {
		for _, method := range []string{"GET", "POST"} {
			if res, body := owner.send(method, path+"nonsense", ""); res.StatusCode != http.StatusGone {
				t.Errorf("%s %s: %s %s", method, path, res.Status, plainText(body))
			}
		}
	}
}

func TestMailSettingsAreCheckedAtOnce(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(file, []byte("canary\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	read := func(pairs ...string) (*config, error) {
		env := map[string]string{"RIPETIDE_DATA": t.TempDir()}
		for i := 0; i < len(pairs); i += 2 {
			env[pairs[i]] = pairs[i+1]
		}
		return readConfig(func(k string) string { return env[k] })
	}
	c, err := read("RIPETIDE_SMTP", "smtp.farm.example:465", "RIPETIDE_SMTP_FROM", "a@farm.example", "RIPETIDE_SMTP_USER", "u", "RIPETIDE_SMTP_PASSWORD_FILE", file, "RIPETIDE_SMTP_TLS", "implicit", "RIPETIDE_PUBLIC_URL", "https://x.example/")
	if err != nil || c.PublicURL != "https://x.example" || c.Mail == nil || c.Mail.Password != "canary" || c.Mail.TLS != mail.Implicit {
		t.Errorf("%+v, %v", c, err)
	}
	if c, err := read(); err != nil || c.Mail != nil || c.PublicURL != "" {
		t.Errorf("%+v, %v", c, err)
	}
	for want, pairs := range map[string][]string{
		"RIPETIDE_SMTP is not":         {"RIPETIDE_SMTP_USER", "u"},
		"RIPETIDE_SMTP_FROM":           {"RIPETIDE_SMTP", "smtp.farm.example:587"},
		"RIPETIDE_SMTP \"x\"":          {"RIPETIDE_SMTP", "x", "RIPETIDE_SMTP_FROM", "a@farm.example"},
		"only for a server on this":    {"RIPETIDE_SMTP", "smtp.farm.example:25", "RIPETIDE_SMTP_FROM", "a@farm.example", "RIPETIDE_SMTP_TLS", "none"},
		"both set":                     {"RIPETIDE_SMTP", "smtp.farm.example:25", "RIPETIDE_SMTP_FROM", "a@farm.example", "RIPETIDE_SMTP_USER", "u", "RIPETIDE_SMTP_PASSWORD", "p", "RIPETIDE_SMTP_PASSWORD_FILE", file},
		"RIPETIDE_SMTP_PASSWORD_FILE:": {"RIPETIDE_SMTP", "smtp.farm.example:25", "RIPETIDE_SMTP_FROM", "a@farm.example", "RIPETIDE_SMTP_USER", "u", "RIPETIDE_SMTP_PASSWORD_FILE", file + "x"},
		"no certificate":               {"RIPETIDE_SMTP", "smtp.farm.example:25", "RIPETIDE_SMTP_FROM", "a@farm.example", "RIPETIDE_SMTP_CA", file},
		"RIPETIDE_PUBLIC_URL":          {"RIPETIDE_PUBLIC_URL", "x.example"},
	} {
		if _, err := read(pairs...); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "canary") {
			t.Errorf("%v: %v, want %q", pairs, err, want)
		}
	}
}

// mailers returns what so many instances of the program send mail by, each with a
// pool of its own, and lets so many readers have said yes.
func mailers(t *testing.T, s *service, now func() time.Time, instances, readers int) (out []*mail.Runner) {
	t.Helper()
	c, err := readConfig(func(k string) string { return s.env[k] })
	if err != nil {
		t.Fatal(err)
	}
	ctx := t.Context()
	for range instances {
		o, err := open(ctx, c, mainDatabase, nil)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { o.close(context.WithoutCancel(ctx)) })
		w := s.world(io.Discard)
		w.Now = now
		out = append(out, newMailer(w, c, o.Store, slog.New(slog.DiscardHandler)))
		if len(out) > 1 {
			continue
		}
		then := now().Add(-time.Hour)
		for i := range readers {
			r := forecast.Recipient{ID: fmt.Sprint("r", i), Farm: "lanternfen", Address: fmt.Sprintf("r%d@reader.example", i), AskedAt: then, AskedBy: "test"}
			_, _, err := o.AskRecipient(ctx, r)
			k := forecast.MailKey{Farm: r.Farm, Recipient: r.ID, Kind: forecast.MailAsk, Day: weather.DateIn(then)}
			secret := [32]byte{byte(i), 1}
			_, _, err2 := o.ClaimMail(ctx, k, secret, then)
			_, err3 := o.ConfirmRecipient(ctx, secret, then.Add(-time.Second), then)
			if err := errors.Join(err, err2, err3); err != nil {
				t.Fatal(err)
			}
		}
	}
	return out
}

// Many instances on one database, at the same moment: each mail goes out once.
func TestManyInstancesSendEachMailOnce(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	at := clock.now()
	clock.set(at.Add(-time.Hour)) // The instance that serves sends nothing yet.
	s, server, _ := withMail(t, clock)
	const readers = 25
	all := mailers(t, s, func() time.Time { return at }, 3, readers)
	for range 2 {
		var wg sync.WaitGroup
		for _, m := range all {
			wg.Go(func() { m.Pass(t.Context()) })
		}
		wg.Wait()
	}
	for i := range readers {
		if n := server.Tries(fmt.Sprintf("r%d@reader.example", i)); n != 1 {
			t.Errorf("r%d was sent %d mails", i, n)
		}
	}
}

// An instance that dies while it sends leaves a mail that may have arrived:
// nobody sends it again that day, and the next day is another.
func TestAMailThatMayHaveArrivedIsNotSentAgain(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	at := clock.now()
	clock.set(at.Add(-time.Hour))
	s, server, _ := withMail(t, clock)
	m := mailers(t, s, func() time.Time { return at }, 1, 2)[0]
	k := forecast.MailKey{Farm: "lanternfen", Recipient: "r0", Kind: forecast.MailMorning, Day: weather.DateIn(at)}
	if _, got, err := m.Store.ClaimMail(t.Context(), k, [32]byte{9}, at); err != nil || !got { // And then it died.
		t.Fatal(got, err)
	}
	m.Pass(t.Context())
	if a, b := server.Tries("r0@reader.example"), server.Tries("r1@reader.example"); a != 0 || b != 1 {
		t.Errorf("%d and %d mails", a, b)
	}
	clock.set(at.Add(5 * time.Minute))
	got := fmt.Sprint(s.json(200, "GET", "/v1/farms/lanternfen/mail", "")["recipients"])
	if !strings.Contains(got, "outcome:uncertain started_at:2018-06-11") || !strings.Contains(got, "the service stopped while it was being sent") {
		t.Errorf("recipients %s", got)
	}
	at = at.Add(24*time.Hour + 2*time.Hour)
	m.Pass(t.Context())
	if n := server.Tries("r0@reader.example"); n != 1 {
		t.Errorf("the next day: %d mails", n)
	}
}

func TestThereIsNoMailOutOfSeason(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	at := clock.now()
	clock.set(at.Add(-time.Hour))
	s, server, _ := withMail(t, clock)
	m := mailers(t, s, func() time.Time { return at }, 1, 1)[0]
	morning := at
	for what, then := range map[string]time.Time{
		"before the morning": morning.Add(-20 * time.Minute), "at noon": morning.Add(7 * time.Hour), "when the season is over": morning.AddDate(0, 2, 0),
		"in the next season": morning.AddDate(1, 0, 0).Add(2 * time.Hour),
	} {
		at = then
		m.Pass(t.Context())
		if n := len(server.Mails("")); n != 0 {
			t.Errorf("%s: %d mails", what, n)
		}
	}
	at = morning
	m.Public = ""
	m.Pass(t.Context())
	if n := len(server.Mails("")); n != 0 {
		t.Errorf("without an address for links: %d mails", n)
	}
	m.Public = publicURL
	m.Pass(t.Context())
	if n := len(server.Mails("")); n != 1 {
		t.Errorf("in the morning: %d mails", n)
	}
}
