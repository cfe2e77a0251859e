package pages

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"ripetide/api"
	"ripetide/api/mail"
	"ripetide/forecast"
	"ripetide/weather"
)

// addMail adds the forms of the morning mail on the page of people, and the
// pages by which readers answer.
func (p *Pages) addMail() {
	p.post("/f/:farm/people/mail", api.Owner, p.askReader)
	p.post("/f/:farm/people/mail/test", api.Owner, p.testMail)
	p.post("/f/:farm/people/mail/:recipient/remove", api.Owner, p.removeReader)
	p.anybody(http.MethodGet, mail.ConfirmPath+":link", p.confirmForm)
	p.anybody(http.MethodPost, mail.ConfirmPath+":link", p.confirm)
	p.anybody(http.MethodGet, mail.LeavePath+":link", p.leaveForm)
	p.anybody(http.MethodPost, mail.LeavePath+":link", p.leave)
}

// peopleMail is the morning mail on the page of people.
type peopleMail struct {
	Lacks   string // What is missing in the settings; "": nothing.
	Readers []mailReader
	Past    []mailReader
	Ask     *formPage // Nil when nobody can be asked.
	Test    *formPage // Nil without a server.
	Done    string    // What was just done.
	Said    string    // What the server said to a test.
	Failed  bool      // The test failed.
}

type mailReader struct{ ID, Address, State, Last string }

// mailForm asks for an address.
func mailForm(v *visit, which, path, submit string) *form {
	f := newForm(v, "", submit, "")
	f.posted = f.posted && v.Path() == "/f/:farm/people/"+path
	f.add(field{Name: which + "_address", Label: "Mail address", Mode: "email"})
	return f
}

func askForm(v *visit) *form  { return mailForm(v, "ask", "mail", "Ask them") }
func testForm(v *visit) *form { return mailForm(v, "test", "mail/test", "Send a test") }

// mailOf tells of the morning mail of a farm.
func (p *Pages) mailOf(v *visit, ask, test *form) (m peopleMail, faulty bool, err error) {
	m.Done = map[string]string{"asked": "The question is on its way.", "known": "That address is on the list already.", "removed": "Nothing more is sent there."}[v.QueryParam("mail")]
	switch {
	case !p.Mail.SetUp():
		m.Lacks = "Mail is not set up. Whoever runs the service names a mail server in its settings (RIPETIDE_SMTP, see the README). Everything else works without."
	case !p.Mail.Linked():
		m.Lacks = "Nobody can be asked yet, and nothing but tests is sent: links in mails need the address of these pages, RIPETIDE_PUBLIC_URL in the settings of the service."
	}
	if p.Mail.SetUp() {
		faulty = test.faulty()
		m.Test = &test.page
	}
	if p.Mail.SetUp() && p.Mail.Linked() {
		faulty = ask.faulty() || faulty
		m.Ask = &ask.page
	}
	all, err := p.Store.Recipients(v.Request().Context(), v.farm.ID)
	if err != nil {
		return m, false, err
	}
	for _, r := range all {
		x := p.mailReader(v, api.NewRecipientOut(r, p.Now()))
		if r.EndedAt == nil {
			m.Readers = append(m.Readers, x)
		} else {
			m.Past = append(m.Past, x)
		}
	}
	return m, faulty, nil
}

