package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"ripetide/forecast"
	"ripetide/weather"
)

// PutReadingHours records at which hours a station's thermometers are read, in
// place of what was recorded before, and reports whether it is the first time.
// hours must rise by date; none means that the days are civil days. Errors:
// [forecast.ErrStationNotFound].
func (s *Store) PutReadingHours(ctx context.Context, farm, station string, hours []weather.ReadingHour, by string, at time.Time) (created bool, err error) {
	from, hour := make([]weather.Date, len(hours)), make([]int16, len(hours))
	for i, h := range hours {
		from[i], hour[i] = h.From, int16(h.Hour)
	}
	err = s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		since, err := holdStation(ctx, tx, farm, station)
		if err != nil {
			return err
		}
		was, last, err := scanReadingHours(tx.QueryRow(ctx, readingHoursSQL, farm, station, now))
		switch {
		case errors.Is(err, pgx.ErrNoRows): // The first time.
		case err != nil:
			return err
		case slices.Equal(was, hours):
			created = false
			return nil
		}
		created = last.number == 0
		_, err = tx.Exec(ctx, addReadingHoursSQL, farm, station, last.number+1, later(at, last.at, since), by, from, hour)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("put reading hours: %w", err)
	}
	return created, nil
}

const (
	// Writers of what belongs to a station wait for each other at its row.
	holdStationSQL = `
		SELECT created_at
		FROM station
		WHERE farm = $1 AND station = $2
		FOR NO KEY UPDATE`

	readingHoursSQL = `
		SELECT version, recorded_at, from_day, hour
		FROM reading_hours_version
		WHERE farm = $1 AND station = $2 AND recorded_at <= $3
		ORDER BY version DESC
		LIMIT 1`

	addReadingHoursSQL = `
		INSERT INTO reading_hours_version (farm, station, version, recorded_at, recorded_by, from_day, hour)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`
)

// holdStation locks a station until the end of the transaction and returns the
// instant from which it is known.
func holdStation(ctx context.Context, tx pgx.Tx, farm, station string) (since time.Time, err error) {
	err = tx.QueryRow(ctx, holdStationSQL, farm, station).Scan(&since)
	return since, orNotFound(err, forecast.ErrStationNotFound)
}

func scanReadingHours(row pgx.Row) (hours []weather.ReadingHour, v version, err error) {
	var from []weather.Date
	var hour []int16
	if err := row.Scan(&v.number, &v.at, &from, &hour); err != nil {
		return nil, v, err
	}
	return readingHours(from, hour), v, nil
}

func readingHours(from []weather.Date, hour []int16) []weather.ReadingHour {
	hours := make([]weather.ReadingHour, len(from))
	for i := range hours {
		hours[i] = weather.ReadingHour{From: from[i], Hour: int(hour[i])}
	}
	return hours
}

// PutVerdict records what a person says of a day, in place of what was said
// before, and reports whether it is the first time. A nil verdict takes back
// what was said. Errors: [forecast.ErrStationNotFound];
// [weather.ErrVerdictNotFound] if there is nothing to take back.
func (s *Store) PutVerdict(ctx context.Context, farm, station string, day weather.Date, v *weather.Verdict, by string, at time.Time) (created bool, err error) {
	word, judge, note := "none", by, ""
	if v != nil {
		word, judge, note = verdictWord(v.Use), v.By, v.Note
	}
	err = s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		since, err := holdStation(ctx, tx, farm, station)
		if err != nil {
			return err
		}
		var last version
		var was [3]string
		err = tx.QueryRow(ctx, verdictSQL, farm, station, day).Scan(&last.number, &last.at, &was[0], &was[1], &was[2])
		switch {
		case errors.Is(err, pgx.ErrNoRows): // The first time.
		case err != nil:
			return err
		}
		if none := last.number == 0 || was[0] == "none"; none && v == nil {
			return weather.ErrVerdictNotFound
		} else if !none && was == [3]string{word, judge, note} {
			created = false
			return nil
		} else {
			created = none
		}
		_, err = tx.Exec(ctx, addVerdictSQL, farm, station, day, last.number+1, later(at, last.at, since), by, word, judge, note)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("put verdict: %w", err)
	}
	return created, nil
}

