package main

import (
	"context"
	"fmt"
	"net"
	"time"

	"ripetide/api"
	"ripetide/api/pages"
	"ripetide/db"
)

type linkCmd struct {
	Name  string        `default:"me" help:"Who signs in. A key of this name, role and farm is made if there is none."`
	Role  string        `default:"owner" enum:"owner,grower,reader" help:"owner sets up, grower records, reader reads."`
	Farm  string        `help:"The only farm it is for. Default: the installation, with all its farms."`
	Valid time.Duration `default:"1h" help:"How long the link may be used."`
}

// Run prints the link alone on a line.
func (l *linkCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		link, err := newLink(ctx, o.Store, l.Name, l.Role, l.Farm, l.Valid, w.Now())
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(w.Stdout, "http://"+browsable(c.Addr)+link)
		return err
	})
}

// newLink makes a sign-in link, a path, for the newest valid key of a name,
// role and farm, or for a new one that nobody knows.
func newLink(ctx context.Context, s *db.Store, name, role, farm string, valid time.Duration, now time.Time) (string, error) {
	return invite(ctx, s, name, role, farm, "command link", now, now.Add(valid))
}

// invite is newLink for somebody who asks for it, until an instant.
func invite(ctx context.Context, s *db.Store, name, role, farm, by string, now, until time.Time) (string, error) {
	keys, err := s.Keys(ctx, some(farm))
	if err != nil {
		return "", err
	}
	id := ""
	for _, k := range keys {
		same := k.Name == name && k.Role == role && (k.Farm == nil) == (farm == "")
		if same && k.RevokedAt == nil && (k.ExpiresAt == nil || now.Before(*k.ExpiresAt)) {
			id = k.ID
		}
	}
	if id == "" {
		if _, id, err = newKey(ctx, s, role, name, farm, 0, now); err != nil {
			return "", err
		}
	}
	return linkFor(ctx, s, id, by, now, until)
}

// linkFor makes a sign-in link, a path, for a key.
func linkFor(ctx context.Context, s *db.Store, keyID, by string, now, until time.Time) (string, error) {
	secret := pages.NewSecret()
	err := s.NewLink(ctx, db.Link{Hash: api.HashKey(secret), Key: keyID, CreatedAt: now, CreatedBy: by, ExpiresAt: until})
	return "/sign-in/" + secret, err
}

// browsable returns an address to listen on as one that a browser on this
// machine can open.
func browsable(addr string) string {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return addr
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return net.JoinHostPort(host, port)
}
