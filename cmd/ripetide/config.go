package main

import (
	"cmp"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"ripetide/api/mail"
)

// config is what the environment sets. It is checked as a whole before
// anything is opened.
type config struct {
	// Addr is where to listen, host:port. RIPETIDE_ADDR; default 127.0.0.1:8321.
	Addr string
	// Data is the folder of the private PostgreSQL and of written files.
	// RIPETIDE_DATA; default: the user's data folder, for root
	// /var/lib/ripetide, since the unprivileged server cannot enter root's home.
	Data string
	// DatabaseURL is a PostgreSQL 15 or newer to use instead of the private
	// one. DATABASE_URL; default: none.
	DatabaseURL string
	// Database is the name of the database in the private PostgreSQL, or beside
	// the one that DatabaseURL names. Flag --demo-farm; default ripetide.
	Database string
	// FeedNetworks are networks that feeds may reach although they are not
	// public. RIPETIDE_FEED_NETWORKS, parted by commas, such as 192.168.7.0/24;
	// default: none.
	FeedNetworks []netip.Prefix
	// NoDaily: no forecast is made by itself in the morning. RIPETIDE_DAILY, on or
	// off; default on.
	NoDaily bool
	// PublicURL is the address at which browsers elsewhere reach the pages, for
	// links in mails, without a slash at its end. RIPETIDE_PUBLIC_URL, such as
	// https://ripetide.farm.example; default: none, and mails have no links.
	PublicURL string
	// Mail says how mail is sent; nil: it is not. RIPETIDE_SMTP is the server,
	// host:port, and RIPETIDE_SMTP_FROM the sender's address. RIPETIDE_SMTP_USER
	// and RIPETIDE_SMTP_PASSWORD, or the file RIPETIDE_SMTP_PASSWORD_FILE, are
	// for servers that ask; default: none. RIPETIDE_SMTP_TLS is starttls, implicit
	// or, for a server on this machine, none; default starttls.
	// RIPETIDE_SMTP_CA is a file of certificates, PEM, of which the server's may
	// be; default: those of the system.
	Mail *mail.Settings
	// LogJSON: one JSON object a line instead of text. RIPETIDE_LOG, text or
	// json; default text.
	LogJSON bool
}

func readConfig(getenv func(string) string) (*config, error) {
	c := &config{Addr: getenv("RIPETIDE_ADDR"), Data: getenv("RIPETIDE_DATA"), DatabaseURL: getenv("DATABASE_URL"), Database: mainDatabase}
	var errs []error
	if c.Addr == "" {
		c.Addr = "127.0.0.1:8321"
	}
	if _, port, err := net.SplitHostPort(c.Addr); err != nil {
		errs = append(errs, fmt.Errorf("RIPETIDE_ADDR %q: give host:port, such as 127.0.0.1:8321", c.Addr))
	} else if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		errs = append(errs, fmt.Errorf("RIPETIDE_ADDR %q: the port must be a number from 0 to 65535", c.Addr))
	}
	for text := range strings.SplitSeq(getenv("RIPETIDE_FEED_NETWORKS"), ",") {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		p, err := netip.ParsePrefix(text)
		if err != nil {
			errs = append(errs, fmt.Errorf("RIPETIDE_FEED_NETWORKS %q: give networks such as 192.168.7.0/24, parted by commas", text))
			continue
		}
		c.FeedNetworks = append(c.FeedNetworks, p)
	}
	switch d := getenv("RIPETIDE_DAILY"); d {
	case "", "on":
	case "off":
		c.NoDaily = true
	default:
		errs = append(errs, fmt.Errorf("RIPETIDE_DAILY %q: give on or off", d))
	}
	if text := getenv("RIPETIDE_PUBLIC_URL"); text != "" {
		var err error
		if c.PublicURL, err = mail.ValidPublicURL(text); err != nil {
			errs = append(errs, fmt.Errorf("RIPETIDE_PUBLIC_URL %q: %w", text, err))
		}
	}
	if m, err := readMail(getenv); err != nil {
		errs = append(errs, err)
	} else {
		c.Mail = m
	}
	switch l := getenv("RIPETIDE_LOG"); l {
	case "", "text":
	case "json":
		c.LogJSON = true
	default:
		errs = append(errs, fmt.Errorf("RIPETIDE_LOG %q: give text or json", l))
	}
	if c.Data == "" {
		c.Data = defaultData(getenv)
	}
	if c.Data == "" {
		errs = append(errs, errors.New("RIPETIDE_DATA is not set and there is no home folder: set it to a folder for the records"))
	} else if abs, err := filepath.Abs(c.Data); err != nil {
		errs = append(errs, fmt.Errorf("RIPETIDE_DATA: %w", err))
	} else {
		c.Data = abs
	}
	return c, errors.Join(errs...)
}

// readMail reads how mail is sent; nil: it is not.
func readMail(getenv func(string) string) (*mail.Settings, error) {
	const server = "RIPETIDE_SMTP"
	if getenv(server) == "" {
		for _, name := range []string{"_FROM", "_USER", "_PASSWORD", "_PASSWORD_FILE", "_TLS", "_CA"} {
			if getenv(server+name) != "" {
				return nil, fmt.Errorf("%s%s is set and %s is not: give the mail server, such as smtp.farm.example:587", server, name, server)
			}
		}
		return nil, nil
	}
	m := &mail.Settings{
		Server: getenv(server), From: getenv(server + "_FROM"), User: getenv(server + "_USER"),
		Password: mail.Secret(getenv(server + "_PASSWORD")), TLS: mail.Mode(cmp.Or(getenv(server+"_TLS"), string(mail.StartTLS))),
	}
	var errs []error
	if file := getenv(server + "_PASSWORD_FILE"); file != "" {
		text, err := os.ReadFile(file)
		switch {
		case m.Password != "":
			errs = append(errs, errors.New("RIPETIDE_SMTP_PASSWORD and RIPETIDE_SMTP_PASSWORD_FILE are both set: set one"))
		case err != nil:
			errs = append(errs, fmt.Errorf("RIPETIDE_SMTP_PASSWORD_FILE: %w", err))
		default:
			m.Password = mail.Secret(strings.TrimRight(string(text), "\r\n"))
		}
	}
	if file := getenv(server + "_CA"); file != "" {
		text, err := os.ReadFile(file)
		m.Roots = x509.NewCertPool()
		if err != nil {
			errs = append(errs, fmt.Errorf("RIPETIDE_SMTP_CA: %w", err))
		} else if !m.Roots.AppendCertsFromPEM(text) {
			errs = append(errs, fmt.Errorf("RIPETIDE_SMTP_CA: %s holds no certificate in PEM", file))
		}
	}
	if err := errors.Join(append(errs, m.Validate())...); err != nil {
		return nil, err
	}
	return m, nil
}

func defaultData(getenv func(string) string) string {
	if os.Geteuid() == 0 {
		return "/var/lib/ripetide"
	}
	if x := getenv("XDG_DATA_HOME"); x != "" {
		return filepath.Join(x, "ripetide")
	}
	if h := getenv("HOME"); h != "" {
		return filepath.Join(h, ".local", "share", "ripetide")
	}
	return ""
}

// logger writes to w.Stderr.
func (c *config) logger(w *world) *slog.Logger {
	if c.LogJSON {
		return slog.New(slog.NewJSONHandler(w.Stderr, nil))
	}
	return slog.New(slog.NewTextHandler(w.Stderr, nil))
}
