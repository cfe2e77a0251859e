package db

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

// PutFarm records what is known of a farm and reports whether it is a new one.
// What is known already is not recorded again. Errors: a
// [*forecast.FieldError] if the farm would cross the equator and its sightings
// with it into another season.
func (s *Store) PutFarm(ctx context.Context, f forecast.Farm, by string, at time.Time) (created bool, err error) {
	return put(ctx, s, "farm", at, revision[forecast.Farm]{
		lockSQL: lockFarmSQL, addSQL: addFarmSQL, key: []any{f.ID},
		read: func(ctx context.Context, tx pgx.Tx) (forecast.Farm, version, error) {
			return queryFarm(ctx, tx, f.ID)
		},
		same: func(was forecast.Farm) bool { return sameFarm(was, f) },
		write: func(ctx context.Context, tx pgx.Tx, was forecast.Farm, last version, at time.Time) error {
			if last.number > 0 && was.Southern() != f.Southern() {
				if err := checkSeasons(ctx, tx, f); err != nil {
					return err
				}
			}
			o := f.Opening
			var weekdays []int16
			for _, d := range o.Weekdays {
				weekdays = append(weekdays, int16(d))
			}
			var channelNames, holidayNames, holidayRules []string
			var channelDays []int32
			for _, c := range o.Channels {
				channelNames, channelDays = append(channelNames, c.Name), append(channelDays, int32(c.NoticeDays))
			}
			for _, h := range f.Holidays {
				holidayNames, holidayRules = append(holidayNames, h.Name), append(holidayRules, h.Rule)
			}
			_, err := tx.Exec(ctx, addFarmVersionSQL,
				f.ID, last.number+1, later(at, last.at), by, f.Name, f.Latitude, f.Longitude, f.TimeZone, f.Units,
				f.ThinKgPerDay, f.GapProbability, o.ReadyKg, o.ReadyShare, o.Confidence,
				weekdays, o.NoticeDays, kgOn(o.ReadyKgOn), o.FirstVarieties,
				channelNames, channelDays, holidayNames, holidayRules)
			return err
		},
	})
}

const (
	addFarmSQL = `
		INSERT INTO farm (farm, created_at)
		VALUES ($1, $2)
		ON CONFLICT DO NOTHING`

	lockFarmSQL = `
		SELECT farm
		FROM farm
		WHERE farm = $1
		FOR NO KEY UPDATE`

	addFarmVersionSQL = `
		INSERT INTO farm_version (
			farm, version, recorded_at, recorded_by, name, latitude, longitude, time_zone, units,
			thin_kg_per_day, gap_probability, opening_ready_kg, opening_ready_share, opening_confidence,
			opening_weekdays, opening_notice_days, opening_ready_kg_on, opening_first_varieties,
			channel_names, channel_notice_days, holiday_names, holiday_rules)
		VALUES (
			$1, $2, $3, $4, $5, $6, $7, $8, $9,
			NULLIF($10::float8, 0), NULLIF($11::float8, 0), NULLIF($12::float8, 0), NULLIF($13::float8, 0), NULLIF($14::float8, 0),
			$15, NULLIF($16::int, 0), $17, NULLIF($18::int, 0),
			$19, $20, $21, $22)`
)

func sameFarm(a, b forecast.Farm) bool {
	x, y := a.Opening, b.Opening
	return a.ID == b.ID && a.Name == b.Name && a.Latitude == b.Latitude && a.Longitude == b.Longitude &&
		a.TimeZone == b.TimeZone && a.Units == b.Units && a.ThinKgPerDay == b.ThinKgPerDay &&
		a.GapProbability == b.GapProbability && x.ReadyKg == y.ReadyKg && x.ReadyShare == y.ReadyShare &&
		x.Confidence == y.Confidence && slices.Equal(x.Weekdays, y.Weekdays) && x.NoticeDays == y.NoticeDays &&
		x.ReadyKgOn == y.ReadyKgOn && x.FirstVarieties == y.FirstVarieties &&
		slices.Equal(x.Channels, y.Channels) && slices.Equal(a.Holidays, b.Holidays)
}

// kgOn is NULL when no weekday has a weight of its own.
func kgOn(kg [7]float64) []float64 {
	if kg == [7]float64{} {
		return nil
	}
	return kg[:]
}

