package main

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
)

var secretField = regexp.MustCompile(`id="secret" readonly value="([^"]+)"`)

// secret reads what a page shows once.
func secret(t *testing.T, page string) string {
	t.Helper()
	m := secretField.FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("the page shows no secret: %s", plainText(page))
	}
	return m[1]
}

// revokeLink finds where somebody is revoked.
func revokeLink(t *testing.T, page, name string) string {
	t.Helper()
	m := regexp.MustCompile(`href="(/f/[a-z-]+/people/\w+/revoke)" aria-label="Revoke ` + name + `,`).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("%s cannot be revoked: %s", name, plainText(page))
	}
	return m[1]
}

// revokeReader finds where Noor who reads is revoked.
func revokeReader(t *testing.T, page string) string {
	t.Helper()
	m := regexp.MustCompile(`href="(/f/[a-z-]+/people/\w+/revoke)" aria-label="Revoke Noor, reader`).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("the reader cannot be revoked: %s", plainText(page))
	}
	return m[1]
}

func TestPeopleAreInvitedAndRevoked(t *testing.T) {
	t.Parallel()
	s, who := hillFarm(t, "us")
	v := who["owner"]
	const people = "/f/hill-farm/people"
	page := v.page(people)
	pageSays(t, "People", page, "owner you owner this farm Mon Jun 11, 2018 just now in use", "grower grower this farm")
	for _, other := range []string{"installation", "stranger", "all farms here"} {
		if strings.Contains(plainText(page), other) {
			t.Errorf("an owner of the farm sees %q: %s", other, plainText(page))
		}
	}
	pageSays(t, "People for the installation", who["installation"].page(people), "installation you owner all farms here", "test owner all farms here")

	// Faults stay beside their fields.
	_, body := v.form(422, people+"/invite", "invite_name", " ", "invite_role", "king")
	pageSays(t, "an invitation with faults", body, "Name must not be empty", "What they may do must be chosen")
	_, body = v.form(422, people+"/key", "key_name", "Logger <1>", "key_role", "")
	pageHolds(t, "a key with faults", body, `value="Logger &lt;1&gt;"`)

	// An invitation opens once, as what it says, and nowhere else.
	_, body = v.form(200, people+"/invite", "invite_name", "Noor", "invite_role", "grower")
	link := secret(t, body)
	pageSays(t, "the invitation", body, "A link for Noor", "may be used until Mon Jun 18, 2018")
	if !strings.HasPrefix(link, s.base+"/sign-in/") {
		t.Errorf("the link is %s", link)
	}
	pageSays(t, "People", v.page(people), "Noor grower this farm Mon Jun 11, 2018 never invited, until Mon Jun 18, 2018")
	noor := newVisitor(t, s.base)
	noor.useLink(link)
	pageSays(t, "the Book for Noor", noor.page("/f/hill-farm/book"), "Enter in a table")
	if res, _ := noor.send("GET", people, ""); res.StatusCode != http.StatusForbidden {
		t.Errorf("a grower sees People: %s", res.Status)
	}
	if res, _ := noor.send("GET", "/f/far/book", ""); res.StatusCode != http.StatusNotFound {
		t.Errorf("another farm: %s", res.Status)
	}
	if res, _ := newVisitor(t, s.base).send("POST", strings.TrimPrefix(link, s.base), ""); res.StatusCode != http.StatusGone {
		t.Errorf("the link again: %s", res.Status)
	}
	pageSays(t, "People", v.page(people), "Noor grower this farm Mon Jun 11, 2018 just now in use")
	if strings.Contains(plainText(body), "already") {
		t.Errorf("Noor, who was nobody, is on the list already: %s", plainText(body))
	}
	_, body = v.form(200, people+"/invite", "invite_name", "Noor", "invite_role", "grower")
	pageSays(t, "the same name again", body, "Noor is on the list with this role already")
	_, body = v.form(200, people+"/invite", "invite_name", "Noor", "invite_role", "reader")
	if strings.Contains(plainText(body), "already") {
		t.Errorf("in another role Noor is somebody else: %s", plainText(body))
	}
	v.form(303, revokeReader(t, v.page(people)))

	// Another link signs the same person in; revoked, all of it ends at once.
	again := regexp.MustCompile(`action="(/f/hill-farm/people/\w+/link)"><button class="quiet small" aria-label="New link for Noor`).FindStringSubmatch(v.page(people))
	if again == nil {
		t.Fatal("Noor cannot have another link")
	}
	_, body = v.form(200, again[1])
	second := secret(t, body)
	path := revokeLink(t, v.page(people), "Noor")
	pageSays(t, "the question", v.page(path), "Revoke Noor?", "whoever is signed in by it is signed out")
	v.form(303, path)
	if res, _ := noor.send("GET", "/f/hill-farm/book", ""); res.StatusCode != http.StatusSeeOther {
		t.Errorf("Noor still reads: %s", res.Status)
	}
	if res, _ := newVisitor(t, s.base).send("GET", strings.TrimPrefix(second, s.base), ""); res.StatusCode != http.StatusGone {
		t.Errorf("the link of somebody revoked: %s", res.Status)
	}
	pageSays(t, "People", v.page(people), "Who has no access any more (2)", "revoked Mon Jun 11, 2018")
	v.form(404, path)

	// A key for a program is shown once and works for this farm.
	res, body := v.send("POST", people+"/key", "key_name=Logger&key_role=grower")
	if got := res.Header.Get("Cache-Control"); got != "no-store" {
		t.Errorf("a page with a secret may be kept: %q", got)
	}
	key := secret(t, body)
	if strings.Contains(v.page(people), key) {
		t.Error("the key is shown again")
	}
	was := s.key
	s.key = key
	s.json(200, "GET", "/v1/farms/hill-farm", "")
	s.json(404, "GET", "/v1/farms/far", "")
	s.key = was
	pageSays(t, "People", v.page(people), "Logger grower this farm Mon Jun 11, 2018 just now in use")
}

