package main

import (
	"log/slog"

	"ripetide/api/mail"
	"ripetide/api/pages"
	"ripetide/db"
	"ripetide/forecast"
)

// newMailer returns what sends the mail of a store, or with settings that name
// no server, nothing.
func newMailer(w *world, c *config, store *db.Store, log *slog.Logger) *mail.Runner {
	m := &mail.Runner{
		Store: store, Public: c.PublicURL, Now: w.Now, Log: log,
		Writer: &pages.Letters{
			Store: stores{store}, Forecast: &forecast.Service{Store: store, Now: w.Now, Program: version}, Public: c.PublicURL,
		},
	}
	if c.Mail != nil {
		m.Client = mail.NewClient(*c.Mail)
	}
	return m
}
