package pages

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// Access keeps keys: who may act on a farm, or on all of the installation.
type Access interface {
	// AllKeys returns the keys of a farm and those of the installation, the
	// oldest first, also those that open nothing any more.
	AllKeys(ctx context.Context, farm string, at time.Time) ([]Key, error)
	// MakeKey makes a key of a farm for a program and returns it; it is not
	// kept. Errors: [forecast.ErrFarmNotFound].
	MakeKey(ctx context.Context, farm, name string, role api.Role, at time.Time) (secret string, err error)
	// Invite makes a sign-in link, a path, for a person of a farm. Somebody of
	// that name and role who is there already is invited again. Errors:
	// [forecast.ErrFarmNotFound].
	Invite(ctx context.Context, farm, name string, role api.Role, by string, at, until time.Time) (path string, err error)
	// InviteAgain makes a sign-in link for a key.
	InviteAgain(ctx context.Context, keyID, by string, at, until time.Time) (path string, err error)
	// LastOwner reports whether a key must stay, for without it nobody could sign
	// in as an owner of a farm that it opens.
	LastOwner(ctx context.Context, keyID string) (bool, error)
	// Revoke makes a key of a farm, or with "" of the installation or any farm,
	// open nothing any more. Errors: [ErrKeyNotFound]; [ErrLastOwner].
	Revoke(ctx context.Context, farm, keyID string, at time.Time) error
}

// ErrKeyNotFound is a key that does not exist, or is not of the farm; match
// with [errors.Is].
var ErrKeyNotFound = errors.New("pages: key not found")

// ErrLastOwner is a key without which nobody could sign in as an owner; match
// with [errors.Is].
var ErrLastOwner = errors.New("pages: no other owner can sign in")

// Key is a key as people are shown it.
type Key struct {
	ID        string
	Name      string
	Role      api.Role
	Farm      string // "": the installation.
	MadeAt    time.Time
	UsedAt    *time.Time // By a program or in a browser; nil: never.
	LinkUntil *time.Time // Until when an unused sign-in link opens; nil: there is none.
	ExpiresAt *time.Time
	RevokedAt *time.Time
}

// valid reports whether k opens anything at an instant.
func (k Key) valid(at time.Time) bool {
	return k.RevokedAt == nil && (k.ExpiresAt == nil || at.Before(*k.ExpiresAt))
}

// inviteTime is how long an invitation may be used.
const inviteTime = 7 * 24 * time.Hour

// addPeople adds the pages of who may do what.
func (p *Pages) addPeople() {
	p.page(http.MethodGet, "/f/:farm/people", api.Owner, p.people)
	p.page(http.MethodGet, "/f/:farm/people/changes", api.Owner, p.changes)
	p.post("/f/:farm/people/invite", api.Owner, p.invite)
	p.post("/f/:farm/people/key", api.Owner, p.makeKey)
	p.post("/f/:farm/people/:key/link", api.Owner, p.inviteAgain)
	p.page(http.MethodGet, "/f/:farm/people/:key/revoke", api.Owner, p.askRevoke)
	p.post("/f/:farm/people/:key/revoke", api.Owner, p.revoke)
}

type peoplePage struct {
	People []person
	Past   []person // Who opens nothing any more.
	Invite formPage
	Key    formPage
	Mail   peopleMail
}

type person struct {
	ID, Name, Role, For string
	Made, Used, State   string
	You, Valid          bool
}

// keysFor returns the keys that a visitor may see: their farm's and, if they
// are of the installation, the installation's.
func (p *Pages) keysFor(v *visit) ([]Key, error) {
	keys, err := p.Access.AllKeys(v.Request().Context(), v.farm.ID, p.Now())
	if err != nil || v.who.Farm == "" {
		return keys, err
	}
	return slices.DeleteFunc(keys, func(k Key) bool { return k.Farm == "" }), nil
}

// people shows who has access.
func (p *Pages) people(v *visit) error {
	return p.showPeople(v, p.inviteForm(v), p.keyForm(v))
}

func (p *Pages) showPeople(v *visit, invite, key *form) error {
	return p.showPeoplePage(v, invite, key, askForm(v), testForm(v), "", false)
}