const (
	verdictSQL = `
		SELECT version, recorded_at, verdict, judged_by, note
		FROM day_verdict_version
		WHERE farm = $1 AND station = $2 AND day = $3
		ORDER BY version DESC
		LIMIT 1`

	addVerdictSQL = `
		INSERT INTO day_verdict_version (
			farm, station, day, version, recorded_at, recorded_by, verdict, judged_by, note)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`
)

func verdictWord(use bool) string {
	if use {
		return "use"
	}
	return "leave_out"
}

// DayHistory is everything that was ever recorded of a day, oldest first.
type DayHistory struct {
	Values   []StationDay
	Verdicts []VerdictVersion
}

// VerdictVersion is a verdict as it was recorded; nil took one back.
type VerdictVersion struct {
	Verdict    *weather.Verdict
	RecordedAt time.Time
	RecordedBy string
}

const (
	dayHistorySQL = `
		SELECT day - DATE '1970-01-01', min_c, max_c, flag, hour, source, received_at, revision
		FROM station_day
		WHERE farm = $1 AND station = $2 AND day = $3
		ORDER BY revision`

	verdictHistorySQL = `
		SELECT recorded_at, recorded_by, verdict, judged_by, note
		FROM day_verdict_version
		WHERE farm = $1 AND station = $2 AND day = $3
		ORDER BY version`
)

// DayHistory returns everything that was ever recorded of a day; a day that was
// never on record has no values. Errors: [forecast.ErrStationNotFound].
func (s *Store) DayHistory(ctx context.Context, farm, station string, day weather.Date) (DayHistory, error) {
	h := DayHistory{Values: []StationDay{}, Verdicts: []VerdictVersion{}}
	b := &pgx.Batch{}
	queueStation(b, farm, station)
	b.Queue(dayHistorySQL, farm, station, day).Query(func(rows pgx.Rows) (err error) {
		h.Values, err = collectStationDays(rows)
		return err
	})
	b.Queue(verdictHistorySQL, farm, station, day).Query(func(rows pgx.Rows) (err error) {
		h.Verdicts, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (v VerdictVersion, err error) {
			var word string
			said := weather.Verdict{Date: day}
			if err := row.Scan(&v.RecordedAt, &v.RecordedBy, &word, &said.By, &said.Note); err != nil {
				return v, err
			}
			if word != "none" {
				said.Use = word == "use"
				v.Verdict = &said
			}
			return v, nil
		})
		return err
	})
	if err := s.pool.SendBatch(ctx, b).Close(); err != nil {
		return DayHistory{}, fmt.Errorf("read history of a day: %w", domain(err))
	}
	return h, nil
}

// Corrections returns the days of a station that were corrected since an
// instant, as they are now, the latest correction first and at most limit.
// Errors: [forecast.ErrStationNotFound].
func (s *Store) Corrections(ctx context.Context, farm, station string, since time.Time, limit int) ([]StationDay, error) {
	var days []StationDay
	b := &pgx.Batch{}
	queueStation(b, farm, station)
	b.Queue(correctionsSQL, farm, station, instant(since), limit).Query(func(rows pgx.Rows) (err error) {
		days, err = collectStationDays(rows)
		return err
	})
	if err := s.pool.SendBatch(ctx, b).Close(); err != nil {
		return nil, fmt.Errorf("read corrections: %w", domain(err))
	}
	return days, nil
}

const correctionsSQL = `
	SELECT day - DATE '1970-01-01', min_c, max_c, flag, hour, source, received_at, revision
	FROM station_day
	WHERE farm = $1 AND station = $2 AND revision > 1 AND received_at >= $3
	ORDER BY received_at DESC, day DESC, revision DESC
	LIMIT $4`

const (
	recordStationSQL = `
		SELECT version, recorded_at, station, name, latitude, longitude, elevation_m, COALESCE(stand_in, ''), suspects
		FROM station_version
		WHERE farm = $1 AND station = $2 AND recorded_at <= $3
		ORDER BY version DESC
		LIMIT 1`

	recordDaysSQL = `
		SELECT DISTINCT ON (day) station, day - DATE '1970-01-01', min_c, max_c, flag
		FROM station_day
		WHERE farm = $1 AND station = $2 AND received_at <= $3
		ORDER BY day DESC, revision DESC`

	// inputHoursSQL and inputVerdictsSQL read those of one station, or of all.
	inputHoursSQL = `
		SELECT DISTINCT ON (station) station, from_day, hour
		FROM reading_hours_version
		WHERE farm = $1 AND recorded_at <= $2 AND ($3 = '' OR station = $3)
		ORDER BY station, version DESC`

	inputVerdictsSQL = `
		SELECT DISTINCT ON (station, day) station, day, verdict, judged_by, note
		FROM day_verdict_version
		WHERE farm = $1 AND recorded_at <= $2 AND ($3 = '' OR station = $3)
		ORDER BY station, day, version DESC`
)