// mailReader tells of a recipient in words.
func (p *Pages) mailReader(v *visit, r api.RecipientOut) mailReader {
	x := mailReader{ID: r.ID, Address: r.Address, Last: "nothing yet"}
	switch r.State {
	case "ended":
		x.State = "taken off " + DayYear(&v.farm, weather.DateIn(r.EndedAt.In(v.zone)))
		if r.EndedBy == forecast.ByReader {
			x.State = "left " + DayYear(&v.farm, weather.DateIn(r.EndedAt.In(v.zone)))
		}
	case "confirmed":
		x.State = "gets it"
	default:
		x.State = "asked " + DayYear(&v.farm, weather.DateIn(r.AskedAt.In(v.zone)))
	}
	if l := r.Last; l != nil {
		what := map[string]string{"ask": "question", "morning": "morning mail"}[l.Kind]
		x.Last = what + " " + api.TellMoment(v.farm, l.StartedAt) + ": " + outcomeWords[l.Outcome]
		if l.Outcome != string(forecast.MailSent) && l.Text != "" {
			x.Last += ". The server said: " + said(l.Code, l.Text)
			if l.Code == 0 {
				x.Last = strings.Replace(x.Last, "The server said: ", "", 1)
			}
		}
		if l.NextAt != nil {
			x.Last += " Again after " + api.TellMoment(v.farm, *l.NextAt) + "."
		}
	}
	return x
}

var outcomeWords = map[string]string{
	"sending": "under way", "sent": "sent", "later": "failed for now", "refused": "refused", "uncertain": "may have arrived; not sent again, so that none comes twice",
}

// said writes what a server said, with its code.
func said(code int, text string) string {
	if code == 0 {
		return sentence(text)
	}
	return sentence(strconv.Itoa(code) + " " + text)
}

