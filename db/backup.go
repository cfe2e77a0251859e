package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db/archive"
)

// notBackedUp are tables that are no record of the farm: goose's own, and the
// names of states, which are other ones after every change and so after a
// restore.
var notBackedUp = []string{"goose_db_version", "station_state"}

// asText are columns of bytes that are text, so that a backup shows it.
var asText = map[string]bool{"frozen_forecast.body": true}

// textual reports whether all values of a column of bytes can be written as text.
// Those that begin like bytes in hexadecimal could not be told from them.
func textual(ctx context.Context, tx pgx.Tx, table, column string) (bool, error) {
	sql := "SELECT COALESCE(bool_and(left(convert_from(" + quote(column) + `, 'UTF8'), 1) <> '\'), true) FROM ` + quote(table)
	var all bool
	err := pgx.BeginFunc(ctx, tx, func(tx pgx.Tx) error { return tx.QueryRow(ctx, sql).Scan(&all) })
	if e, ok := errors.AsType[*pgconn.PgError](err); ok && e.Code == characterNotInRepertoire {
		return false, nil
	}
	return all, err
}

// Backup writes everything on record as it stands at one instant, while others
// go on reading and writing. See package archive for what is written.
func (s *Store) Backup(ctx context.Context, w io.Writer, program string) (m archive.Manifest, err error) {
	err = s.pool.AcquireFunc(ctx, func(c *pgxpool.Conn) error {
		m, err = backup(ctx, c.Conn(), w, program)
		return err
	})
	if err != nil {
		return m, fmt.Errorf("back up: %w", err)
	}
	return m, nil
}

// BackupOf is [Store.Backup] of a database as it is, whose tables may be of an older
// version and stay so.
func BackupOf(ctx context.Context, dsn string, w io.Writer, program string) (m archive.Manifest, err error) {
	cfg, err := parseDSN(dsn)
	if err != nil {
		return m, err
	}
	conn, err := pgx.ConnectConfig(ctx, cfg.ConnConfig)
	if err != nil {
		return m, fmt.Errorf("back up: %w", refusal(err))
	}
	m, err = backup(ctx, conn, w, program)
	if err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))); err != nil {
		return m, fmt.Errorf("back up: %w", domain(err))
	}
	return m, nil
}

func backup(ctx context.Context, conn *pgx.Conn, w io.Writer, program string) (m archive.Manifest, err error) {
	whole := pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
	err = pgx.BeginTxFunc(ctx, conn, whole, func(tx pgx.Tx) error {
		if err := settled(ctx, tx); err != nil {
			return err
		}
		var there bool
		if err := tx.QueryRow(ctx, schemaExistsSQL).Scan(&there); err != nil {
			return err
		}
		if !there {
			return errors.New("the database has no tables yet: nothing is on record")
		}
		var schema int64
		var at time.Time
		if err := tx.QueryRow(ctx, schemaVersionSQL).Scan(&schema); err != nil {
			return err
		}
		if err := tx.QueryRow(ctx, "SELECT now()").Scan(&at); err != nil {
			return err
		}
		tables, err := tablesIn(ctx, tx)
		if err != nil {
			return err
		}
		a := archive.NewWriter(w, program, schema, at)
		for _, t := range tables {
			err := a.Table(t.Table, func(out io.Writer) (int64, error) { return t.copyTo(ctx, tx, out) })
			if err != nil {
				return err
			}
		}
		m, err = a.Close()
		return err
	})
	return m, err
}

// settled makes a transaction write values in one form only, whatever the server
// is set to, and lets it take its time.
func settled(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `
		SELECT set_config(name, value, true)
		FROM (VALUES
			('timezone', 'UTC'), ('datestyle', 'ISO, YMD'), ('intervalstyle', 'iso_8601'), ('bytea_output', 'hex'),
			('extra_float_digits', '1'), ('statement_timeout', '0'), ('idle_in_transaction_session_timeout', '0')
		) AS setting (name, value)`)
	return err
}

// table is a table of the database.
type table struct {
	archive.Table
	key     []string // Columns of its primary key, in its order.
	parents []string // Tables that its rows refer to.
}