func TestTheLastOwnerStays(t *testing.T) {
	t.Parallel()
	s := newServiceAt(t, inJune)
	s.json(201, "PUT", "/v1/farms/hill-farm", `{"name":"Hill Farm","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":"us"}`)
	s.json(201, "PUT", "/v1/farms/far", `{"name":"Far","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	const people = "/f/hill-farm/people"
	ann := newVisitor(t, s.base)
	ann.useLink(s.command("link", "--name", "Ann", "--farm", "hill-farm"))
	// An owner elsewhere, one who was revoked, and one who never came do not count.
	far := newVisitor(t, s.base)
	far.useLink(s.command("link", "--name", "Far", "--farm", "far"))
	s.command("link", "--name", "Bob", "--farm", "hill-farm")
	s.command("key", "revoke", strings.TrimPrefix(s.key, "ripetide-")[:8])

	path := revokeLink(t, ann.page(people), "Ann")
	pageSays(t, "the question", ann.page(path), "Ann is the last owner who can sign in, so this stays.", "ripetide link")
	_, body := ann.form(409, path)
	pageSays(t, "the refusal", body, "Nothing was changed.")
	ann.page(people)
	// One who never came may go, and so may another farm's nothing of this one's.
	ann.form(303, revokeLink(t, ann.page(people), "Bob"))
	for _, v := range []*visitor{far} {
		if res, _ := v.send("POST", path, ""); res.StatusCode != http.StatusNotFound {
			t.Errorf("an owner of another farm revokes: %s", res.Status)
		}
	}
	// Once another owner has signed in, the first may go, even by their own hand.
	_, body = ann.form(200, people+"/invite", "invite_name", "Cem", "invite_role", "owner")
	ann.form(409, path)
	cem := newVisitor(t, s.base)
	cem.useLink(secret(t, body))
	pageSays(t, "the question", ann.page(path), "This is you: you will be signed out.")
	ann.form(303, path)
	if res, _ := ann.send("GET", people, ""); res.StatusCode != http.StatusSeeOther {
		t.Errorf("Ann is still signed in: %s", res.Status)
	}
	cem.form(409, revokeLink(t, cem.page(people), "Cem"))
}

func TestAnOwnerOfAFarmCannotRevokeTheInstallation(t *testing.T) {
	t.Parallel()
	s, who := hillFarm(t, "us")
	path := "/f/hill-farm/people/" + strings.TrimPrefix(s.key, "ripetide-")[:8] + "/revoke"
	who["owner"].form(404, path)
	who["owner"].form(404, strings.TrimSuffix(path, "revoke")+"link")
	who["installation"].form(303, path)
	key := s.key
	s.key = key
	s.json(401, "GET", "/v1/farms", "")
	// A page of another site changes nothing.
	if res, _ := who["installation"].send("POST", "/f/hill-farm/people/invite", "invite_name=Eve&invite_role=owner", "Sec-Fetch-Site", "cross-site"); res.StatusCode != http.StatusForbidden {
		t.Errorf("another site invites: %s", res.Status)
	}
}
