package db

import (
	"cmp"
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// SightingResult says what became of a sighting.
type SightingResult struct {
	// Sighting is as it is on record, with its ID; as it was given if Err is
	// set.
	Sighting forecast.Sighting
	// Err says why it was refused: forecast.ErrPlantingNotFound, a
	// *forecast.FieldError, or a *forecast.OrderError.
	Err error
}

// AddSightings records sightings, one after another, in one transaction. The
// good ones are kept, each of the others is told its reason; the results have
// the order of the sightings. A sighting that says again what is on record is
// not recorded again; one that says otherwise of the same (a stage of a
// planting and season seen on another date, another note) replaces what was
// there, which stays on record as replaced. Errors:
// [forecast.ErrFarmNotFound].
func (s *Store) AddSightings(ctx context.Context, farm string, sightings []forecast.Sighting, by string, at time.Time) ([]SightingResult, error) {
	var results []SightingResult
	err := s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) (err error) {
		results, err = addSightings(ctx, tx, farm, sightings, by, at)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("add sightings: %w", err)
	}
	return results, nil
}

const (
	// The farm must not cross the equator meanwhile.
	holdFarmSQL = `
		SELECT farm
		FROM farm
		WHERE farm = $1
		FOR SHARE`

	// In order, so that two writers cannot wait for each other.
	lockPlantingsSQL = `
		SELECT planting
		FROM planting
		WHERE farm = $1 AND planting = ANY ($2)
		ORDER BY planting
		FOR NO KEY UPDATE`

	plantedSQL = `
		SELECT DISTINCT ON (v.planting) v.planting, v.planted_on, p.created_at
		FROM planting_version AS v
		JOIN planting AS p USING (farm, planting)
		WHERE farm = $1 AND v.planting = ANY ($2)
		ORDER BY v.planting, v.version DESC`

	// currentSightingsSQL tells of each planting what counts.
	currentSightingsSQL = `
		SELECT id, planting, day, stage, seen, note, season, recorded_at
		FROM sighting AS s
		WHERE
			farm = $1 AND planting = ANY ($2)
			AND NOT EXISTS (
				SELECT FROM sighting_end AS e
				WHERE e.farm = s.farm AND e.id = s.id
			)
		ORDER BY planting, day, stage, seen, id`

	addSightingsSQL = `
		INSERT INTO sighting (farm, id, planting, season, day, stage, seen, note, recorded_at, recorded_by)
		SELECT $1, id, planting, season, day, stage, seen, note, recorded_at, $2
		FROM unnest($3::text[], $4::text[], $5::int[], $6::date[], $7::text[], $8::bool[], $9::text[], $10::timestamptz[])
			AS u (id, planting, season, day, stage, seen, note, recorded_at)`

	endSightingsSQL = `
		INSERT INTO sighting_end (farm, id, ended_at, ended_by, replaced_by)
		SELECT $1, id, ended_at, $2, replaced_by
		FROM unnest($3::text[], $4::timestamptz[], $5::text[])
			AS u (id, ended_at, replaced_by)`
)

func addSightings(ctx context.Context, tx pgx.Tx, farm string, sightings []forecast.Sighting, by string, at time.Time) ([]SightingResult, error) {
	var slug string
	if err := tx.QueryRow(ctx, holdFarmSQL, farm).Scan(&slug); err != nil {
		return nil, orNotFound(err, forecast.ErrFarmNotFound)
	}
	f, _, err := queryFarm(ctx, tx, farm)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, s := range sightings {
		ids = append(ids, s.Planting)
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	if _, err := tx.Exec(ctx, lockPlantingsSQL, farm, ids); err != nil {
		return nil, err
	}
	book, err := openBook(ctx, tx, f, ids)
	if err != nil {
		return nil, err
	}
	results := make([]SightingResult, len(sightings))
	for i, s := range sightings {
		results[i].Sighting, results[i].Err = book.enter(s, at)
	}
	return results, book.save(ctx, tx, by)
}

// A book holds what is known of some plantings, and what is about to be added.
type book struct {
	farm      forecast.Farm
	plantings map[string]*bookPlanting
	added     []entry
	ended     []ending
}

type bookPlanting struct {
	plantedOn weather.Date
	createdAt time.Time
	current   []entry
}

type entry struct {
	forecast.Sighting
	season     int
	recordedAt time.Time
}

type ending struct {
	id, replacedBy string
	at             time.Time
}

// openBook reads the book of plantings that are locked.
func openBook(ctx context.Context, tx pgx.Tx, f forecast.Farm, ids []string) (*book, error) {
	plantings, err := queryPlanted(ctx, tx, f.ID, ids)
	if err != nil {
		return nil, err
	}
	b := &book{farm: f, plantings: plantings}
	rows, _ := tx.Query(ctx, currentSightingsSQL, f.ID, ids)
	entries, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (e entry, err error) {
		var stage string
		if err := row.Scan(&e.ID, &e.Planting, &e.Date, &stage, &e.Seen, &e.Note, &e.season, &e.recordedAt); err != nil {
			return entry{}, err
		}
		e.Stage, err = forecast.ParseStage(stage)
		return e, err
	})
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		p := b.plantings[e.Planting]
		p.current = append(p.current, e)
	}
	return b, nil
}

