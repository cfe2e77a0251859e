package db

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// AddDays records the days of a delivery in one transaction. A date that is on
// record with other values, or of which the source now says something else, is
// corrected: what was there stays on record. Equal days are not recorded again,
// whatever their source. The days may come in any order; a date that comes again
// with the same values is counted as unchanged. Errors:
// [forecast.ErrStationNotFound]; [weather.ErrInvalidDay], also for a date that
// comes with two values.
func (s *Store) AddDays(ctx context.Context, farm, station string, d weather.Delivery, at time.Time) (stored weather.Stored, err error) {
	total := len(d.Days)
	rows, err := inOrder(d)
	if err != nil {
		return weather.Stored{}, fmt.Errorf("add days: %w", err)
	}
	err = s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		stored, err = addDays(ctx, tx, farm, station, rows, d, at)
		return err
	})
	if err != nil {
		return weather.Stored{}, fmt.Errorf("add days: %w", err)
	}
	stored.Unchanged = total - stored.Added - stored.Corrected - stored.Kept
	return stored, nil
}

// dayRow is a delivered day with what its source says of it.
type dayRow struct {
	weather.Day
	remark weather.Remark
}

// inOrder returns the days of d in strictly rising order of date.
func inOrder(d weather.Delivery) ([]dayRow, error) {
	if err := d.Validate(); err != nil {
		return nil, err
	}
	rows := make([]dayRow, len(d.Days))
	for i, day := range d.Days {
		rows[i].Day = day
		if d.Remarks != nil {
			rows[i].remark = d.Remarks[i]
		}
	}
	byDate := func(a, b dayRow) int { return cmp.Compare(a.Date, b.Date) }
	if !slices.IsSortedFunc(rows, byDate) {
		slices.SortStableFunc(rows, byDate)
	}
	n := 0
	for i, r := range rows {
		switch {
		case i > 0 && r.Day == rows[n-1].Day:
		case i > 0 && r.Date == rows[n-1].Date:
			return nil, fmt.Errorf("%w: %s comes with two values", weather.ErrInvalidDay, r.Date)
		default:
			rows[n] = r
			n++
		}
	}
	return rows[:n], nil
}

// addDaysSQL takes the days as arrays. A COPY into a temporary table, the usual
// way, was a tenth faster for the first load of 40 years and slower for
// everything else. The order of latest is that of the key read backwards.
//
// $12 says whether the source makes remarks: one that makes none does not take
// back what another has said. $13 is whether only its own days are revised.
const addDaysSQL = `
	WITH latest AS (
		SELECT DISTINCT ON (day) day, revision, min_c, max_c, flag, hour, source, received_at
		FROM station_day
		WHERE farm = $1 AND station = $2 AND $5 <= day AND day < $6
		ORDER BY day DESC, revision DESC
	), load AS (
		SELECT DATE '1970-01-01' + number AS day, min_c, max_c, flag, hour
		FROM unnest($7::int[], $8::float8[], $9::float8[], $10::text[], $11::int2[]) AS u (number, min_c, max_c, flag, hour)
	), news AS (
		SELECT
			load.day, COALESCE(latest.revision, 0) + 1 AS revision, load.min_c, load.max_c, load.flag, load.hour,
			latest.received_at, $13 AND latest.source <> $3 AS foreign_day
		FROM load
		LEFT JOIN latest USING (day)
		WHERE latest.day IS NULL
			OR (latest.min_c, latest.max_c) IS DISTINCT FROM (load.min_c, load.max_c)
			OR $12 AND (latest.flag, latest.hour) IS DISTINCT FROM (load.flag, load.hour)
	), written AS (
		INSERT INTO station_day (farm, station, day, revision, min_c, max_c, flag, hour, source, received_at)
		SELECT $1, $2, day, revision, min_c, max_c, flag, hour, $3, GREATEST($4, received_at)
		FROM news
		WHERE foreign_day IS NOT TRUE
		RETURNING revision
	)
	SELECT
		count(*) FILTER (WHERE revision = 1), count(*) FILTER (WHERE revision > 1),
		(SELECT count(*) FROM news WHERE foreign_day)
	FROM written`

