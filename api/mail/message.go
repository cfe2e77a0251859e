package mail

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	gomail "github.com/wneessen/go-mail"
)

const (
	mostName    = 100     // Characters of a name in a header.
	mostSubject = 150     // Characters.
	mostBody    = 200_000 // Bytes of either part. No morning comes near.
)

// Letter is what somebody reads.
type Letter struct {
	Subject    string
	Text, HTML string
}

// message is a letter on its way.
type message struct {
	Letter
	fromName string // Of the farm.
	to       string
	id       string // Without brackets; the same at each try.
	leave    string // Address at which the reader leaves; "": there is nothing to leave.
	at       time.Time
}

// build makes what is sent.
func (c *Client) build(m message) (*gomail.Msg, error) {
	out := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	if err := out.From(address(m.fromName, c.settings.From)); err != nil {
		return nil, err
	}
	if err := out.To(m.to); err != nil {
		return nil, err
	}
	out.Subject(header(m.Subject, mostSubject))
	out.SetDateWithValue(m.at)
	out.SetMessageIDWithValue(m.id)
	// Nobody's absence note shall come back, RFC 3834.
	out.SetGenHeader("Auto-Submitted", "auto-generated")
	if m.leave != "" {
		// As it is: folded before its only word, some programs do not see it.
		out.SetGenHeaderPreformatted(gomail.HeaderListUnsubscribe, "<"+m.leave+">")
		if strings.HasPrefix(m.leave, "https://") { // RFC 8058 wants it for no other.
			out.SetGenHeader(gomail.HeaderListUnsubscribePost, OneClick)
		}
	}
	out.SetBodyString(gomail.TypeTextPlain, bounded(m.Text))
	out.AddAlternativeString(gomail.TypeTextHTML, bounded(m.HTML))
	return out, nil
}

// OneClick is what a mail program posts to leave at one click, RFC 8058.
const OneClick = "List-Unsubscribe=One-Click"

// oneLine puts a text on one line, so that it cannot end a header, and shortens
// it to so many characters.
func oneLine(s string, most int) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r)
	}), " ")
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return strings.TrimSpace(string([]rune(s)[:most-1])) + "…"
}

// header is oneLine for what goes into a header. What somebody has written as an
// encoded word, RFC 2047, is not decoded by readers into something else.
func header(s string, most int) string {
	return oneLine(strings.ReplaceAll(s, "=?", "= ?"), most)
}

// bounded cuts off a part that is far too long.
func bounded(s string) string {
	if len(s) <= mostBody {
		return s
	}
	return strings.ToValidUTF8(s[:mostBody], "")
}