// queryPlanted reads when plantings were planted and from when they are known.
func queryPlanted(ctx context.Context, tx pgx.Tx, farm string, ids []string) (map[string]*bookPlanting, error) {
	plantings := make(map[string]*bookPlanting)
	rows, _ := tx.Query(ctx, plantedSQL, farm, ids)
	var id string
	var p bookPlanting
	_, err := pgx.ForEachRow(rows, []any{&id, &p.plantedOn, &p.createdAt}, func() error {
		plantings[id] = &bookPlanting{plantedOn: p.plantedOn, createdAt: p.createdAt}
		return nil
	})
	return plantings, err
}

// enter adds s unless it says nothing new or is refused, and returns it as it
// is on record.
func (b *book) enter(s forecast.Sighting, at time.Time) (forecast.Sighting, error) {
	p := b.plantings[s.Planting]
	if p == nil {
		return s, forecast.ErrPlantingNotFound
	}
	if _, err := forecast.ParseStage(s.Stage.String()); err != nil {
		return s, err
	}
	if s.Date < p.plantedOn {
		return s, &forecast.FieldError{Field: "date", Reason: fmt.Sprintf("must not be before %s, when it was planted", p.plantedOn)}
	}
	season := forecast.SeasonOf(s.Date, b.farm.Southern())
	same := -1 // The entry that s repeats or replaces.
	var others []forecast.Sighting
	for i, e := range p.current {
		switch {
		case e.season != season:
		case e.Stage == s.Stage && e.Seen == s.Seen && (s.Seen || e.Date == s.Date):
			same = i
		default:
			others = append(others, e.Sighting)
		}
	}
	at = later(at, p.createdAt)
	if same >= 0 {
		was := p.current[same]
		if was.Date == s.Date && was.Note == s.Note {
			return was.Sighting, nil
		}
		at = later(at, was.recordedAt)
	}
	if err := forecast.CheckOrder(others, s); err != nil {
		return s, err
	}
	s.ID = newID()
	e := entry{s, season, at}
	b.added = append(b.added, e)
	if same < 0 {
		p.current = append(p.current, e)
		return s, nil
	}
	b.ended = append(b.ended, ending{id: p.current[same].ID, replacedBy: s.ID, at: at})
	p.current[same] = e
	return s, nil
}

// save writes what was entered.
func (b *book) save(ctx context.Context, tx pgx.Tx, by string) error {
	if len(b.added) == 0 {
		return nil
	}
	var ids, plantings, stages, notes []string
	var seasons []int
	var days []weather.Date
	var seen []bool
	var times []time.Time
	for _, e := range b.added {
		ids, plantings, stages, notes = append(ids, e.ID), append(plantings, e.Planting), append(stages, e.Stage.String()), append(notes, e.Note)
		seasons, days, seen, times = append(seasons, e.season), append(days, e.Date), append(seen, e.Seen), append(times, e.recordedAt)
	}
	batch := &pgx.Batch{}
	batch.Queue(addSightingsSQL, b.farm.ID, by, ids, plantings, seasons, days, stages, seen, notes, times)
	if len(b.ended) > 0 {
		var ended, replacedBy []string
		var times []time.Time
		for _, e := range b.ended {
			ended, replacedBy, times = append(ended, e.id), append(replacedBy, e.replacedBy), append(times, e.at)
		}
		batch.Queue(endSightingsSQL, b.farm.ID, by, ended, times, replacedBy)
	}
	return tx.SendBatch(ctx, batch).Close()
}

