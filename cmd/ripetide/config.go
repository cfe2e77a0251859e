package main

import (
	"cmp"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"ripetide/api"
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
	// Backups is the folder in which the service makes a backup each day; "": it
	// makes none. RIPETIDE_BACKUPS, a folder or off; default: the folder backups
	// in Data. A folder on another disk outlives this one.
	Backups string
	// BackupsKept is how many of them are kept, the newest. RIPETIDE_BACKUPS_KEEP,
	// 1 to 10000; default 14.
	BackupsKept int
	// Limits bound what one caller may ask for. RIPETIDE_RATE is how many requests
	// a second one key, or one address without a key, may send, or off; default
	// 500. RIPETIDE_PROXIES are networks whose word is taken for where a request
	// comes from, parted by commas, such as 127.0.0.1/32; default: none.
	Limits api.Limits
	// Metrics is where to answer /metrics, host:port; "": nowhere. It is never
	// answered on Addr. RIPETIDE_METRICS; default: none.
	Metrics string
	// NoDaily: no forecast is made by itself in the morning. RIPETIDE_DAILY, on or
	// off; default on.
	NoDaily bool
	// PublicURL is the address at which browsers elsewhere reach the pages, for
	// links in mails, without a slash at its end. RIPETIDE_PUBLIC_URL, such as
	// https://ripetide.farm.example; default: none, and mails have no links.
	PublicURL string
	// Under is its path, such as /berries, which then stands in front of all
	// addresses that pages send out; "" for none.
	Under string
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

	faults error // That were found in reading, for those who look for them.
}

func readConfig(getenv func(string) string) (*config, error) {
	c := &config{Addr: getenv("RIPETIDE_ADDR"), Data: getenv("RIPETIDE_DATA"), DatabaseURL: getenv("DATABASE_URL"), Metrics: getenv("RIPETIDE_METRICS"), Database: mainDatabase}
	var errs []error
	if c.Addr == "" {
		c.Addr = "127.0.0.1:8321"
	}
	if _, port, err := net.SplitHostPort(c.Addr); err != nil {
		errs = append(errs, fmt.Errorf("RIPETIDE_ADDR %q: give host:port, such as 127.0.0.1:8321", c.Addr))
	} else if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		errs = append(errs, fmt.Errorf("RIPETIDE_ADDR %q: the port must be a number from 0 to 65535", c.Addr))
	}
	if c.Metrics != "" {
		if _, _, err := net.SplitHostPort(c.Metrics); err != nil {
			errs = append(errs, fmt.Errorf("RIPETIDE_METRICS %q: give host:port, such as 127.0.0.1:9321", c.Metrics))
		}
	}
	var err error
	if c.FeedNetworks, err = readNetworks("RIPETIDE_FEED_NETWORKS", getenv("RIPETIDE_FEED_NETWORKS")); err != nil {
		errs = append(errs, err)
	}
	if c.Limits.Proxies, err = readNetworks("RIPETIDE_PROXIES", getenv("RIPETIDE_PROXIES")); err != nil {
		errs = append(errs, err)
	}
	switch text := getenv("RIPETIDE_RATE"); text {
	case "off":
	case "":
		c.Limits.Rate = 500
	default:
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || !(n > 0 && n <= 1e6) {
			errs = append(errs, fmt.Errorf("RIPETIDE_RATE %q: give requests a second, such as 500, or off", text))
		}
		c.Limits.Rate = n
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
		} else if c.Under, err = under(c.PublicURL); err != nil {
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
	errs = append(errs, c.readBackups(getenv))
	return c, errors.Join(errs...)
}

// ours are the names with which the paths of the service begin.
var ours = []string{
	"at", "f", "healthz", "mail", "openapi.json", "problems", "readyz", "reference", "setup", "sign-in", "sign-out", "static", "subscribe", "v1", "worker.js",
}

// under returns the path of a public address. It begins with no name of ours: one
// could not tell whether a proxy has left it in front of a path.
func under(public string) (string, error) {
	u, err := url.Parse(public)
	if err != nil {
		return "", err
	}
	name, _, _ := strings.Cut(strings.TrimPrefix(u.Path, "/"), "/")
	if slices.Contains(ours, name) {
		return "", fmt.Errorf("the service has pages of its own at /%s: choose a path that begins otherwise, such as /berries", name)
	}
	return u.Path, nil
}

// readNetworks reads networks parted by commas.
func readNetworks(name, list string) (out []netip.Prefix, err error) {
	var errs []error
	for text := range strings.SplitSeq(list, ",") {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		p, err := netip.ParsePrefix(text)
		if err != nil {
			errs = append(errs, fmt.Errorf("%s %q: give networks such as 192.168.7.0/24, parted by commas", name, text))
			continue
		}
		out = append(out, p)
	}
	return out, errors.Join(errs...)
}

// readBackups reads where backups are made, once Data is known.
func (c *config) readBackups(getenv func(string) string) error {
	c.BackupsKept = 14
	var errs []error
	if text := getenv("RIPETIDE_BACKUPS_KEEP"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 10000 {
			errs = append(errs, fmt.Errorf("RIPETIDE_BACKUPS_KEEP %q: give a number of backups, 1 or more", text))
		}
		c.BackupsKept = n
	}
	switch folder := getenv("RIPETIDE_BACKUPS"); folder {
	case "off":
	case "":
		if c.Data != "" {
			c.Backups = filepath.Join(c.Data, "backups")
		}
	default:
		abs, err := filepath.Abs(folder)
		if err != nil {
			errs = append(errs, fmt.Errorf("RIPETIDE_BACKUPS: %w", err))
		}
		c.Backups = abs
	}
	return errors.Join(errs...)
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
