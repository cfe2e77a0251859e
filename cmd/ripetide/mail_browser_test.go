package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ripetide/api/mail"
	"ripetide/api/mail/mailtest"
)

// The pages of the morning mail, and the mail itself, are looked at as all
// pages are.
func TestMailPagesInABrowser(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	axe, err := os.ReadFile("../../testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	s, server, _ := withMail(t, newTestClock(t))
	server.Reply(func(to string, _ int) mailtest.Reply {
		switch to {
		case "bob@elsewhere.example":
			return mailtest.Reply{Code: 550, Text: "There is no such mailbox here, and there never was one; see https://mail.example/why/550-5.1.1"}
		case "cem@slow.example":
			return mailtest.Reply{Code: 451, Text: "Come back later"}
		}
		return mailtest.Reply{}
	})
	const path, people = "/v1/farms/lanternfen/mail/recipients", "/f/lanternfen/people"
	owner := newVisitor(t, s.base)
	owner.signIn(s.key)
	ask := func(address string) { s.json(201, "POST", path, fmt.Sprintf(`{"address":%q}`, address)) }
	ask("ann@reader.example")
	confirm := receive(t, server.Await(t, "ann@reader.example", 1)[0]).at(t, mail.ConfirmPath)
	owner.form(200, confirm)
	got := receive(t, server.Await(t, "ann@reader.example", 2)[1])
	ask("a-rather-long-mailbox-name.of.somebody@with-a-long-domain.reader.example")
	ask("bob@elsewhere.example")
	ask("cem@slow.example")
	for range 300 {
		if server.Tries("bob@elsewhere.example")+server.Tries("cem@slow.example") >= 2 {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	ask("dot@reader.example")
	asked := receive(t, server.Await(t, "dot@reader.example", 1)[0]).at(t, mail.ConfirmPath)

	b := newBrowserFor(t, s, 3*time.Minute)
	g := &gallery{b: b, axe: string(axe)}
	g.look(t, "mail-asked", asked, 200)
	g.look(t, "mail-confirmed", confirm, 200)
	g.look(t, "mail-leave", got.at(t, mail.LeavePath), 200)
	g.look(t, "mail-nonsense", mail.LeavePath+"nonsense", 410)
	b.signIn(s, "Noor", "owner")
	g.look(t, "mail", people, 200)
	g.send(t, "mail", "mail test", sent{on: people, to: people + "/mail/test", fields: []string{"test_address", "bob@elsewhere.example"}})
	g.send(t, "mail", "mail test wrong", sent{on: people, to: people + "/mail/test", fields: []string{"test_address", "bob"}, status: 422})
	g.send(t, "mail", "mail asked", sent{on: people, to: people + "/mail", fields: []string{"ask_address", "eve@reader.example"}})
	if *pagesFolder != "" {
		if err := os.WriteFile(filepath.Join(*pagesFolder, "letter.html"), []byte(got.html), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
