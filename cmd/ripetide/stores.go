package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ripetide/api"
	"ripetide/api/mail"
	"ripetide/api/pages"
	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// stores fits the database to what the api asks for: the two do not know each
// other.
type stores struct{ *db.Store }

var (
	_ api.Store             = stores{}
	_ api.PickingStore      = (*db.Store)(nil)
	_ api.FrostStore        = (*db.Store)(nil)
	_ api.DecisionStore     = (*db.Store)(nil)
	_ api.ProposalStore     = (*db.Store)(nil)
	_ api.AnnouncingStore   = (*db.Store)(nil)
	_ api.SubscriptionStore = (*db.Store)(nil)
	_ api.ToldStore         = (*db.Store)(nil)
	_ api.RecipientStore    = (*db.Store)(nil)
	_ mail.Store            = (*db.Store)(nil)
	_ pages.People          = stores{}
	_ forecast.Store        = (*db.Store)(nil)
)

// Days implements [api.StationStore].
func (s stores) Days(ctx context.Context, farm, station string, from, to *weather.Date, knownAt *time.Time) ([]api.StationDay, error) {
	days, err := s.Store.Days(ctx, farm, station, from, to, knownAt)
	return stationDays(days), err
}

// Corrections implements [api.StationStore].
func (s stores) Corrections(ctx context.Context, farm, station string, since time.Time, limit int) ([]api.StationDay, error) {
	days, err := s.Store.Corrections(ctx, farm, station, since, limit)
	return stationDays(days), err
}

// DayHistory implements [api.StationStore].
func (s stores) DayHistory(ctx context.Context, farm, station string, day weather.Date) (api.DayHistory, error) {
	h, err := s.Store.DayHistory(ctx, farm, station, day)
	out := api.DayHistory{Values: stationDays(h.Values)}
	for _, v := range h.Verdicts {
		out.Verdicts = append(out.Verdicts, api.VerdictVersion(v))
	}
	return out, err
}

// FeedRuns implements [api.FeedStore].
func (s stores) FeedRuns(ctx context.Context, k feed.Key, limit int) ([]api.FeedRun, error) {
	runs, err := s.Store.FeedRuns(ctx, k, limit)
	out := make([]api.FeedRun, len(runs))
	for i, r := range runs {
		out[i] = api.FeedRun(r)
	}
	return out, err
}

func stationDays(days []db.StationDay) []api.StationDay {
	out := make([]api.StationDay, len(days))
	for i, d := range days {
		out[i] = api.StationDay(d)
	}
	return out
}

// PutOutlook implements [api.OutlookStore].
func (s stores) PutOutlook(ctx context.Context, farm, station string, o weather.Outlook, by string, at time.Time) (api.StationOutlook, bool, error) {
	kept, created, err := s.Store.PutOutlook(ctx, farm, station, o, by, at)
	return api.StationOutlook(kept), created, err
}

// LatestOutlook implements [api.OutlookStore].
func (s stores) LatestOutlook(ctx context.Context, farm, station string, knownAt *time.Time) (api.StationOutlook, error) {
	o, err := s.Store.LatestOutlook(ctx, farm, station, knownAt)
	return api.StationOutlook(o), err
}

// Outlooks implements [api.OutlookStore].
func (s stores) Outlooks(ctx context.Context, farm, station string, from, to, knownAt *time.Time) ([]api.StationOutlook, error) {
	list, err := s.Store.Outlooks(ctx, farm, station, from, to, knownAt)
	if err != nil {
		return nil, err
	}
	out := make([]api.StationOutlook, len(list))
	for i, o := range list {
		out[i] = api.StationOutlook(o)
	}
	return out, nil
}

// AddSightings implements [api.SightingStore].
func (s stores) AddSightings(ctx context.Context, farm string, ss []forecast.Sighting, by string, at time.Time) ([]api.SightingResult, error) {
	results, err := s.Store.AddSightings(ctx, farm, ss, by, at)
	if err != nil {
		return nil, err
	}
	out := make([]api.SightingResult, len(results))
	for i, r := range results {
		out[i] = api.SightingResult{Sighting: r.Sighting, Err: r.Err}
	}
	return out, nil
}

// AddSprays implements [api.SprayStore].
func (s stores) AddSprays(ctx context.Context, farm string, sprays []forecast.Spray, by string, at time.Time) ([]api.SprayResult, error) {
	results, err := s.Store.AddSprays(ctx, farm, sprays, by, at)
	if err != nil {
		return nil, err
	}
	out := make([]api.SprayResult, len(results))
	for i, r := range results {
		out[i] = api.SprayResult(r)
	}
	return out, nil
}

// Changes implements [api.ChangeStore].
func (s stores) Changes(ctx context.Context, farm string, q api.ChangeQuery) ([]api.Change, error) {
	f := db.ChangeFilter{By: q.By, What: q.What, Limit: q.Limit}
	if q.Before != nil {
		f.Before = new(db.Change(*q.Before))
	}
	list, err := s.Store.Changes(ctx, farm, f)
	if err != nil {
		return nil, err
	}
	out := make([]api.Change, len(list))
	for i, c := range list {
		out[i] = api.Change(c)
	}
	return out, nil
}

