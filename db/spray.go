package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// SprayResult says what became of a spray.
type SprayResult struct {
	// Spray is as it is on record, with its ID; as it was given if Err is set.
	Spray forecast.Spray
	// Err says why it was refused: forecast.ErrSprayNotFound when it names an ID
	// that is none, or every *forecast.FieldError of it, joined.
	Err error
}

// AddSprays records sprays, one after another, in one transaction. The good ones
// are kept, each of the others is told its reason; the results have the order of
// the sprays. One with an ID is a new version of that spray (a plan that was
// carried out, a slip mended); without an ID it is another one, unless all of it
// is on record already. Errors: [forecast.ErrFarmNotFound].
func (s *Store) AddSprays(ctx context.Context, farm string, sprays []forecast.Spray, by string, at time.Time) ([]SprayResult, error) {
	var results []SprayResult
	err := s.write(ctx, func(tx pgx.Tx) (err error) {
		results, err = addSprays(ctx, tx, farm, sprays, by, instant(at))
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("add sprays: %w", err)
	}
	return results, nil
}

// Sprays returns the sprays of a farm that count: by season, or of all with nil;
// those that were done in the order in which they were, then those planned in
// the order in which they were entered. With knownAt they are those that
// counted at that instant.
func (s *Store) Sprays(ctx context.Context, farm string, season *int, knownAt *time.Time) ([]forecast.Spray, error) {
	rows, _ := s.pool.Query(ctx, spraysSQL, farm, known(knownAt), season)
	versions, err := pgx.CollectRows(rows, scanSpray)
	if err != nil {
		return nil, fmt.Errorf("read sprays: %w", domain(err))
	}
	sprays := make([]forecast.Spray, len(versions))
	for i, v := range versions {
		sprays[i] = v.Spray
	}
	return sprays, nil
}

// SeeSpray records that somebody took note from which day on the block of a
// planned spray may be picked. Errors: [forecast.ErrSprayNotFound], also when it
// is done or withdrawn.
func (s *Store) SeeSpray(ctx context.Context, farm, id string, day weather.Date, by string, at time.Time) error {
	err := s.changeSpray(ctx, farm, id, func(tx pgx.Tx, was sprayVersion) error {
		if was.SprayedAt != nil {
			return forecast.ErrSprayNotFound
		}
		if was.Seen != nil && was.Seen.Day == day {
			return nil // Nothing new is said.
		}
		_, err := tx.Exec(ctx, addSpraySeenSQL, farm, id, was.number, later(instant(at), was.RecordedAt), by, day)
		return err
	})
	if err != nil {
		return fmt.Errorf("take note of spray: %w", err)
	}
	return nil
}

// WithdrawSpray takes a spray back: it counts no more, and stays on record as
// withdrawn. Errors: [forecast.ErrSprayNotFound], also if it was withdrawn
// already.
func (s *Store) WithdrawSpray(ctx context.Context, farm, id, by string, at time.Time) error {
	err := s.changeSpray(ctx, farm, id, func(tx pgx.Tx, was sprayVersion) error {
		_, err := tx.Exec(ctx, withdrawSpraySQL, farm, id, was.number, later(instant(at), was.RecordedAt), by)
		return err
	})
	if err != nil {
		return fmt.Errorf("withdraw spray: %w", err)
	}
	return nil
}

const (
	// sprayColumns are what scanSpray reads of a version v and of who took note of
	// it last, n.
	sprayColumns = `
			v.version, v.withdrawn, v.recorded_at, v.recorded_by, v.spray, v.block, v.plantings, v.name, v.season, v.sprayed_at,
			v.pre_harvest_days, v.pre_harvest_hours, v.reentry_hours, v.note, v.known_day,
			n.day, n.recorded_at, n.recorded_by`

	// newestSprays reads the newest version of each spray of farm $1 at $2, also if
	// it is withdrawn.
	newestSprays = `
		SELECT ` + sprayColumns + `
		FROM (
			SELECT DISTINCT ON (spray) *
			FROM spray_version
			WHERE farm = $1 AND recorded_at <= $2
			ORDER BY spray, version DESC
		) AS v
		LEFT JOIN LATERAL (
			SELECT day, recorded_at, recorded_by
			FROM spray_seen AS s
			WHERE s.farm = v.farm AND s.spray = v.spray AND s.version = v.version AND s.recorded_at <= $2
			ORDER BY number DESC
			LIMIT 1
		) AS n ON true`

	allSpraysSQL = newestSprays + `
		ORDER BY v.spray`

	spraysSQL = newestSprays + `
		WHERE NOT v.withdrawn AND ($3::int IS NULL OR v.season = $3)
		ORDER BY v.sprayed_at NULLS LAST, v.recorded_at, v.spray`

	blocksSQL = `
		SELECT DISTINCT ON (planting) planting, block, removed_on IS NULL OR removed_on > $2
		FROM planting_version
		WHERE farm = $1
		ORDER BY planting, version DESC`

	addSpraySQL = `
		INSERT INTO spray_version (
			farm, spray, version, recorded_at, recorded_by, withdrawn, block, plantings, name, season, sprayed_at,
			pre_harvest_days, pre_harvest_hours, reentry_hours, note, known_day)
		VALUES ($1, $2, $3, $4, $5, false, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`

	withdrawSpraySQL = `
		INSERT INTO spray_version (
			farm, spray, version, recorded_at, recorded_by, withdrawn, block, plantings, name, season, sprayed_at,
			pre_harvest_days, pre_harvest_hours, reentry_hours, note, known_day)
		SELECT
			farm, spray, version + 1, $4, $5, true, block, plantings, name, season, sprayed_at,
			pre_harvest_days, pre_harvest_hours, reentry_hours, note, known_day
		FROM spray_version
		WHERE farm = $1 AND spray = $2 AND version = $3`

	addSpraySeenSQL = `
		INSERT INTO spray_seen (farm, spray, version, number, recorded_at, recorded_by, day)
		SELECT $1, $2, $3, 1 + count(*), $4, $5, $6
		FROM spray_seen
		WHERE farm = $1 AND spray = $2 AND version = $3`
)

// sprayVersion is the newest version of a spray.
type sprayVersion struct {
	forecast.Spray
	number    int
	withdrawn bool
}

func scanSpray(row pgx.CollectableRow) (v sprayVersion, err error) {
	var day *weather.Date
	var at *time.Time
	var by *string
	err = row.Scan(&v.number, &v.withdrawn, &v.RecordedAt, &v.RecordedBy, &v.ID, &v.Block, &v.Plantings, &v.Name, &v.Season, &v.SprayedAt,
		&v.PreHarvestDays, &v.PreHarvestHours, &v.ReentryHours, &v.Note, &v.Known, &day, &at, &by)
	if err == nil && day != nil {
		v.Seen = &forecast.SpraySeen{Day: *day, At: *at, By: *by}
	}
	return v, err
}

// sameSpray reports whether nothing new is said. What was known of the block is
// no part of what is said.
func sameSpray(a, b forecast.Spray) bool {
	return a.Block == b.Block && a.Name == b.Name && a.Season == b.Season && a.Note == b.Note &&
		a.PreHarvestDays == b.PreHarvestDays && a.PreHarvestHours == b.PreHarvestHours && a.ReentryHours == b.ReentryHours &&
		(a.SprayedAt == nil) == (b.SprayedAt == nil) && (a.SprayedAt == nil || a.SprayedAt.Equal(*b.SprayedAt))
}

func addSprays(ctx context.Context, tx pgx.Tx, farm string, sprays []forecast.Spray, by string, at time.Time) ([]SprayResult, error) {
	// All writers of a farm's sprays wait for each other here: the next statement
	// sees what the one before has left.
	var since time.Time
	if err := tx.QueryRow(ctx, claimFarmSQL, farm).Scan(&since); err != nil {
		return nil, orNotFound(err, forecast.ErrFarmNotFound)
	}
	rows, _ := tx.Query(ctx, allSpraysSQL, farm, now)
	book, err := pgx.CollectRows(rows, scanSpray)
	if err != nil {
		return nil, err
	}
	blocks := map[string][]string{}
	var planting, block string
	var stands bool
	rows, _ = tx.Query(ctx, blocksSQL, farm, weather.DateIn(at))
	if _, err := pgx.ForEachRow(rows, []any{&planting, &block, &stands}, func() error {
		if blocks[block] == nil {
			blocks[block] = []string{}
		}
		if stands {
			blocks[block] = append(blocks[block], planting)
		}
		return nil
	}); err != nil {
		return nil, err
	}
	results := make([]SprayResult, len(sprays))
	batch := &pgx.Batch{}
	for i, s := range sprays {
		results[i].Spray = s
		if s.SprayedAt != nil {
			t := instant(*s.SprayedAt)
			s.SprayedAt = &t
		}
		same := slices.IndexFunc(book, func(v sprayVersion) bool {
			return !v.withdrawn && (v.ID == s.ID || s.ID == "" && sameSpray(v.Spray, s))
		})
		faults := s.Validate()
		if s.Plantings = blocks[s.Block]; s.Plantings == nil && same >= 0 && book[same].Block == s.Block {
			s.Plantings = book[same].Plantings // The block was renamed meanwhile.
		}
		if s.Plantings == nil {
			faults = append(faults, &forecast.FieldError{Field: "block", Reason: noBlock(blocks)})
		}
		if s.ID != "" && same < 0 {
			faults = []error{forecast.ErrSprayNotFound}
		}
		if results[i].Err = errors.Join(faults...); results[i].Err != nil {
			continue
		}
		v := sprayVersion{Spray: s, number: 1}
		v.RecordedAt, v.RecordedBy, v.Seen = later(at, since), by, nil
		if same >= 0 {
			was := book[same]
			if sameSpray(was.Spray, s) {
				results[i].Spray = was.Spray
				continue
			}
			v.number, v.RecordedAt = was.number+1, later(v.RecordedAt, was.RecordedAt)
			book[same] = v
		} else {
			v.ID = newID()
			book = append(book, v)
		}
		results[i].Spray = v.Spray
		batch.Queue(addSpraySQL, farm, v.ID, v.number, v.RecordedAt, by, v.Block, v.Plantings, v.Name, v.Season, v.SprayedAt,
			v.PreHarvestDays, v.PreHarvestHours, v.ReentryHours, v.Note, v.Known)
	}
	return results, tx.SendBatch(ctx, batch).Close()
}

// noBlock says which blocks there are.
func noBlock(blocks map[string][]string) string {
	if len(blocks) == 0 {
		return "is no block of the farm, which has no planting yet"
	}
	var names []string
	for name := range blocks {
		names = append(names, name)
	}
	slices.Sort(names)
	if more := len(names) - 10; more > 0 {
		names = append(names[:10:10], fmt.Sprintf("%d more", more))
	}
	return "is no block of the farm; they are " + strings.Join(names, ", ")
}

// changeSpray does something with the newest version of a spray that counts.
func (s *Store) changeSpray(ctx context.Context, farm, id string, do func(pgx.Tx, sprayVersion) error) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		var since time.Time
		if err := tx.QueryRow(ctx, claimFarmSQL, farm).Scan(&since); err != nil {
			return orNotFound(err, forecast.ErrFarmNotFound)
		}
		rows, _ := tx.Query(ctx, allSpraysSQL, farm, now)
		book, err := pgx.CollectRows(rows, scanSpray)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(book, func(v sprayVersion) bool { return v.ID == id && !v.withdrawn })
		if i < 0 {
			return forecast.ErrSprayNotFound
		}
		return do(tx, book[i])
	})
}
