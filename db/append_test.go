package db_test

import (
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// everything is a database with a row in every table.
func everything(t *testing.T) (*db.Store, *pgxpool.Pool) {
	t.Helper()
	s, pool := farmed(t)
	if _, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Source: "test", Days: []weather.Day{{Date: date("2026-05-01"), Min: 4, Max: 16}}}, t0); err != nil {
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
	kept(t, pick(t, s, 0, picked("2026-06-12", 90)))
	kept(t, freeze(t, s, 0, frost("2026-05-11", 0.5)))
	if err := s.SeeSpray(t.Context(), "hill", spray(t, s, 0, planned("x"))[0].ID, date("2026-06-10"), "test", t0); err != nil {
		t.Fatal(err)
	}
	if err := s.Freeze(t.Context(), frozen("one", "2026-06-01", 0, false)); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.PutDecision(t.Context(), "hill", decided(0, forecast.DecideOpening, "2026-06-13")); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DecideProposal(t.Context(), "hill", proposed(0, forecast.ProposalDeclined), yieldProposed); err != nil {
		t.Fatal(err)
	}
	if _, done, err := s.Settle(t.Context(), "hill", t0); err != nil {
		t.Fatal(err)
	} else {
		done()
	}
	must(t)(s.PutAnnouncing(t.Context(), "hill", forecast.Announcing{Language: "de"}, "test", t0))
	if _, _, err := s.PutOutlook(t.Context(), "hill", "barn", outlook(0, run("2026-03-01", 3, 1)), "test", t0); err != nil {
		t.Fatal(err)
	}
	must(t)(s.PutMethod(t.Context(), "hill", forecast.MethodChoice{Method: forecast.DefaultMethod, By: "Ann", At: t0}, "test"))
	must(t)(s.PutReadingHours(t.Context(), "hill", "barn", []weather.ReadingHour{{From: date("2020-01-01"), Hour: 7}}, "test", t0))
	must(t)(s.PutVerdict(t.Context(), "hill", "barn", date("2026-05-01"), &weather.Verdict{Use: true, By: "Ann"}, "test", t0))
	grid := feed.Key{Farm: "hill", Station: "barn", Feed: "grid"}
	must(t)(s.PutFeed(t.Context(), grid, feed.Spec{Kind: feed.OpenMeteo, Every: time.Hour}, "test", t0))
	if err := s.Keep(t.Context(), feed.Job{Farm: "hill", Station: "barn", Spec: feed.Spec{ID: "grid"}}, feed.Result{Outcome: feed.New}, feed.State{}, t0); err != nil {
		t.Fatal(err)
	}
	if err := s.NewKey(t.Context(), db.Key{ID: "k", Role: "owner", Name: "Key", CreatedAt: t0}); err != nil {
		t.Fatal(err)
	}

	link := db.Link{Hash: [32]byte{1}, Key: "k", CreatedAt: t0, CreatedBy: "test", ExpiresAt: at(60)}
	if err := errors.Join(s.NewLink(t.Context(), link), s.NewSession(t.Context(), "k", [32]byte{2}, t0, at(60))); err != nil {
		t.Fatal(err)
	}
	address := forecast.Subscription{Farm: "hill", ID: "s", Name: "Ann", MadeAt: t0, MadeBy: "test"}
	if err := s.NewSubscription(t.Context(), address, [32]byte{3}); err != nil {
		t.Fatal(err)
	}
	confirmed(t, s, 1, "ann", "ann@farm.example", 4)
	if err := s.KeepMail(t.Context(), mailKey("ann", forecast.MailAsk, "2026-06-01"), 1, forecast.MailAnswer{At: t0, Outcome: forecast.MailSent, Code: 250}); err != nil {
		t.Fatal(err)
	}
	return s, pool
}