// newID returns 26 random characters a-z2-7, 130 bits.
func newID() string { return strings.ToLower(rand.Text()) }

// SightingFilter says which sightings are wanted. The zero value wants all
// that count now.
type SightingFilter struct {
	Season   *int
	Planting string     // Empty: of all plantings.
	KnownAt  *time.Time // Those that counted at that instant.
}

// sightingsSQL reads the sightings that counted at $2.
const sightingsSQL = `
	SELECT id, planting, day, stage, seen, note
	FROM sighting AS s
	WHERE
		farm = $1 AND recorded_at <= $2
		AND ($3::int IS NULL OR season = $3) AND ($4 = '' OR planting = $4)
		AND NOT EXISTS (
			SELECT FROM sighting_end AS e
			WHERE e.farm = s.farm AND e.id = s.id AND e.ended_at <= $2
		)
	ORDER BY planting, day, stage, seen, id`

// Sightings returns sightings of a farm that were neither replaced nor
// withdrawn, ordered by planting, date and stage.
func (s *Store) Sightings(ctx context.Context, farm string, f SightingFilter) ([]forecast.Sighting, error) {
	sightings, err := querySightings(ctx, s.pool, farm, f)
	if err != nil {
		return nil, fmt.Errorf("read sightings: %w", domain(err))
	}
	return sightings, nil
}

func querySightings(ctx context.Context, q querier, farm string, f SightingFilter) ([]forecast.Sighting, error) {
	rows, _ := q.Query(ctx, sightingsSQL, farm, known(f.KnownAt), f.Season, f.Planting)
	return collectSightings(rows)
}

// collectSightings puts the stages in their order, which the database does not
// know.
func collectSightings(rows pgx.Rows) ([]forecast.Sighting, error) {
	sightings, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (s forecast.Sighting, err error) {
		var stage string
		if err := row.Scan(&s.ID, &s.Planting, &s.Date, &stage, &s.Seen, &s.Note); err != nil {
			return forecast.Sighting{}, err
		}
		s.Stage, err = forecast.ParseStage(stage)
		return s, err
	})
	slices.SortStableFunc(sightings, func(a, b forecast.Sighting) int {
		return cmp.Or(cmp.Compare(a.Planting, b.Planting), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Stage, b.Stage))
	})
	return sightings, err
}

const (
	sightingPlantingSQL = `
		SELECT planting
		FROM sighting
		WHERE farm = $1 AND id = $2`

	withdrawSightingSQL = `
		INSERT INTO sighting_end (farm, id, ended_at, ended_by)
		SELECT farm, id, GREATEST($3, recorded_at), $4
		FROM sighting AS s
		WHERE
			farm = $1 AND id = $2
			AND NOT EXISTS (
				SELECT FROM sighting_end AS e
				WHERE e.farm = s.farm AND e.id = s.id
			)`
)

// WithdrawSighting ends a sighting: it counts no more, and stays on record as
// withdrawn. Errors: [forecast.ErrSightingNotFound], also if it counts no more
// already.
func (s *Store) WithdrawSighting(ctx context.Context, farm, id, by string, at time.Time) error {
	err := s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		var planting, slug string
		if err := tx.QueryRow(ctx, sightingPlantingSQL, farm, id).Scan(&planting); err != nil {
			return orNotFound(err, forecast.ErrSightingNotFound)
		}
		if err := tx.QueryRow(ctx, lockPlantingSQL, farm, planting).Scan(&slug); err != nil {
			return err
		}
		tag, err := tx.Exec(ctx, withdrawSightingSQL, farm, id, at, by)
		if err == nil && tag.RowsAffected() == 0 {
			return forecast.ErrSightingNotFound
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("withdraw sighting: %w", err)
	}
	return nil
}
