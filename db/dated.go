package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// dated is how one kind of records is kept of which a planting has one a date
// (pickings, frosts): in versions, the newest of which counts unless it is
// withdrawn.
type dated[T interface{ Validate() []error }] struct {
	name, names string // "picking", "pickings", in errors.
	notFound    error

	of   func(T) dayOf
	same func(a, b T) bool // Nothing new is said.
	// scan reads version, recorded_at, withdrawn, planting, day and the
	// values.
	scan func(pgx.Row) (datedVersion[T], error)
	// columns returns the values of all xs, column by column.
	columns func(xs []T) []any

	newestSQL   string // Newest versions of farm $1 for plantings $2 and days $3, pair by pair.
	addSQL      string // Farm $1, by $2, plantings $3, days $4, versions $5, instants $6, then columns.
	withdrawSQL string // Farm $1, planting $2, day $3, instant $4, by $5.
	listSQL     string // Of farm $1 at $2; planting $3, or all with ''; days from $4 to $5.
}

// dayOf is a planting on a date.
type dayOf struct {
	planting string
	day      weather.Date
}

type datedVersion[T any] struct {
	version
	withdrawn bool
	value     T
}

// add is the method AddX of a store: xs are recorded one after another in one
// transaction, and the i-th error says why the i-th of them was refused, or nil.
func (d dated[T]) add(ctx context.Context, s *Store, farm string, xs []T, by string, at time.Time) ([]error, error) {
	var refused []error
	err := s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) (err error) {
		refused, err = d.addIn(ctx, tx, farm, xs, by, at)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("add %s: %w", d.names, err)
	}
	return refused, nil
}

func (d dated[T]) addIn(ctx context.Context, tx pgx.Tx, farm string, xs []T, by string, at time.Time) ([]error, error) {
	if _, _, err := queryFarm(ctx, tx, farm); err != nil {
		return nil, orNotFound(err, forecast.ErrFarmNotFound)
	}
	keys := make([]dayOf, len(xs))
	ids := make([]string, len(xs))
	for i, x := range xs {
		keys[i] = d.of(x)
		ids[i] = keys[i].planting
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	// A statement of its own: the next ones then see what the writer before
	// has left.
	if _, err := tx.Exec(ctx, lockPlantingsSQL, farm, ids); err != nil {
		return nil, err
	}
	plantings, err := queryPlanted(ctx, tx, farm, ids)
	if err != nil {
		return nil, err
	}
	newest, err := d.newest(ctx, tx, farm, keys)
	if err != nil {
		return nil, err
	}
	refused := make([]error, len(xs))
	var added []datedVersion[T]
	for i, x := range xs {
		p := plantings[keys[i].planting]
		if refused[i] = d.fault(x, p); refused[i] != nil {
			continue
		}
		was := newest[keys[i]]
		if was.number > 0 && !was.withdrawn && d.same(was.value, x) {
			continue
		}
		v := datedVersion[T]{version{was.number + 1, later(at, p.createdAt, was.at)}, false, x}
		newest[keys[i]], added = v, append(added, v)
	}
	return refused, d.save(ctx, tx, farm, added, by)
}

// fault says why x cannot be recorded of p, which is nil if there is no such
// planting.
func (d dated[T]) fault(x T, p *bookPlanting) error {
	if p == nil {
		return forecast.ErrPlantingNotFound
	}
	faults := x.Validate()
	if d.of(x).day < p.plantedOn {
		faults = append(faults, &forecast.FieldError{Field: "date", Reason: fmt.Sprintf("must not be before %s, when it was planted", p.plantedOn)})
	}
	return errors.Join(faults...)
}

// newest returns the newest versions for keys, withdrawn ones too.
func (d dated[T]) newest(ctx context.Context, tx pgx.Tx, farm string, keys []dayOf) (map[dayOf]datedVersion[T], error) {
	plantings, days := make([]string, len(keys)), make([]weather.Date, len(keys))
	for i, k := range keys {
		plantings[i], days[i] = k.planting, k.day
	}
	rows, _ := tx.Query(ctx, d.newestSQL, farm, plantings, days)
	versions, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (datedVersion[T], error) { return d.scan(row) })
	newest := make(map[dayOf]datedVersion[T], len(versions))
	for _, v := range versions {
		newest[d.of(v.value)] = v
	}
	return newest, err
}

// save writes versions of plantings that are locked.
func (d dated[T]) save(ctx context.Context, tx pgx.Tx, farm string, added []datedVersion[T], by string) error {
	if len(added) == 0 {
		return nil
	}
	var plantings []string
	var days []weather.Date
	var numbers []int
	var times []time.Time
	var values []T
	for _, v := range added {
		k := d.of(v.value)
		plantings, days = append(plantings, k.planting), append(days, k.day)
		numbers, times, values = append(numbers, v.number), append(times, v.at), append(values, v.value)
	}
	_, err := tx.Exec(ctx, d.addSQL, append([]any{farm, by, plantings, days, numbers, times}, d.columns(values)...)...)
	return err
}

// withdraw is the method WithdrawX of a store.
func (d dated[T]) withdraw(ctx context.Context, s *Store, farm, planting string, day weather.Date, by string, at time.Time) error {
	err := s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		var slug string
		if err := tx.QueryRow(ctx, lockPlantingSQL, farm, planting).Scan(&slug); err != nil {
			return orNotFound(err, forecast.ErrPlantingNotFound)
		}
		tag, err := tx.Exec(ctx, d.withdrawSQL, farm, planting, day, at, by)
		if err == nil && tag.RowsAffected() == 0 {
			return d.notFound
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("withdraw %s: %w", d.name, err)
	}
	return nil
}

// list is the method Xs of a store.
func (d dated[T]) list(ctx context.Context, q querier, farm, planting string, from, to *weather.Date, knownAt *time.Time) ([]T, error) {
	rows, _ := q.Query(ctx, d.listSQL, farm, known(knownAt), planting, from, to)
	xs, err := d.collect(rows)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", d.names, domain(err))
	}
	return xs, nil
}

// queue reads all of a farm at an instant into xs.
func (d dated[T]) queue(b *pgx.Batch, farm string, at time.Time, xs *[]T) {
	b.Queue(d.listSQL, farm, at, "", nil, nil).Query(func(rows pgx.Rows) (err error) {
		*xs, err = d.collect(rows)
		return err
	})
}

// collect reads what counts.
func (d dated[T]) collect(rows pgx.Rows) ([]T, error) {
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (T, error) {
		v, err := d.scan(row)
		return v.value, err
	})
}
