package db

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// inputDaysSQL reads the record of every station of a farm, in the order of the
// key backwards; see daysSQL.
const inputDaysSQL = `
	SELECT DISTINCT ON (station, day) station, day - DATE '1970-01-01', min_c, max_c, flag
	FROM station_day
	WHERE farm = $1 AND received_at <= $2
	ORDER BY station DESC, day DESC, revision DESC`

// Inputs returns everything about a farm that had been recorded by the instant
// knownAt, all of one moment, in two round trips. Errors:
// [forecast.ErrFarmNotFound].
func (s *Store) Inputs(ctx context.Context, farm string, knownAt time.Time) (forecast.Inputs, error) {
	var in forecast.Inputs
	var stations []weather.Station
	records := newRecords()
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
	pickings.queue(b, farm, at, &in.Pickings)
	frosts.queue(b, farm, at, &in.Frosts)
	b.Queue(decisionsSQL, farm, nil, at).Query(func(rows pgx.Rows) (err error) {
		in.Decisions, err = pgx.CollectRows(rows, scanDecision)
		return err
	})
	b.Queue(inputDaysSQL, farm, at).Query(records.collectDays)
	records.queueJudgements(b, farm, "", at)
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
	if err := s.sendReading(ctx, b); err != nil {
		return forecast.Inputs{}, fmt.Errorf("read inputs: %w", domain(err))
	}
	in.Records = make([]forecast.Record, len(stations))
	for i, st := range stations {
		r, err := records.of(st)
		if err != nil {
			return forecast.Inputs{}, err
		}
		r.Outlooks = outlooks[st.ID]
		in.Records[i] = r
	}
	return in, nil
}