// showPeopleMail shows the page after a form of the mail; said is what a server
// said to a test.
func (p *Pages) showPeopleMail(v *visit, ask, test *form, said string, failed bool) error {
	return p.showPeoplePage(v, p.inviteForm(v), p.keyForm(v), ask, test, said, failed)
}

func (p *Pages) showPeoplePage(v *visit, invite, key, ask, test *form, said string, failed bool) error {
	keys, err := p.keysFor(v)
	if err != nil {
		return err
	}
	var page peoplePage
	for _, k := range keys {
		x := p.person(v, k)
		if x.Valid {
			page.People = append(page.People, x)
		} else {
			page.Past = append(page.Past, x)
		}
	}
	var faulty bool
	if page.Mail, faulty, err = p.mailOf(v, ask, test); err != nil {
		return err
	}
	page.Mail.Said, page.Mail.Failed = said, failed
	status := http.StatusOK
	if invite.faulty() || key.faulty() || faulty {
		status = http.StatusUnprocessableEntity
	}
	page.Invite, page.Key = invite.page, key.page
	return p.render(v, status, v, "people", "People", page)
}

// person tells of a key in words.
func (p *Pages) person(v *visit, k Key) person {
	now := p.Now()
	day := func(t time.Time) string { return DayYear(&v.farm, weather.DateIn(t.In(v.zone))) }
	x := person{
		ID: k.ID, Name: k.Name, Role: string(k.Role), For: "this farm", Made: day(k.MadeAt), Used: "never", State: "in use",
		You: k.ID == v.who.KeyID, Valid: k.valid(now),
	}
	if k.Farm == "" {
		x.For = "all farms here"
	}
	if k.UsedAt != nil {
		x.Used = ago(now, *k.UsedAt)
	}
	switch {
	case k.RevokedAt != nil:
		x.State = "revoked " + day(*k.RevokedAt)
	case !x.Valid:
		x.State = "expired " + day(*k.ExpiresAt)
	case k.UsedAt == nil && k.LinkUntil != nil:
		x.State = "invited, until " + day(*k.LinkUntil)
	case k.UsedAt == nil:
		x.State = "not used yet"
	}
	if x.Valid && k.ExpiresAt != nil {
		x.State += ", until " + day(*k.ExpiresAt)
	}
	return x
}

func roleChoices() []optionGroup {
	return choices("", "Choose", "owner", "Owner: sets up, invites and records", "grower", "Grower: records and makes forecasts", "reader", "Reader: reads")
}

// inviteForm asks whom to invite.
func (p *Pages) inviteForm(v *visit) *form { return personForm(v, "invite", "Make the link") }

// keyForm asks for which program a key is.
func (p *Pages) keyForm(v *visit) *form { return personForm(v, "key", "Make the key") }

func personForm(v *visit, which, submit string) *form {
	f := newForm(v, "", submit, "")
	f.posted = f.posted && v.Path() == "/f/:farm/people/"+which
	f.add(field{Name: which + "_name", Label: "Name"})
	f.add(field{Name: which + "_role", Label: "What they may do", Kind: "select", Groups: roleChoices()})
	return f
}

// person reads a name and a role.
func (f *form) person(which string) (name string, role api.Role) {
	name, role = f.value(which+"_name"), api.Role(f.value(which+"_role"))
	f.fault(which+"_name", forecast.ValidName(name))
	if role != api.Owner && role != api.Grower && role != api.Reader {
		f.fault(which+"_role", "must be chosen")
	}
	return name, role
}

// oncePage shows a secret once.
type oncePage struct {
	Heading, Text string
	Note          string // What is not as one might expect; "".
	Label, Secret string
	Link          bool
	Until         string
}

// invite makes a link for a person.
func (p *Pages) invite(v *visit) error {
	f := p.inviteForm(v)
	name, role := f.person("invite")
	if f.faulty() {
		return p.showPeople(v, f, p.keyForm(v))
	}
	now := p.Now()
	keys, err := p.keysFor(v)
	if err != nil {
		return err
	}
	// Somebody of that name and role is the same person: said, for it may be a
	// namesake.
	known := slices.ContainsFunc(keys, func(k Key) bool {
		return k.Farm == v.farm.ID && k.Name == name && k.Role == role && k.valid(now)
	})
	path, err := p.Access.Invite(v.Request().Context(), v.farm.ID, name, role, v.who.By(), now, now.Add(inviteTime))
	if err != nil {
		return err
	}
	return p.showLink(v, name, path, now, known)
}

