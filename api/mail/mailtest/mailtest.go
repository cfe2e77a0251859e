// Package mailtest is a mail server for tests: a real one that listens on this
// machine, takes mail or refuses it as it is told, and keeps what it took.
package mailtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"ripetide/api/mail"
)

// Reply is how the server takes a mail. The zero value takes it.
type Reply struct {
	Code     int           // Of a refusal, after the recipient; 0: none.
	Late     bool          // The refusal comes after the text.
	Text     string        // Of the refusal.
	Wait     time.Duration // Before the recipient is answered.
	Drop     bool          // The connection ends at the recipient.
	DropLate bool          // It ends after the text was taken, without an answer.
}

// Mail is a mail that was taken.
type Mail struct {
	From, To string
	User     string // Who signed in.
	TLS      bool
	Raw      []byte
}

// Server is a running server.
type Server struct {
	Addr  string
	Roots *x509.CertPool // That its certificate is of.
	PEM   []byte         // The same as a file holds it.

	user, password string
	mu             sync.Mutex
	reply          func(to string, n int) Reply
	tries          map[string]int
	mails          []Mail
	changed        chan struct{}
}

// Start starts a server that speaks as a mode says and, with a user, wants to
// know who sends. It ends with the test.
func Start(t testing.TB, mode mail.Mode, user, password string) *Server {
	t.Helper()
	s := &Server{user: user, password: password, tries: map[string]int{}, changed: make(chan struct{}, 1000)}
	srv := smtp.NewServer(s)
	srv.Domain, srv.AllowInsecureAuth, srv.MaxMessageBytes, srv.MaxRecipients = "mail.test", mode == mail.Plain, 1<<20, 1
	srv.ErrorLog = discard{}
	if mode != mail.Plain {
		srv.TLSConfig = s.certify(t)
	}
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.Addr = l.Addr().String()
	if mode == mail.Implicit {
		l = tls.NewListener(l, srv.TLSConfig)
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	t.Cleanup(func() {
		// The server knows its listener only once it has begun to accept.
		if err := errors.Join(srv.Close(), l.Close()); err != nil && !errors.Is(err, net.ErrClosed) {
			t.Errorf("close mail server: %v", err)
		}
		if err := <-done; err != nil && !errors.Is(err, smtp.ErrServerClosed) && !errors.Is(err, net.ErrClosed) {
			t.Errorf("mail server: %v", err)
		}
	})
	return s
}

type discard struct{}

func (discard) Printf(string, ...any) {}
func (discard) Println(...any)        {}

// certify makes a certificate for this machine.
func (s *Server) certify(t testing.TB) *tls.Config {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	x := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "mail.test"},
		NotBefore: time.Unix(0, 0), NotAfter: time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, x, x, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	s.Roots = x509.NewCertPool()
	s.Roots.AddCert(cert)
	s.PEM = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}, MinVersion: tls.VersionTLS12}
}

// Reply sets how the n-th mail to an address, from 1, is taken.
func (s *Server) Reply(f func(to string, n int) Reply) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reply = f
}

// Mails returns what was taken to an address, or all with "".
func (s *Server) Mails(to string) (out []Mail) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, m := range s.mails {
		if to == "" || m.To == to {
			out = append(out, m)
		}
	}
	return out
}

// Tries returns how often somebody wanted to send to an address.
func (s *Server) Tries(to string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.tries[to]
}

// Await waits until so many mails were taken to an address, and returns them.
func (s *Server) Await(t testing.TB, to string, n int) []Mail {
	t.Helper()
	limit := time.After(30 * time.Second)
	for {
		if got := s.Mails(to); len(got) >= n {
			return got
		}
		select {
		case <-s.changed:
		case <-limit:
			t.Fatalf("%d mails to %s came, want %d; %d tries", len(s.Mails(to)), to, n, s.Tries(to))
		}
	}
}

// NewSession implements [smtp.Backend].
func (s *Server) NewSession(c *smtp.Conn) (smtp.Session, error) { return &session{s: s, c: c}, nil }

type session struct {
	s     *Server
	c     *smtp.Conn
	mail  Mail
	reply Reply
}

// AuthMechanisms implements [smtp.AuthSession].
func (x *session) AuthMechanisms() []string {
	if x.s.user == "" {
		return nil
	}
	return []string{sasl.Plain}
}

// Auth implements [smtp.AuthSession].
func (x *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != x.s.user || password != x.s.password {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "Who are you?"}
		}
		x.mail.User = user
		return nil
	}), nil
}

func (x *session) Mail(from string, _ *smtp.MailOptions) error {
	if x.s.user != "" && x.mail.User == "" {
		return smtp.ErrAuthRequired
	}
	x.mail.From = from
	_, x.mail.TLS = x.c.TLSConnectionState()
	return nil
}

func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	x.mail.To = to
	x.s.mu.Lock()
	x.s.tries[to]++
	f, n := x.s.reply, x.s.tries[to]
	x.s.mu.Unlock()
	if f != nil {
		x.reply = f(to, n)
	}
	time.Sleep(x.reply.Wait)
	if x.reply.Drop {
		return x.c.Conn().Close()
	}
	if x.reply.Code != 0 && !x.reply.Late {
		return x.refusal()
	}
	return nil
}

func (x *session) refusal() error {
	return &smtp.SMTPError{Code: x.reply.Code, EnhancedCode: smtp.NoEnhancedCode, Message: x.reply.Text}
}

func (x *session) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if x.reply.Code != 0 {
		return x.refusal()
	}
	x.mail.Raw = raw
	x.s.mu.Lock()
	x.s.mails = append(x.s.mails, x.mail)
	x.s.mu.Unlock()
	x.s.changed <- struct{}{}
	if x.reply.DropLate {
		return x.c.Conn().Close()
	}
	return nil
}

func (x *session) Reset() {}

func (x *session) Logout() error { return nil }