const tablesSQL = `
	SELECT c.relname::text, COALESCE(obj_description(c.oid, 'pg_class'), ''),
		ARRAY(SELECT a.attname::text FROM pg_attribute AS a WHERE a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped ORDER BY a.attnum),
		ARRAY(SELECT format_type(a.atttypid, a.atttypmod) FROM pg_attribute AS a WHERE a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped ORDER BY a.attnum),
		ARRAY(SELECT COALESCE(col_description(c.oid, a.attnum), '') FROM pg_attribute AS a WHERE a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped ORDER BY a.attnum),
		ARRAY(
			SELECT a.attname::text
			FROM pg_index AS i, unnest(i.indkey) WITH ORDINALITY AS k (attnum, place)
			JOIN pg_attribute AS a ON a.attnum = k.attnum
			WHERE i.indrelid = c.oid AND i.indisprimary AND a.attrelid = c.oid
			ORDER BY k.place),
		ARRAY(SELECT DISTINCT f.relname::text FROM pg_constraint AS r JOIN pg_class AS f ON f.oid = r.confrelid WHERE r.conrelid = c.oid AND r.contype = 'f' AND r.confrelid <> c.oid)
	FROM pg_class AS c
	WHERE c.relkind = 'r' AND c.relnamespace = current_schema()::regnamespace AND c.relname <> ALL ($1)
	ORDER BY c.relname`

// tablesIn returns the tables that are backed up, each after those that it refers
// to.
func tablesIn(ctx context.Context, tx pgx.Tx) ([]table, error) {
	rows, _ := tx.Query(ctx, tablesSQL, notBackedUp)
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (t table, err error) {
		var names, types, abouts []string
		err = row.Scan(&t.Name, &t.About, &names, &types, &abouts, &t.key, &t.parents)
		for i, name := range names {
			t.Columns = append(t.Columns, archive.Column{Name: name, Type: types[i], About: abouts[i]})
		}
		return t, err
	})
	if err != nil {
		return nil, err
	}
	// The station's foreign key of days is a trigger, see its migration.
	for i, t := range all {
		if t.Name == "station_day" {
			all[i].parents = append(all[i].parents, "station")
		}
	}
	var sorted []table
	done := map[string]bool{}
	for len(sorted) < len(all) {
		before := len(sorted)
		for _, t := range all {
			if !done[t.Name] && !slices.ContainsFunc(t.parents, func(p string) bool { return !done[p] }) {
				sorted, done[t.Name] = append(sorted, t), true
			}
		}
		if len(sorted) == before {
			return nil, errors.New("tables refer to each other in a circle")
		}
	}
	return sorted, nil
}

// copyTo writes the rows of a table as CSV, in the order of their keys, and
// counts them.
func (t table) copyTo(ctx context.Context, tx pgx.Tx, w io.Writer) (int64, error) {
	types := map[string]string{}
	var columns, order []string
	for _, c := range t.Columns {
		types[c.Name] = c.Type
		quoted := quote(c.Name)
		if asText[t.Name+"."+c.Name] {
			text, err := textual(ctx, tx, t.Name, c.Name)
			if err != nil {
				return 0, err
			}
			if text {
				quoted = "convert_from(" + quoted + ", 'UTF8') AS " + quoted
			}
		}
		columns = append(columns, quoted)
	}
	for _, k := range t.key {
		by := quote(t.Name) + "." + quote(k)
		if types[k] == "text" {
			by += ` COLLATE "C"` // The order must not hang on the server.
		}
		order = append(order, by)
	}
	if len(order) == 0 {
		return 0, fmt.Errorf("table %s has no primary key and is none of ours: give the service a database of its own", t.Name)
	}
	sql := "COPY (SELECT " + strings.Join(columns, ", ") + " FROM " + quote(t.Name) + " ORDER BY " + strings.Join(order, ", ") +
		") TO STDOUT WITH (FORMAT csv, HEADER, ENCODING 'UTF8')"
	tag, err := tx.Conn().PgConn().CopyTo(ctx, w, sql)
	return tag.RowsAffected(), err
}

func quote(name string) string { return pgx.Identifier{name}.Sanitize() }
