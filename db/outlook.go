package db

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/weather"
)

// StationOutlook is an outlook as it is on record.
type StationOutlook struct {
	weather.Outlook
	ReceivedAt time.Time
	Version    int // 1 as first received, 2 what was first put in its place, and so on.
}

// PutOutlook records an outlook for a station and reports whether it is a new
// one. Outlooks are told apart by their IssuedAt. One that comes again with
// other days is a new version, beside which the earlier ones are kept; one that
// comes again as it was is not recorded again. kept is what counts in the end.
// Errors: [forecast.ErrStationNotFound]; [weather.ErrInvalidDay], also for
// days with a hole.
func (s *Store) PutOutlook(ctx context.Context, farm, station string, o weather.Outlook, by string, at time.Time) (kept StationOutlook, created bool, err error) {
	err = s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		kept, created, err = putOutlook(ctx, tx, farm, station, o, by, at)
		return err
	})
	if err != nil {
		return StationOutlook{}, false, fmt.Errorf("put outlook: %w", err)
	}
	return kept, created, nil
}

func putOutlook(ctx context.Context, tx pgx.Tx, farm, station string, o weather.Outlook, by string, at time.Time) (kept StationOutlook, created bool, err error) {
	o.IssuedAt = instant(o.IssuedAt)
	first, minC, maxC, err := outlookColumns(o.Days)
	if err != nil {
		return StationOutlook{}, false, err
	}
	created, err = revision[weather.Outlook]{
		lockSQL: lockOutlookSQL, addSQL: addOutlookSQL, key: []any{farm, station, o.IssuedAt},
		read: func(ctx context.Context, tx pgx.Tx) (weather.Outlook, version, error) {
			was, err := scanOutlook(tx.QueryRow(ctx, outlookSQL, farm, station, o.IssuedAt))
			kept = was
			return was.Outlook, version{was.Version, was.ReceivedAt}, err
		},
		same: func(was weather.Outlook) bool { return slices.Equal(was.Days.Days(), o.Days.Days()) },
		write: func(ctx context.Context, tx pgx.Tx, _ weather.Outlook, last version, at time.Time) error {
			var known time.Time // The instant from which the station is known.
			if err := tx.QueryRow(ctx, stationSinceSQL, farm, station).Scan(&known); err != nil {
				return err
			}
			kept = StationOutlook{o, later(at, last.at, known), last.number + 1}
			_, err := tx.Exec(ctx, addOutlookVersionSQL,
				farm, station, o.IssuedAt, kept.Version, kept.ReceivedAt, by, first, minC, maxC)
			return err
		},
	}.put(ctx, tx, at)
	return kept, created, err
}

const (
	addOutlookSQL = `
		INSERT INTO outlook (farm, station, issued_at, created_at)
		VALUES ($1, $2, $3, $4)
		ON CONFLICT DO NOTHING`

	lockOutlookSQL = `
		SELECT station
		FROM outlook
		WHERE farm = $1 AND station = $2 AND issued_at = $3
		FOR NO KEY UPDATE`

	outlookSQL = `
		SELECT station, issued_at, version, received_at, first_day, min_c, max_c
		FROM outlook_version
		WHERE farm = $1 AND station = $2 AND issued_at = $3
		ORDER BY version DESC
		LIMIT 1`

	addOutlookVersionSQL = `
		INSERT INTO outlook_version (
			farm, station, issued_at, version, received_at, recorded_by, first_day, min_c, max_c)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`
)

// outlookColumns returns days, °C, as they are stored: those after the first
// are told by their place alone.
func outlookColumns(days weather.Series) (first weather.Date, minC, maxC []float64, err error) {
	first, last, ok := days.Span()
	if !ok || int(last-first)+1 != days.Len() {
		return 0, nil, nil, fmt.Errorf("%w: the days of an outlook are one or more without a hole", weather.ErrInvalidDay)
	}
	for _, d := range days.Days() {
		minC, maxC = append(minC, d.Min), append(maxC, d.Max)
	}
	return first, minC, maxC, nil
}

func scanOutlook(row pgx.Row) (o StationOutlook, err error) {
	var station string
	var r outlookRow
	if err := row.Scan(&station, &o.IssuedAt, &o.Version, &o.ReceivedAt, &r.first, &r.minC, &r.maxC); err != nil {
		return StationOutlook{}, err
	}
	o.Days, err = r.days()
	return o, err
}