// TestHistoryCannotBeChanged tries every door to every table as a superuser.
func TestHistoryCannotBeChanged(t *testing.T) {
	t.Parallel()
	s, pool := everything(t)
	rows, _ := pool.Query(t.Context(), `
		SELECT relname::text FROM pg_class
		WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname <> 'goose_db_version'`)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) != 36 {
		t.Fatalf("%d tables, %v, want 36", len(tables), err)
	}
	for _, table := range tables {
		before := count(t, pool, table)
		if before == 0 {
			t.Errorf("%s is empty, which proves nothing", table)
		}
		column := "farm"
		if table == "sign_in_link" || table == "session" {
			column = "api_key"
		}
		for _, sql := range []string{
			"UPDATE " + table + " SET " + column + " = " + column,
			"UPDATE " + table + " SET " + column + " = 'other' WHERE false",
			"DELETE FROM " + table,
			"TRUNCATE " + table + " CASCADE",
			"SET session_replication_role = replica; DELETE FROM " + table,
			"SET session_replication_role = replica; UPDATE " + table + " SET " + column + " = 'other'",
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
	if _, err := pool.Exec(t.Context(), `INSERT INTO outlook VALUES ('hill', 'barn', '2026-05-01 12:00Z', now())`); err != nil {
		t.Fatal(err)
	}
	for constraint, sql := range map[string]string{
		"farm_slug_check":                     `INSERT INTO farm VALUES ('No Slug', now())`,
		"station_farm_fk":                     `INSERT INTO station VALUES ('dale', 'barn', now())`,
		"station_slug_check":                  `INSERT INTO station VALUES ('hill', '../etc', now())`,
		"variety_farm_fk":                     `INSERT INTO variety VALUES ('dale', 'jewel', now())`,
		"planting_farm_fk":                    `INSERT INTO planting VALUES ('dale', 'north', now())`,
		"proposal_version_farm_fk":            proposalVersion(`'dale', 'y', 1, 'declined', 'yield', 'north', '{}', ''`),
		"proposal_version_version_check":      proposalVersion(`'hill', 'y', 0, 'declined', 'yield', 'north', '{}', ''`),
		"proposal_version_state_check":        proposalVersion(`'hill', 'y', 1, 'perhaps', 'yield', 'north', '{}', ''`),
		"proposal_version_kind_check":         proposalVersion(`'hill', 'y', 1, 'declined', 'guess', 'north', '{}', ''`),
		"proposal_version_subject_check":      proposalVersion(`'hill', 'y', 1, 'declined', 'yield', '', '{}', ''`),
		"proposal_version_value_check":        proposalVersion(`'hill', 'y', 1, 'declined', 'yield', 'north', '1', ''`),
		"proposal_version_taken_back_check":   proposalVersion(`'hill', 'y', 1, 'taken back', 'yield', 'north', '{}', ''`),
		"proposal_version_reason_check":       proposalVersion(`'hill', 'y', 1, 'declined', 'yield', 'north', '{}', repeat('x', 201)`),
		"station_version_stand_in_fk":         stationVersion(`2, 'Barn', 0, 0, 0, 'tower'`),
		"station_version_stand_in_check":      stationVersion(`2, 'Barn', 0, 0, 0, 'barn'`),
		"station_version_pk":                  stationVersion(`1, 'Barn', 0, 0, 0, NULL`),
		"station_version_elevation_check":     stationVersion(`2, 'Barn', 0, 0, 'NaN', NULL`),
		"station_version_latitude_check":      stationVersion(`2, 'Barn', 90.5, 0, 0, NULL`),
		"station_version_longitude_check":     stationVersion(`2, 'Barn', 0, 'NaN', 0, NULL`),
		"station_version_version_check":       stationVersion(`0, 'Barn', 0, 0, 0, NULL`),
		"planting_version_variety_fk":         plantingVersion(`'earliglow', 'barn', '2020-05-01', NULL, 1, 1`),
		"planting_version_station_fk":         plantingVersion(`'jewel', 'tower', '2020-05-01', NULL, 1, 1`),
		"planting_version_removed_check":      plantingVersion(`'jewel', 'barn', '2020-05-01', '2020-04-30', 1, 1`),
		"planting_version_planted_check":      plantingVersion(`'jewel', 'barn', '-infinity', NULL, 1, 1`),
		"planting_version_area_check":         plantingVersion(`'jewel', 'barn', '2020-05-01', NULL, 'NaN', 1`),
		"planting_version_expected_check":     plantingVersion(`'jewel', 'barn', '2020-05-01', NULL, 1, 'Infinity'`),
		"variety_version_ripens_check":        varietyVersion(`'soon', NULL, NULL, NULL, NULL, NULL, NULL, NULL`),
		"variety_version_requirement_check":   varietyVersion(`'mid', 300, 350, 450, NULL, 3, 30, 'horizontal'`),
		"variety_version_degree_days_check":   varietyVersion(`'mid', 300, 350, 'NaN', 'average', 3, 30, 'horizontal'`),
		"variety_version_method_check":        varietyVersion(`'mid', 300, 350, 450, 'guess', 3, 30, 'horizontal'`),
		"variety_version_thresholds_check":    varietyVersion(`'mid', 300, 350, 450, 'average', 3, 3, 'horizontal'`),
		"station_day_station_fk":              stationDay(`'tower', '2026-05-01', 1, 4, 16`),
		"station_day_day_check":               stationDay(`'barn', 'infinity', 1, 4, 16`),
		"station_day_revision_check":          stationDay(`'barn', '2026-05-01', 0, 4, 16`),
		"sighting_planting_fk":                sighting(`'a', 'south', 2026, '2026-05-08', 'peak'`),
		"sighting_stage_check":                sighting(`'a', 'north', 2026, '2026-05-08', 'ripe'`),
		"sighting_season_check":               sighting(`'a', 'north', 2027, '2026-05-08', 'peak'`),
		"sighting_end_sighting_fk":            `INSERT INTO sighting_end VALUES ('hill', 'none', now(), 'test', NULL)`,
		"picking_version_planting_fk":         pickingVersion(`'south', 1, false, '2026-06-12', 1, '', false, 'all', ''`),
		"picking_version_version_check":       pickingVersion(`'north', 0, false, '2026-06-12', 1, '', false, 'all', ''`),
		"picking_version_withdrawn_check":     pickingVersion(`'north', 1, true, '2026-06-12', 1, '', false, 'all', ''`),
		"picking_version_day_check":           pickingVersion(`'north', 1, false, 'infinity', 1, '', false, 'all', ''`),
		"picking_version_closed_check":        pickingVersion(`'north', 1, false, '2026-06-12', 1, '', true, 'all', ''`),
		"picking_version_left_standing_check": pickingVersion(`'north', 1, false, '2026-06-12', 1, 'few', false, 'all', ''`),
		"picking_version_source_check":        pickingVersion(`'north', 1, false, '2026-06-12', 1, '', false, '', ''`),
		"picking_version_note_check":          pickingVersion(`'north', 1, false, '2026-06-12', 1, '', false, 'all', repeat('ä', 201)`),
		"frost_version_planting_fk":           frostVersion(`'south', 1, false, '2026-05-11', 0.5, NULL, ''`),
		"frost_version_version_check":         frostVersion(`'north', 0, false, '2026-05-11', 0.5, NULL, ''`),
		"frost_version_withdrawn_check":       frostVersion(`'north', 1, true, '2026-05-11', 0.5, NULL, ''`),
		"frost_version_day_check":             frostVersion(`'north', 1, false, '2400-12-31'::date + 1, 0.5, NULL, ''`),
		"frost_version_note_check":            frostVersion(`'north', 1, false, '2026-05-11', 0.5, NULL, repeat('ä', 201)`),
		"outlook_station_fk":                  `INSERT INTO outlook VALUES ('hill', 'tower', '2026-05-01 12:00Z', now())`,
		"outlook_issued_check":                `INSERT INTO outlook VALUES ('hill', 'barn', 'infinity', now())`,
		"outlook_version_outlook_fk":          outlookVersion(`1, '2026-05-01 12:01Z', '2026-05-01', '{4}', '{16}'`),
		"outlook_version_version_check":       outlookVersion(`0, '2026-05-01 12:00Z', '2026-05-01', '{4}', '{16}'`),
		"outlook_version_range_check":         outlookVersion(`1, '2400-12-30 12:00Z', '2400-12-31', '{4,4}', '{16,16}'`),
		"outlook_version_first_check":         outlookVersion(`1, '2026-05-01 12:00Z', '2026-05-04', '{4}', '{16}'`),
		"method_version_farm_fk":              `INSERT INTO method_version VALUES ('dale', 1, now(), 'test', 'average', 3, NULL, 'none', 'Ann', '')`,
		"method_version_version_check":        methodVersion(`0, 'average', 3, NULL, 'none', 'Ann'`),
		"method_version_degree_days_check":    methodVersion(`1, 'guess', 3, NULL, 'none', 'Ann'`),
		"method_version_cutoff_check":         methodVersion(`1, 'average', 3, 30, 'soft', 'Ann'`),
		"method_version_base_check":           methodVersion(`1, 'average', 'NaN', NULL, 'none', 'Ann'`),
		"method_version_chosen_by_check":      methodVersion(`1, 'average', 3, NULL, 'none', ''`),
		"frozen_forecast_farm_fk":             `INSERT INTO frozen_forecast VALUES ('dale', 'a', 2026, '2026-06-01', now(), now(), false, '', 'body')`,
		"frozen_forecast_body_check":          `INSERT INTO frozen_forecast VALUES ('hill', 'a', 2026, '2026-06-01', now(), now(), false, '', '')`,
		"api_key_role_check":                  `INSERT INTO api_key VALUES ('a', NULL, 'root', 'Key', sha256('a'), now())`,
		"api_key_hash_check":                  `INSERT INTO api_key VALUES ('a', NULL, 'owner', 'Key', 'short', now())`,
		"api_key_farm_fk":                     `INSERT INTO api_key VALUES ('a', 'dale', 'owner', 'Key', sha256('a'), now())`,
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

// TestPickingsAndFrostsThatCannotBe breaks the bounds of numbers with raw rows.
func TestPickingsAndFrostsThatCannotBe(t *testing.T) {
	t.Parallel()
	_, pool := farmed(t)
	for constraint, list := range map[string][]string{
		"picking_version_kg_check": {
			pickingVersion(`'north', 1, false, '2026-06-12', -0.1, '', false, 'all', ''`),
			pickingVersion(`'north', 1, false, '2026-06-12', 100000.1, '', false, 'all', ''`),
			pickingVersion(`'north', 1, false, '2026-06-12', 'NaN', '', false, 'all', ''`),
		},
		"frost_version_share_lost_check": {
			frostVersion(`'north', 1, false, '2026-05-11', 0, NULL, ''`),
			frostVersion(`'north', 1, false, '2026-05-11', 1.01, NULL, ''`),
			frostVersion(`'north', 1, false, '2026-05-11', 'NaN', NULL, ''`),
		},
		"frost_version_low_check": {
			frostVersion(`'north', 1, false, '2026-05-11', 1, 10.1, ''`),
			frostVersion(`'north', 1, false, '2026-05-11', 1, -40.1, ''`),
			frostVersion(`'north', 1, false, '2026-05-11', 1, 'NaN', ''`),
		},
	} {
		for _, sql := range list {
			_, err := pool.Exec(t.Context(), sql)
			if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != constraint {
				t.Errorf("%s: %v, want a refusal by %s", sql, err, constraint)
			}
		}
	}
}

// TestOutlooksThatCannotBe breaks the one constraint of the days with raw rows.
func TestOutlooksThatCannotBe(t *testing.T) {
	t.Parallel()
	_, pool := farmed(t)
	if _, err := pool.Exec(t.Context(), `INSERT INTO outlook VALUES ('hill', 'barn', '2026-05-01 12:00Z', now())`); err != nil {
		t.Fatal(err)
	}
	for _, days := range []string{
		"'{}', '{}'", "'{4,4}', '{16}'", "'{4}', '{16,16}'", "'{4}', '{}'", "'{4,NULL}', '{16,16}'", "'{4}', '{NULL}'",
		"'{5,4}', '{16,3}'", "'{NaN}', '{NaN}'", "'{4}', '{NaN}'", "'{-Infinity}', '{16}'", "'{4}', '{Infinity}'",
		"'{-90.1}', '{16}'", "'{4}', '{60.1}'", "'{{4},{4}}', '{{16},{16}}'",
		"array_fill(4::float8, '{17}'), array_fill(16::float8, '{17}')",
	} {
		_, err := pool.Exec(t.Context(), outlookVersion(`1, '2026-05-01 12:00Z', '2026-05-01', `+days))
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != "outlook_version_days_check" {
			t.Errorf("days %s: %v, want a refusal by outlook_version_days_check", days, err)
		}
	}
	for i, days := range []string{"'{-90}', '{60}'", "array_fill(4::float8, '{16}'), array_fill(4::float8, '{16}')"} {
		if _, err := pool.Exec(t.Context(), outlookVersion(string(rune('1'+i))+`, '2026-05-01 12:00Z', '2026-05-01', `+days)); err != nil {
			t.Errorf("days %s: %v", days, err)
		}
	}
	for _, upper := range []string{`30, 'none'`, `NULL, 'horizontal'`, `3, 'vertical'`, `60.1, 'horizontal'`, `'NaN', 'horizontal'`} {
		_, err := pool.Exec(t.Context(), methodVersion(`1, 'average', 3, `+upper+`, 'Ann'`))
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != "method_version_upper_check" {
			t.Errorf("upper threshold %s: %v, want a refusal by method_version_upper_check", upper, err)
		}
	}
}

func outlookVersion(values string) string {
	return `INSERT INTO outlook_version (farm, station, received_at, recorded_by, version, issued_at, first_day, min_c, max_c)
		VALUES ('hill', 'barn', now(), 'test', ` + values + `)`
}

func methodVersion(values string) string {
	return `INSERT INTO method_version (farm, recorded_at, recorded_by, reason, version, degree_days, base_c, upper_c, cutoff, chosen_by)
		VALUES ('hill', now(), 'test', '', ` + values + `)`
}

func proposalVersion(values string) string {
	return `
		INSERT INTO proposal_version (farm, proposal, version, state, kind, subject, was, reason, decided_at, decided_by, becomes, told)
		VALUES (` + values + `, now(), 'Ann', '{}', '')`
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

func pickingVersion(values string) string {
	return `INSERT INTO picking_version (farm, recorded_at, recorded_by, planting, version, withdrawn, day, kg, left_standing, closed, source, note)
		VALUES ('hill', now(), 'test', ` + values + `)`
}

func frostVersion(values string) string {
	return `INSERT INTO frost_version (farm, recorded_at, recorded_by, planting, version, withdrawn, day, share_lost, low_c, note)
		VALUES ('hill', now(), 'test', ` + values + `)`
}
