package db

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

var _ feed.Store = (*Store)(nil)

// PutFeed records what is said of a feed and reports whether it is a new one.
// What is known already is not recorded again. The point of spec is not kept:
// it is the station's. An empty Key leaves the one that is on record, unless
// the kind or the address changes, for a key belongs to a service. Errors:
// [forecast.ErrStationNotFound].
func (s *Store) PutFeed(ctx context.Context, k feed.Key, spec feed.Spec, by string, at time.Time) (created bool, err error) {
	type row struct {
		feed.Spec
		removed bool
	}
	spec = feed.Spec{
		ID: k.Feed, Kind: spec.Kind, Address: spec.Address, SourceStation: spec.SourceStation, Key: spec.Key,
		Contact: spec.Contact, Every: spec.Every, Paused: spec.Paused,
	}
	back := false // It had been removed.
	created, err = put(ctx, s, "feed", at, revision[row]{
		lockSQL: lockFeedSQL, addSQL: addFeedSQL, key: []any{k.Farm, k.Station, k.Feed},
		read: func(ctx context.Context, tx pgx.Tx) (r row, v version, err error) {
			r.Spec, r.removed, v, err = scanFeed(tx.QueryRow(ctx, feedSQL, k.Farm, k.Station, k.Feed))
			r.Latitude, r.Longitude = 0, 0
			back = r.removed
			if spec.Key == "" && !r.removed && spec.Kind == r.Kind && spec.Address == r.Address {
				spec.Key = r.Key
			}
			return r, v, err
		},
		same: func(was row) bool { return was == row{spec, false} },
		write: func(ctx context.Context, tx pgx.Tx, _ row, last version, at time.Time) error {
			return addFeedVersion(ctx, tx, k, spec, false, last, by, at)
		},
	})
	return created || back && err == nil, err
}

func addFeedVersion(ctx context.Context, tx pgx.Tx, k feed.Key, spec feed.Spec, removed bool, last version, by string, at time.Time) error {
	var known time.Time // The instant from which the station is known.
	if err := tx.QueryRow(ctx, stationSinceSQL, k.Farm, k.Station).Scan(&known); err != nil {
		return orNotFound(err, forecast.ErrStationNotFound)
	}
	_, err := tx.Exec(ctx, addFeedVersionSQL,
		k.Farm, k.Station, k.Feed, last.number+1, later(at, last.at, known), by, removed,
		spec.Kind, spec.Address, spec.SourceStation, string(spec.Key), spec.Contact, int(spec.Every/time.Hour), spec.Paused)
	return err
}

// RemoveFeed takes a feed away; what it delivered and its history stay. Errors:
// [feed.ErrFeedNotFound].
func (s *Store) RemoveFeed(ctx context.Context, k feed.Key, by string, at time.Time) error {
	err := s.write(ctx, func(tx pgx.Tx) error {
		var slug string
		if err := tx.QueryRow(ctx, lockFeedSQL, k.Farm, k.Station, k.Feed).Scan(&slug); err != nil {
			return orNotFound(err, feed.ErrFeedNotFound)
		}
		spec, removed, last, err := scanFeed(tx.QueryRow(ctx, feedSQL, k.Farm, k.Station, k.Feed))
		switch {
		case err != nil:
			return orNotFound(err, feed.ErrFeedNotFound)
		case removed:
			return feed.ErrFeedNotFound
		}
		spec.Key = "" // It is needed no more; earlier versions, which stay, still have it.
		return addFeedVersion(ctx, tx, k, spec, true, last, by, at)
	})
	if err != nil {
		return fmt.Errorf("remove feed: %w", err)
	}
	return nil
}

const (
	addFeedSQL = `
		INSERT INTO feed (farm, station, feed, created_at)
		VALUES ($1, $2, $3, $4)
		ON CONFLICT DO NOTHING`

	lockFeedSQL = `
		SELECT feed
		FROM feed
		WHERE farm = $1 AND station = $2 AND feed = $3
		FOR NO KEY UPDATE`

	addFeedVersionSQL = `
		INSERT INTO feed_version (
			farm, station, feed, version, recorded_at, recorded_by, removed,
			kind, address, source_station, secret, contact, every_hours, paused)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`

	feedSQL = `
		SELECT
			v.version, v.recorded_at, v.removed, v.feed, v.kind, v.address, v.source_station, v.secret, v.contact,
			v.every_hours, v.paused, s.latitude, s.longitude
		FROM feed_version AS v
		JOIN station_version AS s USING (farm, station)
		WHERE v.farm = $1 AND v.station = $2 AND v.feed = $3
		ORDER BY v.version DESC, s.version DESC
		LIMIT 1`
)

func scanFeed(row pgx.Row) (spec feed.Spec, removed bool, v version, err error) {
	var hours int
	var secret string
	err = row.Scan(&v.number, &v.at, &removed, &spec.ID, &spec.Kind, &spec.Address, &spec.SourceStation, &secret,
		&spec.Contact, &hours, &spec.Paused, &spec.Latitude, &spec.Longitude)
	spec.Key, spec.Every = feed.Secret(secret), time.Duration(hours)*time.Hour
	return spec, removed, v, err
}

