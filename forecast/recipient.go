package forecast

import (
	"net/mail"
	"regexp"
	"strings"
	"time"

	"ripetide/weather"
)

// Recipient is an address that a farm's morning mail goes to once its reader
// has confirmed it.
type Recipient struct {
	ID          string
	Farm        string
	Address     string
	AskedAt     time.Time
	AskedBy     string     // In words: the name of a key.
	ConfirmedAt *time.Time // Nil: the reader has not; nothing but the question goes there.
	EndedAt     *time.Time // Nothing goes there from then on; nil: it was not ended.
	EndedBy     string     // In words: the name of a key, or [ByReader].
}

// ByReader ends a recipient at the reader's own wish.
const ByReader = "the reader"

// MailKind is what is sent to a recipient.
type MailKind string

// The kinds of mail.
const (
	MailAsk     MailKind = "ask"     // Whether the reader wants the morning mail.
	MailMorning MailKind = "morning" // The morning mail itself.
)

// MailOutcome is what came of an attempt to send.
type MailOutcome string

// The outcomes.
const (
	MailSent      MailOutcome = "sent"      // The server has taken it.
	MailLater     MailOutcome = "later"     // It failed for now and is tried again.
	MailRefused   MailOutcome = "refused"   // It failed for good; nobody tries again.
	MailUncertain MailOutcome = "uncertain" // It may have arrived; nobody tries again, so that none comes twice.
)

// MailKey names what is sent once: a kind of mail to a recipient on a day at the
// farm.
type MailKey struct {
	Farm      string
	Recipient string
	Kind      MailKind
	Day       weather.Date
}

// MailTry is an attempt to send.
type MailTry struct {
	MailKey
	Try       int // From 1.
	StartedAt time.Time
	Answer    *MailAnswer // Nil: it is being sent, or whoever sent it has stopped.
}

// MailAnswer is what came of an attempt.
type MailAnswer struct {
	At      time.Time
	Outcome MailOutcome
	Code    int        // SMTP; 0: the server gave none.
	Text    string     // What the server said, or what failed, in one line.
	NextAt  *time.Time // When it is tried again; nil: never.
}

// RecipientState is a recipient with the last that was sent to it, or nil.
type RecipientState struct {
	Recipient
	Last *MailTry
}

const (
	mostAddress = 254 // Characters, RFC 5321 4.5.3.1.3 without the brackets.
	mostLocal   = 64  // Before the @, 4.5.3.1.1.
)

// plainAddress is an address without comments, quotes and letters outside ASCII,
// in a domain of two labels at least. A domain of other letters is written in
// its ASCII form.
var plainAddress = regexp.MustCompile(`^[A-Za-z0-9.!#$%&'*+/=?^_{|}~` + "`" + `-]+@([A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?$`)

// ValidAddress says what is wrong with the address of a mailbox, or "".
func ValidAddress(s string) string {
	local, _, _ := strings.Cut(s, "@")
	switch {
	case s == "":
		return "must not be empty"
	case len(s) > mostAddress || len(local) > mostLocal:
		return "is too long for an address"
	case !plainAddress.MatchString(s):
		return "must be an address such as ann@farm.example, in plain letters and without a name"
	}
	if a, err := mail.ParseAddress(s); err != nil || a.Address != s || a.Name != "" {
		return "must be an address such as ann@farm.example"
	}
	return ""
}