// Record returns a station with its days as they were on record at knownAt, nil
// being now, without its outlooks. Errors: [forecast.ErrStationNotFound].
func (s *Store) Record(ctx context.Context, farm, station string, knownAt *time.Time) (forecast.Record, error) {
	var st weather.Station
	r := newRecords()
	at := known(knownAt)
	b := &pgx.Batch{}
	b.BeginTx(pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	b.Queue(recordStationSQL, farm, station, at).QueryRow(func(row pgx.Row) (err error) {
		st, _, err = scanStation(row)
		return orNotFound(err, forecast.ErrStationNotFound)
	})
	b.Queue(recordDaysSQL, farm, station, at).Query(r.collectDays)
	r.queueJudgements(b, farm, station, at)
	if err := s.sendReading(ctx, b); err != nil {
		return forecast.Record{}, fmt.Errorf("read record: %w", domain(err))
	}
	return r.of(st)
}

// records gathers what belongs to the days of stations.
type records struct {
	days     map[string][]weather.Day // Latest first.
	flags    map[string][]weather.Flag
	hours    map[string][]weather.ReadingHour
	verdicts map[string][]weather.Verdict
}

func newRecords() *records {
	return &records{
		map[string][]weather.Day{}, map[string][]weather.Flag{},
		map[string][]weather.ReadingHour{}, map[string][]weather.Verdict{},
	}
}

// of returns the record of a station.
func (r *records) of(st weather.Station) (forecast.Record, error) {
	days, flags := r.days[st.ID], r.flags[st.ID]
	slices.Reverse(days)
	slices.Reverse(flags)
	series, err := weather.NewSeries(days)
	if err != nil {
		return forecast.Record{}, fmt.Errorf("read days of %s: %w", st.ID, err)
	}
	return forecast.Record{
		Station: st, Days: series, Flags: flags, Hours: r.hours[st.ID], Verdicts: r.verdicts[st.ID],
	}, nil
}

// queueJudgements reads what is set and said of the days of one station, or of
// all with "".
func (r *records) queueJudgements(b *pgx.Batch, farm, station string, at any) {
	b.Queue(inputHoursSQL, farm, at, station).Query(func(rows pgx.Rows) error {
		var st string
		var from []weather.Date
		var hour []int16
		_, err := pgx.ForEachRow(rows, []any{&st, &from, &hour}, func() error {
			r.hours[st] = readingHours(from, hour)
			return nil
		})
		return err
	})
	b.Queue(inputVerdictsSQL, farm, at, station).Query(func(rows pgx.Rows) error {
		var st, word string
		var v weather.Verdict
		_, err := pgx.ForEachRow(rows, []any{&st, &v.Date, &word, &v.By, &v.Note}, func() error {
			if word != "none" {
				v.Use = word == "use"
				r.verdicts[st] = append(r.verdicts[st], v)
			}
			return nil
		})
		return err
	})
}

// collectDays reads station, day, min_c, max_c and flag, by station.
func (r *records) collectDays(rows pgx.Rows) error {
	var station, flag pgtype.DriverBytes // Tell without a copy whether there is anything new.
	var d weather.Day
	var last string
	var of []weather.Day // The days of last.
	_, err := pgx.ForEachRow(rows, []any{&station, (*int32)(&d.Date), &d.Min, &d.Max, &flag}, func() error {
		if string(station) != last {
			r.days[last] = of
			last, of = string(station), nil
		}
		of = append(of, d)
		if len(flag) > 0 {
			r.flags[last] = append(r.flags[last], weather.Flag{Date: d.Date, Text: string(flag)})
		}
		return nil
	})
	r.days[last] = of
	return err
}

// sendReading sends a batch that begins a transaction and only reads.
func (s *Store) sendReading(ctx context.Context, b *pgx.Batch) error {
	batch := s.pool.SendBatch(ctx, b)
	tx := batch.Tx()
	err := batch.Close()
	if tx != nil {
		_ = tx.Rollback(ctx) // It has read only; a connection that is lost shows in err.
	}
	return err
}