// jobsSQL reads the feeds that are not removed, of one farm and station or, with
// empty ones, of all.
const jobsSQL = `
	SELECT
		v.farm, v.station, v.feed, v.kind, v.address, v.source_station, v.secret, v.contact,
		v.every_hours, v.paused, s.latitude, s.longitude, f.time_zone, r.state
	FROM (
		SELECT DISTINCT ON (farm, station, feed) *
		FROM feed_version
		WHERE ($1 = '' OR farm = $1) AND ($2 = '' OR station = $2) AND ($3 = '' OR feed = $3)
		ORDER BY farm, station, feed, version DESC
	) AS v
	CROSS JOIN LATERAL (
		SELECT latitude, longitude
		FROM station_version
		WHERE farm = v.farm AND station = v.station
		ORDER BY version DESC
		LIMIT 1
	) AS s
	CROSS JOIN LATERAL (
		SELECT time_zone
		FROM farm_version
		WHERE farm = v.farm
		ORDER BY version DESC
		LIMIT 1
	) AS f
	LEFT JOIN LATERAL (
		SELECT state
		FROM feed_run
		WHERE farm = v.farm AND station = v.station AND feed = v.feed
		ORDER BY run DESC
		LIMIT 1
	) AS r ON true
	WHERE NOT v.removed
	ORDER BY v.farm, v.station, v.feed`

// Feeds implements [feed.Store].
func (s *Store) Feeds(ctx context.Context) ([]feed.Job, error) {
	return s.jobs(ctx, feed.Key{})
}

// StationFeeds returns the feeds of a station in order of their slugs. Errors:
// [forecast.ErrStationNotFound].
func (s *Store) StationFeeds(ctx context.Context, farm, station string) ([]feed.Job, error) {
	if _, err := s.Station(ctx, farm, station); err != nil {
		return nil, err
	}
	return s.jobs(ctx, feed.Key{Farm: farm, Station: station})
}

// Feed implements [feed.Store].
func (s *Store) Feed(ctx context.Context, k feed.Key) (feed.Job, error) {
	jobs, err := s.jobs(ctx, k)
	switch {
	case err != nil:
		return feed.Job{}, err
	case len(jobs) == 0 || jobs[0].Key() != k:
		return feed.Job{}, fmt.Errorf("read feed: %w", feed.ErrFeedNotFound)
	}
	return jobs[0], nil
}

func (s *Store) jobs(ctx context.Context, k feed.Key) ([]feed.Job, error) {
	rows, _ := s.pool.Query(ctx, jobsSQL, k.Farm, k.Station, k.Feed)
	jobs, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (j feed.Job, err error) {
		var secret, zone string
		var hours int
		var state []byte
		c := &j.Spec
		if err := row.Scan(&j.Farm, &j.Station, &c.ID, &c.Kind, &c.Address, &c.SourceStation, &secret, &c.Contact,
			&hours, &c.Paused, &c.Latitude, &c.Longitude, &zone, &state); err != nil {
			return j, err
		}
		c.Key, c.Every = feed.Secret(secret), time.Duration(hours)*time.Hour
		if j.Zone, err = time.LoadLocation(zone); err != nil {
			return j, fmt.Errorf("time zone of farm %s: %w", j.Farm, err)
		}
		if state != nil {
			err = json.Unmarshal(state, &j.State)
		}
		return j, err
	})
	if err != nil {
		return nil, fmt.Errorf("read feeds: %w", domain(err))
	}
	return jobs, nil
}

// FeedRun is what came of a fetch.
type FeedRun struct {
	StartedAt       time.Time
	Took            time.Duration
	Outcome         feed.Outcome
	Detail          string
	Status          int // HTTP, of the last answer; 0: there was none.
	Requests        int
	Stored          weather.Stored
	OutlookIssuedAt *time.Time // Of the outlook that was stored.
}

const feedRunsSQL = `
	SELECT started_at, took_ms, outcome, detail, status, requests, days_added, days_corrected, days_kept, outlook_issued_at
	FROM feed_run
	WHERE farm = $1 AND station = $2 AND feed = $3
	ORDER BY run DESC
	LIMIT $4`

// FeedRuns returns the last fetches of a feed, the latest first. A feed that
// there is not has none.
func (s *Store) FeedRuns(ctx context.Context, k feed.Key, limit int) ([]FeedRun, error) {
	rows, _ := s.pool.Query(ctx, feedRunsSQL, k.Farm, k.Station, k.Feed, limit)
	runs, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (r FeedRun, err error) {
		var ms int64
		err = row.Scan(&r.StartedAt, &ms, &r.Outcome, &r.Detail, &r.Status, &r.Requests,
			&r.Stored.Added, &r.Stored.Corrected, &r.Stored.Kept, &r.OutlookIssuedAt)
		r.Took = time.Duration(ms) * time.Millisecond
		return r, err
	})
	if err != nil {
		return nil, fmt.Errorf("read fetches: %w", domain(err))
	}
	return runs, nil
}

