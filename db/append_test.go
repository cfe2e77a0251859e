package db_test

import (
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// TestHistoryCannotBeChanged tries every door to every table as a superuser.
func TestHistoryCannotBeChanged(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	if _, _, _, err := s.AddDays(t.Context(), "hill", "barn", []weather.Day{{Date: date("2026-05-01"), Min: 4, Max: 16}}, "test", t0); err != nil {
		t.Fatal(err)
	}
	bloom := forecast.Sighting{Planting: "north", Date: date("2026-05-08"), Stage: forecast.Bloom10, Seen: true}
	results, err := s.AddSightings(t.Context(), "hill", []forecast.Sighting{bloom}, "test", t0)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.WithdrawSighting(t.Context(), "hill", results[0].Sighting.ID, "test", t0); err != nil {
		t.Fatal(err)
	}
	if err := s.Freeze(t.Context(), frozen("one", "2026-06-01", 0, false)); err != nil {
		t.Fatal(err)
	}
	if err := s.NewKey(t.Context(), db.Key{ID: "k", Role: "owner", Name: "Key", CreatedAt: t0}); err != nil {
		t.Fatal(err)
	}

	rows, _ := pool.Query(t.Context(), `
		SELECT relname::text FROM pg_class
		WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname <> 'goose_db_version'`)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) != 13 {
		t.Fatalf("%d tables, %v, want 13", len(tables), err)
	}
	for _, table := range tables {
		before := count(t, pool, table)
		if before == 0 {
			t.Errorf("%s is empty, which proves nothing", table)
		}
		for _, sql := range []string{
			"UPDATE " + table + " SET farm = farm",
			"UPDATE " + table + " SET farm = 'other' WHERE false",
			"DELETE FROM " + table,
			"TRUNCATE " + table + " CASCADE",
			"SET session_replication_role = replica; DELETE FROM " + table,
			"SET session_replication_role = replica; UPDATE " + table + " SET farm = 'other'",
			"INSERT INTO " + table + " SELECT * FROM " + table + " ON CONFLICT DO NOTHING; DELETE FROM " + table,
			"WITH gone AS (DELETE FROM " + table + " RETURNING 1) SELECT count(*) FROM gone",
		} {
			// No arguments: several statements are one transaction, and the
			// setting goes with it.
			_, err := pool.Exec(t.Context(), sql)
			if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.Code != "23001" {
				t.Errorf("%s: %v, want a refusal", sql, err)
			}
		}
		if after := count(t, pool, table); after != before {
			t.Errorf("%s had %d rows and has %d", table, before, after)
		}
	}
	if _, err := pool.Exec(t.Context(), `
		INSERT INTO frozen_forecast SELECT * FROM frozen_forecast
		ON CONFLICT (farm, id) DO UPDATE SET body = 'forged'`); err == nil {
		t.Error("a frozen forecast was replaced by ON CONFLICT")
	}
	if _, err := pool.Exec(t.Context(), `
		MERGE INTO frozen_forecast AS f USING frozen_forecast AS g ON f.id = g.id
		WHEN MATCHED THEN UPDATE SET body = 'forged'`); err == nil {
		t.Error("a frozen forecast was replaced by MERGE")
	}
	if f, err := s.Forecast(t.Context(), "hill", "one"); err != nil || string(f.Body) != string(frozen("one", "2026-06-01", 0, false).Body) {
		t.Errorf("the frozen forecast is now %q, %v", f.Body, err)
	}
}

