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

// inputDaysSQL reads the record of every station of a farm, in the order of the
// key backwards; see daysSQL.
const inputDaysSQL = `
	SELECT DISTINCT ON (station, day) station, day - DATE '1970-01-01', min_c, max_c
	FROM station_day
	WHERE farm = $1 AND received_at <= $2
	ORDER BY station DESC, day DESC, revision DESC`

// Inputs returns everything about a farm that had been recorded by the instant
// knownAt, all of one moment, in two round trips. Errors:
// [forecast.ErrFarmNotFound].
func (s *Store) Inputs(ctx context.Context, farm string, knownAt time.Time) (forecast.Inputs, error) {
	var in forecast.Inputs
	var stations []weather.Station
	days := make(map[string][]weather.Day)
	var outlooks map[string][]weather.Outlook
	at := instant(knownAt)

	b := &pgx.Batch{}
	b.BeginTx(pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	b.Queue(farmSQL, farm, at).QueryRow(func(row pgx.Row) (err error) {
		in.Farm, _, err = scanFarm(row)
		return orNotFound(err, forecast.ErrFarmNotFound)
	})
	b.Queue(stationsSQL, farm, at).Query(func(rows pgx.Rows) (err error) {
		stations, err = collectStations(rows)
		return err
	})
	b.Queue(varietiesSQL, farm, at).Query(func(rows pgx.Rows) (err error) {
		in.Varieties, err = collectVarieties(rows)
		return err
	})
	b.Queue(plantingsSQL, farm, at).Query(func(rows pgx.Rows) (err error) {
		in.Plantings, err = collectPlantings(rows)
		return err
	})
	b.Queue(sightingsSQL, farm, at, nil, "").Query(func(rows pgx.Rows) (err error) {
		in.Sightings, err = collectSightings(rows)
		return err
	})
	b.Queue(inputDaysSQL, farm, at).Query(func(rows pgx.Rows) error {
		return collectDays(rows, days)
	})
	b.Queue(inputOutlooksSQL, farm, at).Query(func(rows pgx.Rows) (err error) {
		outlooks, err = collectOutlooks(rows)
		return err
	})
	b.Queue(methodSQL, farm, at).QueryRow(func(row pgx.Row) error {
		c, _, err := scanChoice(row)
		switch {
		case err == nil:
			in.Choice = &c
		case errors.Is(err, pgx.ErrNoRows): // The farm never chose.
			return nil
		}
		return err
	})
	batch := s.pool.SendBatch(ctx, b)
	tx := batch.Tx()
	err := batch.Close()
	if tx != nil {
		_ = tx.Rollback(ctx) // It has read only; a connection that is lost shows in err.
	}
	if err != nil {
		return forecast.Inputs{}, fmt.Errorf("read inputs: %w", domain(err))
	}

	in.Records = make([]forecast.Record, len(stations))
	for i, st := range stations {
		d := days[st.ID]
		slices.Reverse(d)
		series, err := weather.NewSeries(d)
		if err != nil {
			return forecast.Inputs{}, fmt.Errorf("read days of %s: %w", st.ID, err)
		}
		in.Records[i] = forecast.Record{Station: st, Days: series, Outlooks: outlooks[st.ID]}
	}
	return in, nil
}

// collectDays adds the days of each station to days.
func collectDays(rows pgx.Rows, days map[string][]weather.Day) error {
	var station pgtype.DriverBytes // Tells without a copy whether it is still the same.
	var d weather.Day
	var last string
	var of []weather.Day // The days of last.
	_, err := pgx.ForEachRow(rows, []any{&station, (*int32)(&d.Date), &d.Min, &d.Max}, func() error {
		if string(station) != last {
			days[last] = of
			last, of = string(station), nil
		}
		of = append(of, d)
		return nil
	})
	days[last] = of
	return err
}