const (
	// The lock is the session's, so that it is gone when the instance that holds
	// it is.
	lockRunSQL   = `SELECT pg_try_advisory_lock(hashtextextended($1, 1))`
	waitRunSQL   = `SELECT pg_advisory_lock(hashtextextended($1, 1))`
	unlockRunSQL = `SELECT pg_advisory_unlock(hashtextextended($1, 1))`
	unlockTime   = 5 * time.Second
)

// Lock implements [feed.Store].
func (s *Store) Lock(ctx context.Context, k feed.Key) (unlock func(), got bool, err error) {
	return s.lockRun(ctx, "feed "+k.String())
}

// lockRun takes the lock of a piece of work across all instances and reports
// whether it got it; it does not wait for whoever has it. unlock works also when
// ctx has ended.
func (s *Store) lockRun(ctx context.Context, work string) (unlock func(), got bool, err error) {
	conn, release, err := s.hold(ctx)
	if err != nil {
		return nil, false, fmt.Errorf("lock %s: %w", work, err)
	}
	if err := conn.QueryRow(ctx, lockRunSQL, work).Scan(&got); err != nil || !got {
		conn.Release()
		release()
		if err != nil {
			return nil, false, fmt.Errorf("lock %s: %w", work, domain(err))
		}
		return nil, false, nil
	}
	return func() {
		unlockRun(context.WithoutCancel(ctx), conn, work)
		release()
	}, true, nil
}

// hold acquires a connection for work that will ask for others while it has it.
// Of all connections no more than half are held so, else everybody could wait
// for everybody. The caller releases the connection and then its place.
func (s *Store) hold(ctx context.Context) (conn *pgxpool.Conn, release func(), err error) {
	select {
	case s.held <- struct{}{}:
	case <-ctx.Done():
		return nil, nil, ctx.Err()
	}
	if conn, err = s.pool.Acquire(ctx); err != nil {
		<-s.held
		return nil, nil, err
	}
	return conn, func() { <-s.held }, nil
}

// unlockRun gives a lock back with its connection. One that cannot be asked is
// closed, which gives the lock back too.
func unlockRun(ctx context.Context, conn *pgxpool.Conn, work string) {
	ctx, cancel := context.WithTimeout(ctx, unlockTime)
	defer cancel()
	var held bool
	if err := conn.QueryRow(ctx, unlockRunSQL, work).Scan(&held); err != nil {
		_ = conn.Hijack().Close(ctx) // It is of no use any more.
		return
	}
	conn.Release()
}

const addFeedRunSQL = `
	INSERT INTO feed_run (
		farm, station, feed, run, started_at, took_ms, outcome, detail, status, requests,
		days_added, days_corrected, days_kept, outlook_issued_at, state)
	SELECT
		$1, $2, $3, COALESCE(max(run), 0) + 1, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14
	FROM feed_run
	WHERE farm = $1 AND station = $2 AND feed = $3`

// Keep implements [feed.Store]. Days that another source has given are left as
// they are.
func (s *Store) Keep(ctx context.Context, j feed.Job, r feed.Result, st feed.State, started time.Time) error {
	state, err := json.Marshal(st)
	if err != nil {
		return fmt.Errorf("keep fetch: %w", err)
	}
	by := j.Spec.Source()
	err = s.record(ctx, j.Farm, started.Add(r.Took), func(tx pgx.Tx, at time.Time) error { // When it had come.
		var slug string
		if err := tx.QueryRow(ctx, lockFeedSQL, j.Farm, j.Station, j.Spec.ID).Scan(&slug); err != nil {
			return orNotFound(err, feed.ErrFeedNotFound)
		}
		var stored weather.Stored
		if r.Days != nil {
			d := weather.Delivery{Source: by, Days: r.Days.Days, Remarks: r.Days.Remarks, OnlyOwn: true}
			rows, err := inOrder(d)
			if err != nil {
				return err
			}
			if stored, err = addDays(ctx, tx, j.Farm, j.Station, rows, d, at); err != nil {
				return err
			}
		}
		var issued *time.Time
		if r.Outlook != nil {
			kept, _, err := putOutlook(ctx, tx, j.Farm, j.Station, *r.Outlook, by, at)
			if err != nil {
				return err
			}
			issued = &kept.IssuedAt
		}
		_, err := tx.Exec(ctx, addFeedRunSQL,
			j.Farm, j.Station, j.Spec.ID, instant(started), r.Took.Milliseconds(), r.Outcome, r.Detail, r.Status, r.Requests,
			stored.Added, stored.Corrected, stored.Kept, issued, state)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep fetch: %w", err)
	}
	return nil
}
