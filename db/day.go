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

// AddDays records days of a station in one transaction. A date that is on
// record with other values is corrected: the earlier values stay on record.
// Equal values are not recorded again, whatever their source. The days may
// come in any order; a date that comes again with the same values is counted
// as unchanged. Errors: [forecast.ErrStationNotFound]; [weather.ErrInvalidDay],
// also for a date that comes with two values.
func (s *Store) AddDays(ctx context.Context, farm, station string, days []weather.Day, source string, at time.Time) (added, corrected, unchanged int, err error) {
	total := len(days)
	if days, err = inOrder(days); err != nil {
		return 0, 0, 0, fmt.Errorf("add days: %w", err)
	}
	err = s.write(ctx, func(tx pgx.Tx) error {
		added, corrected, err = addDays(ctx, tx, farm, station, days, source, instant(at))
		return err
	})
	if err != nil {
		return 0, 0, 0, fmt.Errorf("add days: %w", err)
	}
	return added, corrected, total - added - corrected, nil
}

// inOrder returns days in strictly rising order of date. It leaves its
// argument as it is.
func inOrder(days []weather.Day) ([]weather.Day, error) {
	rising := true
	for i := 1; i < len(days) && rising; i++ {
		rising = days[i-1].Date < days[i].Date
	}
	if rising {
		return days, nil
	}
	days = slices.Clone(days)
	slices.SortStableFunc(days, func(a, b weather.Day) int { return cmp.Compare(a.Date, b.Date) })
	n := 1
	for _, d := range days[1:] {
		switch last := days[n-1]; {
		case d == last:
		case d.Date == last.Date:
			return nil, fmt.Errorf("%w: %s comes with two values", weather.ErrInvalidDay, d.Date)
		default:
			days[n] = d
			n++
		}
	}
	return days[:n], nil
}

// addDaysSQL takes the days as arrays. A COPY into a temporary table, the usual
// way, was a tenth faster for the first load of 40 years and slower for
// everything else. The order of latest is that of the key read backwards.
const addDaysSQL = `
	WITH latest AS (
		SELECT DISTINCT ON (day) day, revision, min_c, max_c, received_at
		FROM station_day
		WHERE farm = $1 AND station = $2 AND $5 <= day AND day < $6
		ORDER BY day DESC, revision DESC
	), load AS (
		SELECT DATE '1970-01-01' + number AS day, min_c, max_c
		FROM unnest($7::int[], $8::float8[], $9::float8[]) AS u (number, min_c, max_c)
	), written AS (
		INSERT INTO station_day (farm, station, day, revision, min_c, max_c, source, received_at)
		SELECT
			$1, $2, load.day, COALESCE(latest.revision, 0) + 1, load.min_c, load.max_c,
			$3, GREATEST($4, latest.received_at)
		FROM load
		LEFT JOIN latest USING (day)
		WHERE latest.day IS NULL OR (latest.min_c, latest.max_c) IS DISTINCT FROM (load.min_c, load.max_c)
		RETURNING revision
	)
	SELECT count(*) FILTER (WHERE revision = 1), count(*) FILTER (WHERE revision > 1)
	FROM written`

// addDays wants days in rising order.
func addDays(ctx context.Context, tx pgx.Tx, farm, station string, days []weather.Day, source string, at time.Time) (added, corrected int, err error) {
	var slug string
	if err := tx.QueryRow(ctx, lockStationSQL, farm, station).Scan(&slug); err != nil {
		return 0, 0, orNotFound(err, forecast.ErrStationNotFound)
	}
	if len(days) == 0 {
		return 0, 0, nil
	}
	numbers, lows, highs := make([]int32, len(days)), make([]float64, len(days)), make([]float64, len(days))
	for i, d := range days {
		numbers[i], lows[i], highs[i] = int32(d.Date), d.Min, d.Max
	}
	err = tx.QueryRow(ctx, addDaysSQL,
		farm, station, source, at, days[0].Date, days[len(days)-1].Date+1, numbers, lows, highs,
	).Scan(&added, &corrected)
	return added, corrected, err
}

// StationDay is a day as it is on record.
type StationDay struct {
	weather.Day
	Source     string
	ReceivedAt time.Time
	Revision   int // 1 as first received, 2 the first correction, and so on.
}

const (
	// The order is that of the key read backwards. The day is a number because
	// a long record is read twice as fast so.
	daysSQL = `
		SELECT DISTINCT ON (day) day - DATE '1970-01-01', min_c, max_c, source, received_at, revision
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
	days := []StationDay{}
	b := &pgx.Batch{}
	queueStation(b, farm, station)
	b.Queue(daysSQL, farm, station, from, to, known(knownAt)).Query(func(rows pgx.Rows) error {
		var d StationDay
		_, err := pgx.ForEachRow(rows, []any{(*int32)(&d.Date), &d.Min, &d.Max, &d.Source, &d.ReceivedAt, &d.Revision}, func() error {
			days = append(days, d)
			return nil
		})
		return err
	})
	if err := s.pool.SendBatch(ctx, b).Close(); err != nil {
		return nil, fmt.Errorf("read days: %w", domain(err))
	}
	slices.Reverse(days)
	return days, nil
}

// queueStation makes a batch end with [forecast.ErrStationNotFound] if there is
// no such station.
func queueStation(b *pgx.Batch, farm, station string) {
	b.Queue(stationExistsSQL, farm, station).QueryRow(func(row pgx.Row) error {
		var slug string
		return orNotFound(row.Scan(&slug), forecast.ErrStationNotFound)
	})
}
