package db

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"ripetide/db/archive"
)

// ErrNotEmpty is a database that a backup would be mixed into; see
// [NotEmptyError].
var ErrNotEmpty = errors.New("db: database is not empty")

// NotEmptyError says what stands in the way of a restore. It matches
// [ErrNotEmpty].
type NotEmptyError struct {
	Reason string
}

func (e *NotEmptyError) Error() string { return e.Detail() }

// Detail says in plain words what to do.
func (e *NotEmptyError) Detail() string {
	return e.Reason + ": a backup goes onto an empty database only, so set RIPETIDE_DATA to a new folder or DATABASE_URL to a new database; nothing was restored"
}

// Is matches [ErrNotEmpty].
func (e *NotEmptyError) Is(target error) bool { return target == ErrNotEmpty }

// Restore puts what an archive holds onto an empty database, then brings the
// tables up to what this program knows. Everything is put there in one
// transaction, written out again and compared with the archive before it is
// kept: all is restored or nothing. Errors: [ErrNotEmpty], [ErrSchemaNewer],
// [archive.ErrDamaged], [ErrServerTooOld].
func Restore(ctx context.Context, dsn string, a *archive.Archive) error {
	if err := restore(ctx, dsn, a); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	return nil
}

func restore(ctx context.Context, dsn string, a *archive.Archive) (err error) {
	cfg, err := parseDSN(dsn)
	if err != nil {
		return err
	}
	cfg.ConnConfig.RuntimeParams["application_name"] = "ripetide restore"
	pool := stdlib.OpenDB(*cfg.ConnConfig)
	defer func() { err = errors.Join(err, pool.Close()) }()
	if err := tablesOf(ctx, pool, a.Schema); err != nil {
		return err
	}
	conn, err := pgx.ConnectConfig(ctx, cfg.ConnConfig)
	if err != nil {
		return err
	}
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error { return fill(ctx, tx, a) })
	if err := errors.Join(err, conn.Close(context.WithoutCancel(ctx))); err != nil {
		return domain(err)
	}
	return migrate(ctx, dsn)
}

// tablesOf makes the tables of a version in a database without newer ones.
func tablesOf(ctx context.Context, conn *sql.DB, version int64) error {
	var num int
	var name string
	if err := conn.QueryRowContext(ctx, serverVersionSQL).Scan(&num, &name); err != nil {
		return err
	}
	if err := serverFault(num, name); err != nil {
		return err
	}
	provider, err := newProvider(conn)
	if err != nil {
		return err
	}
	sources := provider.ListSources()
	if last := sources[len(sources)-1].Version; version < 1 || version > last {
		return &SchemaNewerError{Database: version, Program: last}
	}
	there, err := upToDate(ctx, conn, version)
	if newer, ok := errors.AsType[*SchemaNewerError](err); ok {
		return &NotEmptyError{Reason: fmt.Sprintf("the database has tables of version %d, and those of the backup are of version %d", newer.Database, version)}
	}
	if there || err != nil {
		return err
	}
	// Older tables that are in use stay as they are.
	if err := unused(ctx, conn); err != nil {
		return err
	}
	_, err = provider.UpTo(ctx, version)
	return err
}

const tablesThereSQL = `
	SELECT quote_ident(relname) FROM pg_class
	WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p') AND relname <> 'goose_db_version'
	ORDER BY relname`

// unused is an error if a table has rows, of whatever version.
func unused(ctx context.Context, conn *sql.DB) (err error) {
	rows, err := conn.QueryContext(ctx, tablesThereSQL)
	if err != nil {
		return err
	}
	var names []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return errors.Join(err, rows.Close())
		}
		names = append(names, name)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, name := range names {
		var used bool
		if err := conn.QueryRowContext(ctx, "SELECT EXISTS (SELECT FROM public."+name+")").Scan(&used); err != nil {
			return err
		}
		if used {
			return &NotEmptyError{Reason: fmt.Sprintf("the database is in use, table %s has rows", name)}
		}
	}
	return nil
}