// outlookRow is what is stored of the days of an outlook.
type outlookRow struct {
	first      weather.Date
	minC, maxC []float64 // °C.
}

func (r *outlookRow) days() (weather.Series, error) {
	days := make([]weather.Day, len(r.minC))
	for i := range days {
		days[i] = weather.Day{Date: r.first + weather.Date(i), Min: r.minC[i], Max: r.maxC[i]}
	}
	return weather.NewSeries(days)
}

// latestOutlookSQL reads the newest of what was received by $3.
const latestOutlookSQL = `
	SELECT station, issued_at, version, received_at, first_day, min_c, max_c
	FROM outlook_version
	WHERE farm = $1 AND station = $2 AND received_at <= $3
	ORDER BY issued_at DESC, version DESC
	LIMIT 1`

// LatestOutlook returns the outlook for a station that was issued last, of
// those that were on record at knownAt; nil is now. Errors:
// [forecast.ErrStationNotFound], [weather.ErrOutlookNotFound].
func (s *Store) LatestOutlook(ctx context.Context, farm, station string, knownAt *time.Time) (StationOutlook, error) {
	var o StationOutlook
	b := &pgx.Batch{}
	queueStation(b, farm, station)
	b.Queue(latestOutlookSQL, farm, station, known(knownAt)).QueryRow(func(row pgx.Row) (err error) {
		o, err = scanOutlook(row)
		return orNotFound(err, weather.ErrOutlookNotFound)
	})
	if err := s.pool.SendBatch(ctx, b).Close(); err != nil {
		return StationOutlook{}, fmt.Errorf("read outlook: %w", domain(err))
	}
	return o, nil
}

// outlooksSQL reads backwards; see daysSQL.
const outlooksSQL = `
	SELECT DISTINCT ON (issued_at) station, issued_at, version, received_at, first_day, min_c, max_c
	FROM outlook_version
	WHERE
		farm = $1 AND station = $2
		AND ($3::timestamptz IS NULL OR $3 <= issued_at) AND ($4::timestamptz IS NULL OR issued_at < $4)
		AND received_at <= $5
	ORDER BY issued_at DESC, version DESC`

// Outlooks returns the outlooks for a station that were issued from one instant
// on and before another, in that order; nil leaves an end open. With knownAt
// they are those that were on record at that instant. Errors:
// [forecast.ErrStationNotFound].
func (s *Store) Outlooks(ctx context.Context, farm, station string, from, to, knownAt *time.Time) ([]StationOutlook, error) {
	var outlooks []StationOutlook
	b := &pgx.Batch{}
	queueStation(b, farm, station)
	b.Queue(outlooksSQL, farm, station, from, to, known(knownAt)).Query(func(rows pgx.Rows) (err error) {
		outlooks, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (StationOutlook, error) { return scanOutlook(row) })
		return err
	})
	if err := s.pool.SendBatch(ctx, b).Close(); err != nil {
		return nil, fmt.Errorf("read outlooks: %w", domain(err))
	}
	slices.Reverse(outlooks)
	return outlooks, nil
}

// inputOutlooksSQL reads the outlooks for every station of a farm. The instant
// leads the order because it is compared faster than a station: ten years of
// daily outlooks are read in three quarters of the time.
const inputOutlooksSQL = `
	SELECT DISTINCT ON (issued_at, station) station, issued_at, first_day, min_c, max_c
	FROM outlook_version
	WHERE farm = $1 AND received_at <= $2
	ORDER BY issued_at, station, version DESC`

// collectOutlooks returns the outlooks for each station, the one issued first first.
func collectOutlooks(rows pgx.Rows) (map[string][]weather.Outlook, error) {
	outlooks := make(map[string][]weather.Outlook)
	var station string
	var issued time.Time
	var r outlookRow
	_, err := pgx.ForEachRow(rows, []any{&station, &issued, &r.first, &r.minC, &r.maxC}, func() error {
		days, err := r.days()
		outlooks[station] = append(outlooks[station], weather.Outlook{IssuedAt: issued, Days: days})
		return err
	})
	return outlooks, err
}
