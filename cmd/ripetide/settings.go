package main

import (
	"context"
	"fmt"
	"net/netip"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"text/tabwriter"

	"ripetide/db"
)

type configCmd struct{}

// hidden stands for a secret that is set.
const hidden = "set, not shown"

// Run prints every setting as it was understood, and whether it was set.
func (configCmd) Run(_ context.Context, w *world, c *config) error {
	t := tabwriter.NewWriter(w.Stdout, 0, 0, 2, ' ', 0)
	for _, s := range c.settings() {
		from := "default"
		if w.Getenv(s.name) != "" {
			from = "environment"
		}
		value := s.value
		if value == "" {
			value = "none"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", s.name, value, from)
	}
	return t.Flush()
}

type setting struct{ name, value string }

// settings are all of them, without what is secret.
func (c *config) settings() []setting {
	onOff := func(on bool) string { return map[bool]string{true: "on", false: "off"}[on] }
	secret := func(set bool) string { return map[bool]string{true: hidden}[set] }
	networks := func(ps []netip.Prefix) string {
		var out []string
		for _, p := range ps {
			out = append(out, p.String())
		}
		return strings.Join(out, ", ")
	}
	rate, backups, log := "off", "off", "text"
	if c.Limits.Rate > 0 {
		rate = strconv.FormatFloat(c.Limits.Rate, 'g', -1, 64)
	}
	if c.Backups != "" {
		backups = c.Backups
	}
	if c.LogJSON {
		log = "json"
	}
	out := []setting{
		{"RIPETIDE_ADDR", c.Addr}, {"RIPETIDE_DATA", c.Data}, {"DATABASE_URL", withoutPassword(c.DatabaseURL)},
		{"RIPETIDE_FEED_NETWORKS", networks(c.FeedNetworks)}, {"RIPETIDE_DAILY", onOff(!c.NoDaily)},
		{"RIPETIDE_PUBLIC_URL", c.PublicURL}, {"RIPETIDE_RATE", rate}, {"RIPETIDE_PROXIES", networks(c.Limits.Proxies)},
		{"RIPETIDE_BACKUPS", backups}, {"RIPETIDE_BACKUPS_KEEP", strconv.Itoa(c.BackupsKept)}, {"RIPETIDE_METRICS", c.Metrics}, {"RIPETIDE_LOG", log},
	}
	if m := c.Mail; m != nil {
		out = append(out, setting{"RIPETIDE_SMTP", m.Server}, setting{"RIPETIDE_SMTP_FROM", m.From}, setting{"RIPETIDE_SMTP_USER", m.User},
			setting{"RIPETIDE_SMTP_PASSWORD", secret(m.Password != "")}, setting{"RIPETIDE_SMTP_TLS", string(m.TLS)})
	} else {
		out = append(out, setting{"RIPETIDE_SMTP", ""})
	}
	return out
}

// password finds that of a connection string of words.
var password = regexp.MustCompile(`(?i)((?:ssl)?password\s*=\s*)('(?:[^'\\]|\\.)*'|(?:\\.|\S)+)`)

// withoutPassword hides what is secret in a connection string.
func withoutPassword(dsn string) string {
	if dsn == "" {
		return ""
	}
	// What is read as something else than it is meant may have the password anywhere.
	if _, err := db.Place(dsn); err != nil {
		return "cannot be read"
	}
	if !strings.Contains(dsn, "://") {
		return password.ReplaceAllString(dsn, "${1}("+hidden+")")
	}
	u, err := url.Parse(dsn)
	if err != nil {
		return "cannot be read"
	}
	if _, set := u.User.Password(); set {
		u.User = url.UserPassword(u.User.Username(), "HIDDEN")
	}
	q := u.Query()
	for name := range q {
		if strings.Contains(strings.ToLower(name), "password") {
			q.Set(name, "HIDDEN")
		}
	}
	u.RawQuery = q.Encode()
	return strings.ReplaceAll(u.String(), "HIDDEN", "("+hidden+")")
}