// TestConstraintsRefuse breaks constraints with raw rows, which only the
// database can refuse.
func TestConstraintsRefuse(t *testing.T) {
	t.Parallel()
	_, pool := farmed(t)
	for constraint, sql := range map[string]string{
		"farm_slug_check":                   `INSERT INTO farm VALUES ('No Slug', now())`,
		"station_farm_fk":                   `INSERT INTO station VALUES ('dale', 'barn', now())`,
		"station_slug_check":                `INSERT INTO station VALUES ('hill', '../etc', now())`,
		"variety_farm_fk":                   `INSERT INTO variety VALUES ('dale', 'jewel', now())`,
		"planting_farm_fk":                  `INSERT INTO planting VALUES ('dale', 'north', now())`,
		"station_version_stand_in_fk":       stationVersion(`2, 'Barn', 0, 0, 0, 'tower'`),
		"station_version_stand_in_check":    stationVersion(`2, 'Barn', 0, 0, 0, 'barn'`),
		"station_version_pk":                stationVersion(`1, 'Barn', 0, 0, 0, NULL`),
		"station_version_elevation_check":   stationVersion(`2, 'Barn', 0, 0, 'NaN', NULL`),
		"station_version_latitude_check":    stationVersion(`2, 'Barn', 90.5, 0, 0, NULL`),
		"station_version_longitude_check":   stationVersion(`2, 'Barn', 0, 'NaN', 0, NULL`),
		"station_version_version_check":     stationVersion(`0, 'Barn', 0, 0, 0, NULL`),
		"planting_version_variety_fk":       plantingVersion(`'earliglow', 'barn', '2020-05-01', NULL, 1, 1`),
		"planting_version_station_fk":       plantingVersion(`'jewel', 'tower', '2020-05-01', NULL, 1, 1`),
		"planting_version_removed_check":    plantingVersion(`'jewel', 'barn', '2020-05-01', '2020-04-30', 1, 1`),
		"planting_version_planted_check":    plantingVersion(`'jewel', 'barn', '-infinity', NULL, 1, 1`),
		"planting_version_area_check":       plantingVersion(`'jewel', 'barn', '2020-05-01', NULL, 'NaN', 1`),
		"planting_version_expected_check":   plantingVersion(`'jewel', 'barn', '2020-05-01', NULL, 1, 'Infinity'`),
		"variety_version_ripens_check":      varietyVersion(`'soon', NULL, NULL, NULL, NULL, NULL, NULL, NULL`),
		"variety_version_requirement_check": varietyVersion(`'mid', 300, 350, 450, NULL, 3, 30, 'horizontal'`),
		"variety_version_degree_days_check": varietyVersion(`'mid', 300, 350, 'NaN', 'average', 3, 30, 'horizontal'`),
		"variety_version_method_check":      varietyVersion(`'mid', 300, 350, 450, 'guess', 3, 30, 'horizontal'`),
		"variety_version_thresholds_check":  varietyVersion(`'mid', 300, 350, 450, 'average', 3, 3, 'horizontal'`),
		"station_day_station_fk":            stationDay(`'tower', '2026-05-01', 1, 4, 16`),
		"station_day_day_check":             stationDay(`'barn', 'infinity', 1, 4, 16`),
		"station_day_revision_check":        stationDay(`'barn', '2026-05-01', 0, 4, 16`),
		"sighting_planting_fk":              sighting(`'a', 'south', 2026, '2026-05-08', 'peak'`),
		"sighting_stage_check":              sighting(`'a', 'north', 2026, '2026-05-08', 'ripe'`),
		"sighting_season_check":             sighting(`'a', 'north', 2027, '2026-05-08', 'peak'`),
		"sighting_end_sighting_fk":          `INSERT INTO sighting_end VALUES ('hill', 'none', now(), 'test', NULL)`,
		"frozen_forecast_farm_fk":           `INSERT INTO frozen_forecast VALUES ('dale', 'a', 2026, '2026-06-01', now(), now(), false, '', 'body')`,
		"frozen_forecast_body_check":        `INSERT INTO frozen_forecast VALUES ('hill', 'a', 2026, '2026-06-01', now(), now(), false, '', '')`,
		"api_key_role_check":                `INSERT INTO api_key VALUES ('a', NULL, 'root', 'Key', sha256('a'), now())`,
		"api_key_hash_check":                `INSERT INTO api_key VALUES ('a', NULL, 'owner', 'Key', 'short', now())`,
		"api_key_farm_fk":                   `INSERT INTO api_key VALUES ('a', 'dale', 'owner', 'Key', sha256('a'), now())`,
	} {
		_, err := pool.Exec(t.Context(), sql)
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != constraint {
			t.Errorf("%s: %v, want a refusal by %s", sql, err, constraint)
		}
	}
	for _, extremes := range []string{
		"'NaN', 'NaN'", "4, 'NaN'", "'NaN', 16", "'-Infinity', 16", "4, 'Infinity'", "16, 4", "-90.1, 0", "0, 60.1",
	} {
		_, err := pool.Exec(t.Context(), stationDay(`'barn', '2026-05-01', 1, `+extremes))
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != "station_day_temperature_check" {
			t.Errorf("extremes %s: %v, want a refusal by station_day_temperature_check", extremes, err)
		}
	}
}

func stationVersion(values string) string {
	return `INSERT INTO station_version (farm, station, recorded_at, recorded_by, version, name, latitude, longitude, elevation_m, stand_in)
		VALUES ('hill', 'barn', now(), 'test', ` + values + `)`
}

func varietyVersion(values string) string {
	return `INSERT INTO variety_version (farm, variety, version, recorded_at, recorded_by, name, ripens,
			first_ripe_degree_days, peak_degree_days, last_pick_degree_days, method, base_c, upper_c, cutoff)
		VALUES ('hill', 'jewel', 2, now(), 'test', 'Jewel', ` + values + `)`
}

func plantingVersion(values string) string {
	return `INSERT INTO planting_version (farm, planting, version, recorded_at, recorded_by, block, variety, station, planted_on, removed_on, area_m2, expected_kg_per_m2)
		VALUES ('hill', 'north', 2, now(), 'test', 'North', ` + values + `)`
}

func stationDay(values string) string {
	return `INSERT INTO station_day (farm, source, received_at, station, day, revision, min_c, max_c)
		VALUES ('hill', 'test', now(), ` + values + `)`
}

func sighting(values string) string {
	return `INSERT INTO sighting (farm, seen, note, recorded_at, recorded_by, id, planting, season, day, stage)
		VALUES ('hill', true, '', now(), 'test', ` + values + `)`
}
