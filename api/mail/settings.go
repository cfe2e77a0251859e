package mail

import (
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/mail"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"ripetide/forecast"
)

// Mode is how the connection to the server is kept private.
type Mode string

// The modes.
const (
	StartTLS Mode = "starttls" // By a command before anything else; a server without it is not used.
	Implicit Mode = "implicit" // From the first byte on, as on port 465.
	Plain    Mode = "none"     // Not at all, to a server on the same machine only.
)

// Secret is a text that does not show when it is printed or logged.
type Secret string

// String returns a placeholder.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return "(secret)"
}

// GoString returns the same.
func (s Secret) GoString() string { return strconv.Quote(s.String()) }

// LogValue returns the same.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// Settings say how mail is sent.
type Settings struct {
	Server   string // host:port.
	User     string // "": the server asks for none.
	Password Secret
	From     string // Address of the sender.
	TLS      Mode
	Roots    *x509.CertPool // Of certificates that the server may have; nil: the system's.
}

// Validate returns every fault of s; names are those of its fields in the
// environment.
func (s Settings) Validate() error {
	var errs []error
	add := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	host, port, err := net.SplitHostPort(s.Server)
	if n, perr := strconv.Atoi(port); err != nil || host == "" || perr != nil || n < 1 || n > 65535 || strings.ContainsFunc(host, spaceOrControl) {
		add("RIPETIDE_SMTP %q: give host:port, such as smtp.farm.example:587", s.Server)
	}
	if reason := forecast.ValidAddress(s.From); reason != "" {
		add("RIPETIDE_SMTP_FROM %q: the address of the sender %s", s.From, reason)
	}
	switch s.TLS {
	case StartTLS, Implicit:
	case Plain:
		// The names for which a password may be sent unencrypted.
		if err == nil && host != "localhost" && host != "127.0.0.1" && host != "::1" {
			add("RIPETIDE_SMTP_TLS none: only for a server on this machine, as localhost, 127.0.0.1 or ::1; mail and password could be read on the way to %s", host)
		}
	default:
		add("RIPETIDE_SMTP_TLS %q: give starttls, implicit or none", s.TLS)
	}
	if (s.User == "") != (s.Password == "") {
		add("RIPETIDE_SMTP_USER and its password go together: set both or neither")
	}
	return errors.Join(errs...)
}

func spaceOrControl(r rune) bool { return r <= ' ' || r == 0x7f }

// publicPath is the path of a public address: names that no program writes in two
// ways.
var publicPath = regexp.MustCompile(`^(?:/[A-Za-z0-9_~-][A-Za-z0-9._~-]*)*/*$`)

// ValidPublicURL reads the address at which browsers elsewhere reach the pages
// and returns it without a slash at its end, or says what is wrong with it.
func ValidPublicURL(text string) (clean string, err error) {
	u, err := url.Parse(text)
	switch {
	case err != nil, u.Scheme != "https" && u.Scheme != "http", u.Hostname() == "", u.User != nil, u.RawQuery != "", u.ForceQuery,
		u.Fragment != "", !publicPath.MatchString(u.EscapedPath()), strings.ContainsFunc(text, spaceOrControl), len(text) > 200:
		return "", errors.New("give an address such as https://ripetide.farm.example or https://farm.example/berries")
	}
	return u.Scheme + "://" + u.Host + strings.TrimRight(u.Path, "/"), nil
}

// address writes a mailbox with a name as headers have it. Line breaks and other
// control characters of the name become spaces.
func address(name, addr string) string {
	a := mail.Address{Name: header(name, mostName), Address: addr}
	return a.String()
}