// showLink shows a link for a person; known: who is on the list already.
func (p *Pages) showLink(v *visit, name, path string, now time.Time, known bool) error {
	page := oncePage{
		Heading: "A link for " + name, Label: "The link", Secret: v.Scheme() + "://" + v.Request().Host + p.API.Mounted(path), Link: true,
		Until: DayYear(&v.farm, weather.DateIn(now.Add(inviteTime).In(v.zone))),
		Text:  "Send it to " + name + " and to nobody else: whoever opens it first is signed in. It works once.",
	}
	if known {
		page.Note = name + " is on the list with this role already, so this is another way in for the same person. For a namesake, invite them by another name."
	}
	return p.showOnce(v, page)
}

// makeKey makes a key for a program.
func (p *Pages) makeKey(v *visit) error {
	f := p.keyForm(v)
	name, role := f.person("key")
	if f.faulty() {
		return p.showPeople(v, p.inviteForm(v), f)
	}
	secret, err := p.Access.MakeKey(v.Request().Context(), v.farm.ID, name, role, p.Now())
	if err != nil {
		return err
	}
	return p.showOnce(v, oncePage{
		Heading: "An access key for " + name, Label: "The key", Secret: secret,
		Text: "A program sends it with each request as “Authorization: Bearer …”; the reference is at " + p.API.Mounted("/reference") + ". It works until it is revoked.",
	})
}

func (p *Pages) showOnce(v *visit, page oncePage) error {
	v.Response().Header().Set("Cache-Control", "no-store")
	return p.render(v, http.StatusOK, v, "people-once", page.Heading, page)
}

// visible finds a key that a visitor may see and that opens something.
func (p *Pages) visible(v *visit) (Key, error) {
	keys, err := p.keysFor(v)
	if err != nil {
		return Key{}, err
	}
	i := slices.IndexFunc(keys, func(k Key) bool { return k.ID == v.Param("key") && k.valid(p.Now()) })
	if i < 0 {
		return Key{}, ErrKeyNotFound
	}
	return keys[i], nil
}

// inviteAgain makes another link for somebody who is there.
func (p *Pages) inviteAgain(v *visit) error {
	k, err := p.visible(v)
	if err != nil {
		return p.noSuchKey(v, err)
	}
	now := p.Now()
	path, err := p.Access.InviteAgain(v.Request().Context(), k.ID, v.who.By(), now, now.Add(inviteTime))
	if err != nil {
		return err
	}
	return p.showLink(v, k.Name, path, now, false)
}

type revokePage struct {
	Key  person
	Last bool // It must stay.
}

// askRevoke asks before a key is revoked.
func (p *Pages) askRevoke(v *visit) error {
	k, err := p.visible(v)
	if err != nil {
		return p.noSuchKey(v, err)
	}
	last, err := p.Access.LastOwner(v.Request().Context(), k.ID)
	if err != nil {
		return err
	}
	return p.renderRevoke(v, http.StatusOK, k, last)
}

func (p *Pages) renderRevoke(v *visit, status int, k Key, last bool) error {
	return p.render(v, status, v, "people-revoke", "Revoke "+k.Name, revokePage{p.person(v, k), last})
}

// revoke revokes a key, unless nobody were left to sign in as an owner.
func (p *Pages) revoke(v *visit) error {
	k, err := p.visible(v)
	if err != nil {
		return p.noSuchKey(v, err)
	}
	err = p.Access.Revoke(v.Request().Context(), k.Farm, k.ID, p.Now())
	switch {
	case errors.Is(err, ErrLastOwner):
		return p.renderRevoke(v, http.StatusConflict, k, true)
	case err != nil:
		return p.noSuchKey(v, err)
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/people")
}

// noSuchKey answers that a key is not there as a page.
func (p *Pages) noSuchKey(v *visit, err error) error {
	if !errors.Is(err, ErrKeyNotFound) {
		return err
	}
	return p.render(v, http.StatusNotFound, v, "message", "Not found", message{"There is no such key, or it was revoked already."})
}
