package mail

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/textproto"
	"strconv"
	"time"

	gomail "github.com/wneessen/go-mail"
	"github.com/wneessen/go-mail/smtp"

	"ripetide/forecast"
)

// Client hands letters to a server.
type Client struct{ settings Settings }

// NewClient returns a client by settings that [Settings.Validate] finds nothing
// wrong with.
func NewClient(s Settings) *Client { return &Client{s} }

// Answer is what came of handing a letter over.
type Answer struct {
	Outcome forecast.MailOutcome
	Code    int    // SMTP; 0: the server gave none.
	Text    string // What the server said, or what failed, in one line.
}

const mostAnswer = 300 // Characters of an answer.

// send hands a message over. It is through when ctx ends.
func (c *Client) send(ctx context.Context, m message) Answer {
	out, err := c.build(m)
	if err != nil { // Nothing that the server could mend.
		return Answer{forecast.MailRefused, 0, oneLine(err.Error(), mostAnswer)}
	}
	said, handed, err := c.hand(ctx, out, m.to)
	if err == nil {
		return Answer{forecast.MailSent, 250, oneLine(said, mostAnswer)}
	}
	a := Answer{Outcome: forecast.MailLater, Text: oneLine(err.Error(), mostAnswer)}
	switch e, ok := errors.AsType[*textproto.Error](err); {
	case ok:
		a.Code, a.Text = e.Code, oneLine(e.Msg, mostAnswer)
		if e.Code/100 != 4 {
			a.Outcome = forecast.MailRefused
		}
	case handed:
		a.Outcome = forecast.MailUncertain
		a.Text = oneLine("the connection ended before the server said whether it took the mail: "+err.Error(), mostAnswer)
	case ctx.Err() != nil:
		a.Text = "the server did not answer in time"
	}
	return a
}

// hand hands a message over and returns what the server said at last. handed:
// the end of the message was on its way when it failed.
func (c *Client) hand(ctx context.Context, out *gomail.Msg, to string) (said string, handed bool, err error) {
	conn := &bounds{}
	server, err := c.dial(ctx, conn)
	defer conn.end()
	if err != nil {
		return "", false, err
	}
	defer func() {
		if _, answered := errors.AsType[*textproto.Error](err); answered || err == nil {
			_ = server.Quit() // Politely; what came of the mail stands whatever becomes of the connection.
		}
	}()
	if err := server.Mail("<" + c.settings.From + ">"); err != nil {
		return "", false, err
	}
	if err := server.Rcpt("<" + to + ">"); err != nil {
		return "", false, err
	}
	w, err := server.Data()
	if err != nil {
		return "", false, err
	}
	if _, err := out.WriteTo(w); err != nil {
		return "", false, err
	}
	if err := w.Close(); err != nil {
		return "", true, err
	}
	if d, ok := w.(*smtp.DataCloser); ok {
		said = d.ServerResponse()
	}
	return said, true, nil
}

// dial connects and signs in.
func (c *Client) dial(ctx context.Context, b *bounds) (*smtp.Client, error) {
	host, port, err := net.SplitHostPort(c.settings.Server)
	if err != nil {
		return nil, err
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, err
	}
	conf := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12, RootCAs: c.settings.Roots}
	opts := []gomail.Option{
		gomail.WithPort(n), gomail.WithTLSConfig(conf), gomail.WithoutSMTPUTF8(), gomail.WithTimeout(sendTime),
		gomail.WithDialContextFunc(func(ctx context.Context, network, at string) (net.Conn, error) {
			var d net.Dialer
			raw, err := d.DialContext(ctx, network, at)
			if err != nil {
				return nil, err
			}
			b.hold(raw)
			if c.settings.TLS != Implicit {
				return b, nil
			}
			enc := tls.Client(b, conf)
			return enc, enc.HandshakeContext(ctx)
		}),
	}
	switch c.settings.TLS {
	case Implicit:
		opts = append(opts, gomail.WithSSL())
	case Plain:
		opts = append(opts, gomail.WithTLSPolicy(gomail.NoTLS))
	default:
		opts = append(opts, gomail.WithTLSPolicy(gomail.TLSMandatory))
	}
	if c.settings.User != "" {
		// A password goes in plain text through an encrypted connection, or to this
		// machine, only.
		opts = append(opts, gomail.WithUsername(c.settings.User), gomail.WithPassword(string(c.settings.Password)),
			gomail.WithOpportunisticSMTPAuth(gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin))
	}
	client, err := gomail.NewClient(host, opts...)
	if err != nil {
		return nil, fmt.Errorf("set up: %w", err)
	}
	b.ctx = ctx
	return client.DialToSMTPClientWithContext(ctx)
}

// bounds is a connection that ends when its context does: the library sets each
// command's own time, and many of them could take long together.
type bounds struct {
	net.Conn
	ctx  context.Context // Of the one call that the connection is for.
	stop func() bool
}

// hold takes a connection on.
func (b *bounds) hold(raw net.Conn) {
	b.Conn = raw
	b.stop = context.AfterFunc(b.ctx, func() { _ = raw.Close() })
}

// end closes the connection, however far it came.
func (b *bounds) end() {
	if b.Conn != nil {
		b.stop()
		_ = b.Close()
	}
}

// sendTime is how long handing over one letter may take. Some servers let
// strangers wait on purpose.
const sendTime = time.Minute