// addDays wants rows in rising order.
func addDays(ctx context.Context, tx pgx.Tx, farm, station string, rows []dayRow, d weather.Delivery, at time.Time) (stored weather.Stored, err error) {
	var slug string
	if err := tx.QueryRow(ctx, lockStationSQL, farm, station).Scan(&slug); err != nil {
		return stored, orNotFound(err, forecast.ErrStationNotFound)
	}
	if len(rows) == 0 {
		return stored, nil
	}
	n := len(rows)
	numbers, lows, highs := make([]int32, n), make([]float64, n), make([]float64, n)
	flags, hours := make([]string, n), make([]int16, n)
	for i, r := range rows {
		numbers[i], lows[i], highs[i] = int32(r.Date), r.Min, r.Max
		flags[i], hours[i] = r.remark.Flag, int16(r.remark.Hour)
	}
	err = tx.QueryRow(ctx, addDaysSQL,
		farm, station, d.Source, at, rows[0].Date, rows[n-1].Date+1, numbers, lows, highs, flags, hours, d.Remarks != nil, d.OnlyOwn,
	).Scan(&stored.Added, &stored.Corrected, &stored.Kept)
	return stored, err
}

// StationDay is a day as it is on record.
type StationDay struct {
	weather.Day
	weather.Remark
	Source     string
	ReceivedAt time.Time
	Revision   int // 1 as first received, 2 the first correction, and so on.
}

const (
	// The order is that of the key read backwards. The day is a number because
	// a long record is read twice as fast so.
	daysSQL = `
		SELECT DISTINCT ON (day) day - DATE '1970-01-01', min_c, max_c, flag, hour, source, received_at, revision
		FROM station_day
		WHERE
			farm = $1 AND station = $2
			AND ($3::date IS NULL OR $3 <= day) AND ($4::date IS NULL OR day <= $4)
			AND received_at <= $5
		ORDER BY day DESC, revision DESC`

	stationExistsSQL = `
		SELECT station
		FROM station
		WHERE farm = $1 AND station = $2`
)

// Days returns the days of a station from one date to another, both included,
// in order; nil leaves an end open. With knownAt they are those that were on
// record at that instant. Errors: [forecast.ErrStationNotFound].
func (s *Store) Days(ctx context.Context, farm, station string, from, to *weather.Date, knownAt *time.Time) ([]StationDay, error) {
	var days []StationDay
	b := &pgx.Batch{}
	queueStation(b, farm, station)
	b.Queue(daysSQL, farm, station, from, to, known(knownAt)).Query(func(rows pgx.Rows) (err error) {
		days, err = collectStationDays(rows)
		return err
	})
	if err := s.pool.SendBatch(ctx, b).Close(); err != nil {
		return nil, fmt.Errorf("read days: %w", domain(err))
	}
	slices.Reverse(days)
	return days, nil
}

func collectStationDays(rows pgx.Rows) ([]StationDay, error) {
	days := []StationDay{}
	var d StationDay
	_, err := pgx.ForEachRow(rows, []any{(*int32)(&d.Date), &d.Min, &d.Max, &d.Flag, &d.Hour, &d.Source, &d.ReceivedAt, &d.Revision}, func() error {
		days = append(days, d)
		return nil
	})
	return days, err
}

// queueStation makes a batch end with [forecast.ErrStationNotFound] if there is
// no such station.
func queueStation(b *pgx.Batch, farm, station string) {
	b.Queue(stationExistsSQL, farm, station).QueryRow(func(row pgx.Row) error {
		var slug string
		return orNotFound(row.Scan(&slug), forecast.ErrStationNotFound)
	})
}
