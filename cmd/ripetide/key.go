package main

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"ripetide/api"
	"ripetide/db"
)

type keyCmds struct {
	New    keyNewCmd    `cmd:"" help:"Make a key and print it, once."`
	List   keyListCmd   `cmd:"" help:"List keys; the keys themselves are not kept."`
	Revoke keyRevokeCmd `cmd:"" help:"Make a key worthless from now on."`
}

type keyNewCmd struct {
	Role    string        `required:"" enum:"owner,grower,reader" help:"owner sets up, grower records, reader reads."`
	Name    string        `required:"" help:"Who or what will use it."`
	Farm    string        `help:"The only farm it is for. Default: the installation, with all its farms."`
	Expires time.Duration `help:"How long it is valid, such as 720h. Default: until it is revoked."`
}

// Run prints the key alone on a line, so that a script can read it.
func (k *keyNewCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		key, _, err := newKey(ctx, o.Store, k.Role, k.Name, k.Farm, k.Expires, w.Now())
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(w.Stdout, key)
		return err
	})
}

// newKey makes and stores a key of 160 random bits; only its hash is kept.
func newKey(ctx context.Context, s *db.Store, role, name, farm string, valid time.Duration, now time.Time) (key, id string, err error) {
	if farm != "" {
		if _, err := s.Farm(ctx, farm); err != nil {
			return "", "", err
		}
	}
	b := make([]byte, 25)
	rand.Read(b) // Never fails, by its documentation.
	text := strings.ToLower(base32.StdEncoding.EncodeToString(b))
	id, key = text[:8], "ripetide-"+text
	k := db.Key{ID: id, Farm: some(farm), Role: role, Name: name, Hash: api.HashKey(key), CreatedAt: now}
	if valid > 0 {
		end := now.Add(valid)
		k.ExpiresAt = &end
	}
	return key, id, s.NewKey(ctx, k)
}

// some returns a pointer to s unless it is empty.
func some(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

type keyListCmd struct{}

// Run prints a table.
func (keyListCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		all, err := o.Keys(ctx, nil)
		if err != nil {
			return err
		}
		t := tabwriter.NewWriter(w.Stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "ID\tROLE\tFARM\tNAME\tMADE\tLAST USED\tSTATE")
		for _, k := range all {
			farm, used, state := "all", "never", "valid"
			if k.Farm != nil {
				farm = *k.Farm
			}
			if k.LastUsedAt != nil {
				used = k.LastUsedAt.Format(time.DateOnly)
			}
			switch {
			case k.RevokedAt != nil:
				state = "revoked"
			case k.ExpiresAt != nil && !w.Now().Before(*k.ExpiresAt):
				state = "expired"
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, k.Role, farm, k.Name, k.CreatedAt.Format(time.DateOnly), used, state)
		}
		return t.Flush()
	})
}

type keyRevokeCmd struct {
	ID string `arg:"" help:"As \"key list\" shows it."`
}

// Run revokes the key.
func (k *keyRevokeCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		if err := o.RevokeKey(ctx, nil, k.ID, w.Now()); err != nil {
			return err
		}
		all, err := o.Keys(ctx, nil)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(all, func(x db.Key) bool { return x.Role == string(api.Owner) && valid(x, w.Now()) }) {
			fmt.Fprintln(w.Stderr, "No owner can sign in any more. \"ripetide link\" lets one in.")
		}
		return nil
	})
}

// valid reports whether a key opens something.
func valid(k db.Key, now time.Time) bool {
	return k.RevokedAt == nil && (k.ExpiresAt == nil || now.Before(*k.ExpiresAt))
}

// with opens the database for one piece of work.
func with(ctx context.Context, c *config, w *world, name string, do func(*opened) error) (err error) {
	o, err := open(ctx, c, name, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, o.close(ctx)) }()
	return do(o)
}