// fill puts the rows there and compares.
func fill(ctx context.Context, tx pgx.Tx, a *archive.Archive) error {
	if err := settled(ctx, tx); err != nil {
		return err
	}
	tables, err := tablesIn(ctx, tx)
	if err != nil {
		return err
	}
	if !slices.EqualFunc(tables, a.Tables, func(t table, b archive.Table) bool {
		return t.Name == b.Name && slices.EqualFunc(t.Columns, b.Columns, func(x, y archive.Column) bool { return x.Name == y.Name && x.Type == y.Type })
	}) {
		return fmt.Errorf("%w: its tables are not those of version %d", archive.ErrDamaged, a.Schema)
	}
	for _, t := range tables {
		// Nobody else writes until the end.
		if _, err := tx.Exec(ctx, "LOCK TABLE "+quote(t.Name)+" IN ACCESS EXCLUSIVE MODE"); err != nil {
			return err
		}
		var used bool
		if err := tx.QueryRow(ctx, "SELECT EXISTS (SELECT FROM "+quote(t.Name)+")").Scan(&used); err != nil {
			return err
		}
		if used {
			return &NotEmptyError{Reason: fmt.Sprintf("the database is in use, table %s has rows", t.Name)}
		}
	}
	for i, t := range tables {
		if err := t.copyFrom(ctx, tx, a, a.Tables[i]); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
	}
	return compare(ctx, tx, tables, a)
}

// copyFrom fills a table.
func (t table) copyFrom(ctx context.Context, tx pgx.Tx, a *archive.Archive, from archive.Table) (err error) {
	in, err := a.Table(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	into := t.Name
	var columns, values []string
	text := false
	for _, c := range t.Columns {
		value := quote(c.Name)
		if asText[t.Name+"."+c.Name] {
			text, value = true, "CASE WHEN "+value+` LIKE '\\x%' THEN `+value+"::bytea ELSE convert_to("+value+", 'UTF8') END"
		}
		columns, values = append(columns, quote(c.Name)), append(values, value)
	}
	if text { // By a table in which the bytes are text.
		into = "restored_" + t.Name
		var shape []string
		for _, c := range t.Columns {
			kind := c.Type
			if asText[t.Name+"."+c.Name] {
				kind = "text"
			}
			shape = append(shape, quote(c.Name)+" "+kind)
		}
		if _, err := tx.Exec(ctx, "CREATE TEMPORARY TABLE "+quote(into)+" ("+strings.Join(shape, ", ")+") ON COMMIT DROP"); err != nil {
			return err
		}
	}
	tag, err := tx.Conn().PgConn().CopyFrom(ctx, in,
		"COPY "+quote(into)+" ("+strings.Join(columns, ", ")+") FROM STDIN WITH (FORMAT csv, HEADER MATCH, ENCODING 'UTF8')")
	if err != nil {
		return err
	}
	if tag.RowsAffected() != from.Rows {
		return fmt.Errorf("%w: it has %d rows, and the manifest says %d", archive.ErrDamaged, tag.RowsAffected(), from.Rows)
	}
	if text {
		_, err = tx.Exec(ctx, "INSERT INTO "+quote(t.Name)+" ("+strings.Join(columns, ", ")+") SELECT "+strings.Join(values, ", ")+" FROM "+quote(into))
	}
	return err
}

// compare writes every table out again and holds it against the archive.
func compare(ctx context.Context, tx pgx.Tx, tables []table, a *archive.Archive) error {
	for i, t := range tables {
		hash := sha256.New()
		n, err := t.copyTo(ctx, tx, hash)
		if err != nil {
			return err
		}
		want := a.Tables[i]
		if sum := hex.EncodeToString(hash.Sum(nil)); n != want.Rows || sum != want.SHA256 {
			return fmt.Errorf("%w: table %s came to %d rows that are not those of the backup", archive.ErrDamaged, t.Name, n)
		}
	}
	return nil
}
