package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strconv"
	"strings"
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