// checkSeasons refuses to move a farm over the equator if sightings would
// change their season, which is stored with them.
func checkSeasons(ctx context.Context, tx pgx.Tx, f forecast.Farm) error {
	sightings, err := querySightings(ctx, tx, f.ID, SightingFilter{})
	if err != nil {
		return err
	}
	for _, s := range sightings {
		if forecast.SeasonOf(s.Date, f.Southern()) != forecast.SeasonOf(s.Date, !f.Southern()) {
			return &forecast.FieldError{
				Field: "latitude",
				Reason: fmt.Sprintf("must stay on its side of the equator: the sighting of %s on %s would belong to another season (withdraw it first)",
					s.Planting, s.Date),
			}
		}
	}
	return nil
}

// Farm returns what is known of a farm, or [forecast.ErrFarmNotFound].
func (s *Store) Farm(ctx context.Context, farm string) (forecast.Farm, error) {
	f, _, err := queryFarm(ctx, s.pool, farm)
	if err != nil {
		return forecast.Farm{}, fmt.Errorf("read farm: %w", domain(orNotFound(err, forecast.ErrFarmNotFound)))
	}
	return f, nil
}

// farmSQL reads the newest version recorded by $2.
const farmSQL = `
	SELECT
		version, recorded_at, farm, name, latitude, longitude, time_zone, units,
		COALESCE(thin_kg_per_day, 0), COALESCE(gap_probability, 0), COALESCE(opening_ready_kg, 0),
		COALESCE(opening_ready_share, 0), COALESCE(opening_confidence, 0),
		opening_weekdays, COALESCE(opening_notice_days, 0), opening_ready_kg_on, COALESCE(opening_first_varieties, 0),
		channel_names, channel_notice_days, holiday_names, holiday_rules
	FROM farm_version
	WHERE farm = $1 AND recorded_at <= $2
	ORDER BY version DESC
	LIMIT 1`

func queryFarm(ctx context.Context, q querier, farm string) (forecast.Farm, version, error) {
	return scanFarm(q.QueryRow(ctx, farmSQL, farm, now))
}

func scanFarm(row pgx.Row) (f forecast.Farm, v version, err error) {
	var weekdays []int16
	var kg []float64
	var channelNames, holidayNames, holidayRules []string
	var channelDays []int32
	o := &f.Opening
	err = row.Scan(
		&v.number, &v.at, &f.ID, &f.Name, &f.Latitude, &f.Longitude, &f.TimeZone, &f.Units,
		&f.ThinKgPerDay, &f.GapProbability, &o.ReadyKg, &o.ReadyShare, &o.Confidence,
		&weekdays, &o.NoticeDays, &kg, &o.FirstVarieties, &channelNames, &channelDays, &holidayNames, &holidayRules)
	copy(o.ReadyKgOn[:], kg)
	for i, name := range channelNames {
		o.Channels = append(o.Channels, forecast.Channel{Name: name, NoticeDays: int(channelDays[i])})
	}
	for i, name := range holidayNames {
		f.Holidays = append(f.Holidays, forecast.Holiday{Name: name, Rule: holidayRules[i]})
	}
	for _, d := range weekdays {
		o.Weekdays = append(o.Weekdays, time.Weekday(d))
	}
	return f, v, err
}

const farmsSQL = `
	SELECT DISTINCT ON (farm)
		version, recorded_at, farm, name, latitude, longitude, time_zone, units,
		COALESCE(thin_kg_per_day, 0), COALESCE(gap_probability, 0), COALESCE(opening_ready_kg, 0),
		COALESCE(opening_ready_share, 0), COALESCE(opening_confidence, 0),
		opening_weekdays, COALESCE(opening_notice_days, 0), opening_ready_kg_on, COALESCE(opening_first_varieties, 0),
		channel_names, channel_notice_days, holiday_names, holiday_rules
	FROM farm_version
	ORDER BY farm, version DESC`

// Farms returns all farms in order of their slugs.
func (s *Store) Farms(ctx context.Context) ([]forecast.Farm, error) {
	rows, _ := s.pool.Query(ctx, farmsSQL)
	farms, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.Farm, error) {
		f, _, err := scanFarm(row)
		return f, err
	})
	if err != nil {
		return nil, fmt.Errorf("read farms: %w", domain(err))
	}
	return farms, nil
}