// Sightings implements [api.SightingStore].
func (s stores) Sightings(ctx context.Context, farm string, season *int, planting string) ([]forecast.Sighting, error) {
	return s.Store.Sightings(ctx, farm, db.SightingFilter{Season: season, Planting: planting})
}

// Caller implements [api.KeyStore]. The last use is kept to the minute, so
// that a busy key does not write at every request.
func (s stores) Caller(ctx context.Context, hash [32]byte, now time.Time) (api.Caller, error) {
	k, err := s.KeyByHash(ctx, hash, now)
	if errors.Is(err, db.ErrKeyNotFound) {
		return api.Caller{}, api.ErrUnauthorized
	}
	if err != nil {
		return api.Caller{}, err
	}
	if k.LastUsedAt == nil || now.Sub(*k.LastUsedAt) >= time.Minute {
		if err := s.TouchKey(ctx, k.ID, now); err != nil {
			return api.Caller{}, err
		}
	}
	return callerOf(k), nil
}

// SessionCaller implements [api.KeyStore].
func (s stores) SessionCaller(ctx context.Context, hash [32]byte, now time.Time) (api.Caller, error) {
	k, err := s.SessionKey(ctx, hash, now)
	if errors.Is(err, db.ErrKeyNotFound) {
		return api.Caller{}, api.ErrUnauthorized
	}
	if err != nil {
		return api.Caller{}, err
	}
	if now.Sub(*k.LastUsedAt) >= time.Minute {
		if err := s.TouchSession(ctx, hash, now); err != nil {
			return api.Caller{}, err
		}
	}
	return callerOf(k), nil
}

// LinkCaller implements [pages.People].
func (s stores) LinkCaller(ctx context.Context, link [32]byte, at time.Time) (api.Caller, error) {
	k, err := s.LinkKey(ctx, link, at)
	return callerOf(k), spent(err)
}

// UseLink implements [pages.People].
func (s stores) UseLink(ctx context.Context, link, session [32]byte, at, until time.Time) (api.Caller, error) {
	k, err := s.Store.UseLink(ctx, link, session, at, until)
	return callerOf(k), spent(err)
}

func spent(err error) error {
	if errors.Is(err, db.ErrLinkNotFound) {
		return fmt.Errorf("%w: %w", pages.ErrLinkSpent, err)
	}
	return err
}

// OpenSession implements [pages.People].
func (s stores) OpenSession(ctx context.Context, keyID string, session [32]byte, at, until time.Time) error {
	return s.NewSession(ctx, keyID, session, at, until)
}

// AllKeys implements [pages.Access].
func (s stores) AllKeys(ctx context.Context, farm string, at time.Time) ([]pages.Key, error) {
	keys, err := s.Keys(ctx, nil)
	if err != nil {
		return nil, err
	}
	uses, err := s.KeyUses(ctx, nil, at)
	if err != nil {
		return nil, err
	}
	by := map[string]db.KeyUse{}
	for _, u := range uses {
		by[u.Key] = u
	}
	var out []pages.Key
	for _, k := range keys {
		if k.Farm != nil && *k.Farm != farm {
			continue
		}
		c, u := callerOf(k), by[k.ID]
		x := pages.Key{
			ID: k.ID, Name: k.Name, Role: c.Role, Farm: c.Farm, MadeAt: k.CreatedAt,
			UsedAt: k.LastUsedAt, LinkUntil: u.LinkUntil, ExpiresAt: k.ExpiresAt, RevokedAt: k.RevokedAt,
		}
		if u.SessionAt != nil && (x.UsedAt == nil || x.UsedAt.Before(*u.SessionAt)) {
			x.UsedAt = u.SessionAt
		}
		out = append(out, x)
	}
	return out, nil
}

// MakeKey implements [pages.Access].
func (s stores) MakeKey(ctx context.Context, farm, name string, role api.Role, at time.Time) (string, error) {
	secret, _, err := newKey(ctx, s.Store, string(role), name, farm, 0, at)
	return secret, err
}

// Invite implements [pages.Access].
func (s stores) Invite(ctx context.Context, farm, name string, role api.Role, by string, at, until time.Time) (string, error) {
	return invite(ctx, s.Store, name, string(role), farm, by, at, until)
}

// InviteAgain implements [pages.Access].
func (s stores) InviteAgain(ctx context.Context, keyID, by string, at, until time.Time) (string, error) {
	path, err := linkFor(ctx, s.Store, keyID, by, at, until)
	return path, noKey(err)
}

// Revoke implements [pages.Access].
func (s stores) Revoke(ctx context.Context, farm, keyID string, at time.Time) error {
	err := s.RevokeUnlessLast(ctx, some(farm), keyID, at)
	if errors.Is(err, db.ErrLastOwner) {
		return fmt.Errorf("%w: %w", pages.ErrLastOwner, err)
	}
	return noKey(err)
}

func noKey(err error) error {
	if errors.Is(err, db.ErrKeyNotFound) {
		return fmt.Errorf("%w: %w", pages.ErrKeyNotFound, err)
	}
	return err
}

func callerOf(k db.Key) api.Caller {
	c := api.Caller{KeyID: k.ID, Name: k.Name, Role: api.Role(k.Role)}
	if k.Farm != nil {
		c.Farm = *k.Farm
	}
	return c
}