// askReader has somebody asked whether they want the morning mail.
func (p *Pages) askReader(v *visit) error {
	f := askForm(v)
	_, created, err := api.AskRecipient(v.Request().Context(), p.Store, p.Mail, v.farm.ID, f.value("ask_address"), v.who.By(), p.Now())
	if errors.Is(err, mail.ErrNotSetUp) {
		return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/people#mail")
	}
	if err := f.refused(err, map[string]string{"address": "ask_address"}); err != nil {
		return err
	}
	if f.faulty() {
		return p.showPeopleMail(v, f, testForm(v), "", false)
	}
	done := "asked"
	if !created {
		done = "known"
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/people?mail="+done+"#mail")
}

// testMail sends a test and shows what the server said.
func (p *Pages) testMail(v *visit) error {
	f := testForm(v)
	a, err := p.Mail.Test(v.Request().Context(), v.farm, f.value("test_address"))
	switch {
	case errors.Is(err, mail.ErrNotSetUp):
		return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/people#mail")
	case errors.Is(err, mail.ErrTooMany):
		f.fault("", "That was the last of 20 tests within an hour. Try again later.")
	}
	if err := f.refused(err, map[string]string{"address": "test_address"}); err != nil && !errors.Is(err, mail.ErrTooMany) {
		return err
	}
	if f.faulty() {
		return p.showPeopleMail(v, askForm(v), f, "", false)
	}
	text := "The server took the test to " + f.value("test_address") + ". It said: " + said(a.Code, a.Text)
	if a.Outcome != forecast.MailSent {
		text = "The test to " + f.value("test_address") + " was not sent. The server said: " + said(a.Code, a.Text)
		if a.Code == 0 {
			text = "The test to " + f.value("test_address") + " was not sent: " + said(0, a.Text)
		}
	}
	return p.showPeopleMail(v, askForm(v), f, text, a.Outcome != forecast.MailSent)
}

// removeReader takes somebody off the list.
func (p *Pages) removeReader(v *visit) error {
	err := p.Store.EndRecipient(v.Request().Context(), v.farm.ID, v.Param("recipient"), v.who.By(), p.Now())
	if err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/people?mail=removed#mail")
}

// mailPage is a page by which a reader answers.
type mailPage struct {
	Heading, Text string
	Button        string // "" for none.
}

func (p *Pages) showMail(c echo.Context, status int, m mailPage) error {
	c.Response().Header().Set("Cache-Control", "no-store")
	return p.render(c, status, nil, "mail", m.Heading, m)
}

// farmOf names the farm of a recipient.
func (p *Pages) farmOf(c echo.Context, r forecast.Recipient) (string, error) {
	f, err := p.Store.Farm(c.Request().Context(), r.Farm)
	return f.Name, err
}

func (p *Pages) mailSpent(c echo.Context) error {
	return p.showMail(c, http.StatusGone, mailPage{Heading: "This link opens nothing", Text: "It is not whole, or it was too old. Whoever runs the farm can have you asked again."})
}

// confirmForm asks for a yes. Looking at it is none, for some programs look at
// every link they show.
func (p *Pages) confirmForm(c echo.Context) error {
	r, err := p.Store.Mailed(c.Request().Context(), api.HashKey(c.Param("link")), forecast.MailAsk)
	if errors.Is(err, forecast.ErrRecipientNotFound) || err == nil && (r.EndedAt != nil || r.ConfirmedAt == nil && p.Now().Sub(r.AskedAt) > mail.AskTime) {
		return p.mailSpent(c)
	}
	if err != nil {
		return err
	}
	farm, err := p.farmOf(c, r)
	if err != nil {
		return err
	}
	if r.ConfirmedAt != nil {
		return p.showMail(c, http.StatusOK, confirmed(farm, r))
	}
	return p.showMail(c, http.StatusOK, mailPage{
		"The morning mail of " + farm, "Each morning of the season it tells what is ripe, what moved and what needs doing. It goes to " + r.Address + " once you say yes. Each one has a link to stop it.", "Yes, send it to me",
	})
}

func confirmed(farm string, r forecast.Recipient) mailPage {
	return mailPage{Heading: "You get the morning mail of " + farm, Text: "It comes to " + r.Address + " each morning of the season, when the forecast is made. Each one has a link to stop it."}
}

// confirm takes a yes.
func (p *Pages) confirm(c echo.Context) error {
	if err := p.ours(c); err != nil {
		return err
	}
	now := p.Now()
	r, err := p.Store.ConfirmRecipient(c.Request().Context(), api.HashKey(c.Param("link")), now.Add(-mail.AskTime), now)
	if errors.Is(err, forecast.ErrRecipientNotFound) {
		return p.mailSpent(c)
	}
	if err != nil {
		return err
	}
	farm, err := p.farmOf(c, r)
	if err != nil {
		return err
	}
	p.Mail.Wake()
	return p.showMail(c, http.StatusOK, confirmed(farm, r))
}

// leaveForm asks whether somebody wants no more mail.
func (p *Pages) leaveForm(c echo.Context) error {
	r, err := p.Store.Mailed(c.Request().Context(), api.HashKey(c.Param("link")), forecast.MailMorning)
	if errors.Is(err, forecast.ErrRecipientNotFound) {
		return p.mailSpent(c)
	}
	if err != nil {
		return err
	}
	farm, err := p.farmOf(c, r)
	if err != nil {
		return err
	}
	if r.EndedAt != nil {
		return p.showMail(c, http.StatusOK, left(farm, r))
	}
	return p.showMail(c, http.StatusOK, mailPage{"No more morning mail?", "The morning mail of " + farm + " would not come to " + r.Address + " any more.", "No more of it"})
}

func left(farm string, r forecast.Recipient) mailPage {
	return mailPage{Heading: "No more morning mail", Text: "The morning mail of " + farm + " does not come to " + r.Address + " any more. To get it again, have somebody there ask you anew."}
}

// leave ends the mail, by the button of the form or at one click in a mail
// program, RFC 8058. The secret alone says who leaves: it needs no cookie, and
// mail programs in browsers send it from pages of their own.
func (p *Pages) leave(c echo.Context) error {
	r, err := p.Store.LeaveMail(c.Request().Context(), api.HashKey(c.Param("link")), p.Now())
	if errors.Is(err, forecast.ErrRecipientNotFound) {
		return p.mailSpent(c)
	}
	if err != nil {
		return err
	}
	farm, err := p.farmOf(c, r)
	if err != nil {
		return err
	}
	return p.showMail(c, http.StatusOK, left(farm, r))
}
