package db_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db"
	"ripetide/db/archive"
	"ripetide/db/dbtest"
	"ripetide/weather"
)

// contents are the rows of every table as PostgreSQL writes them, each table a
// text. It shares nothing with the backup's own query.
func contents(t *testing.T, pool *pgxpool.Pool) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, table := range tablesOf(t, pool) {
		if table == "station_state" { // Names of states, no record.
			continue
		}
		rows, _ := pool.Query(t.Context(), "SELECT x::text FROM "+table+" AS x")
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		slices.Sort(lines)
		out[table] = strings.Join(lines, "\n")
	}
	return out
}

func tablesOf(t *testing.T, pool *pgxpool.Pool) []string {
	t.Helper()
	rows, _ := pool.Query(t.Context(), `
		SELECT relname::text FROM pg_class
		WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname <> 'goose_db_version' ORDER BY 1`)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return tables
}

func backedUp(t *testing.T, s *db.Store) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := s.Backup(t.Context(), &b, "1.2.3"); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// restored restores file onto a new database and returns its address. The error
// is that of reading the file or of restoring it.
func restored(t *testing.T, file []byte) (string, error) {
	t.Helper()
	dsn := dbtest.DSN(t)
	a, err := archive.Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return dsn, err
	}
	return dsn, db.Restore(t.Context(), dsn, a)
}

func TestWhatIsRestoredIsWhatWasThere(t *testing.T) {
	t.Parallel()
	s, pool := everything(t)
	odd := hill
	odd.ID, odd.Name = "odd", "=1+1, \"quoted\"\n\\N; \u202eO'Farm\t"
	must(t)(s.PutFarm(t.Context(), odd, "", t0))
	was := contents(t, pool)
	for table, rows := range was {
		if rows == "" {
			t.Errorf("%s is empty, which proves nothing", table)
		}
	}
	file := backedUp(t, s)
	dsn, err := restored(t, file)
	if err != nil {
		t.Fatal(err)
	}
	again := dbtest.Connect(t, dsn)
	is := contents(t, again)
	for table := range was {
		if is[table] != was[table] {
			t.Errorf("%s was\n%s\nand is\n%s", table, was[table], is[table])
		}
	}
	if len(is) != len(was) {
		t.Errorf("%d tables, were %d", len(is), len(was))
	}
	// It is in use: it takes what is new, and refuses to forget.
	store, err := db.Open(t.Context(), dsn, db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	for _, table := range tablesOf(t, again) {
		_, err := again.Exec(t.Context(), "DELETE FROM "+table)
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.Code != "23001" {
			t.Errorf("delete from %s after the restore: %v, want a refusal", table, err)
		}
	}
	if f, err := store.Forecast(t.Context(), "hill", "one"); err != nil || string(f.Body) != string(frozen("one", "2026-06-01", 0, false).Body) {
		t.Errorf("the frozen forecast is now %q, %v", f.Body, err)
	}
	if n := count(t, again, "station_state"); n != 1 {
		t.Errorf("%d stations have a state, want 1", n)
	}
	// And backed up again it has the same tables.
	a, err1 := archive.Open(bytes.NewReader(file), int64(len(file)))
	second := backedUp(t, store)
	b, err2 := archive.Open(bytes.NewReader(second), int64(len(second)))
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	if !slices.EqualFunc(a.Tables, b.Tables, func(x, y archive.Table) bool { return x.Name == y.Name && x.SHA256 == y.SHA256 }) {
		t.Error("a backup of what was restored has other tables")
	}
	if a.Program != "1.2.3" || a.Schema == 0 {
		t.Errorf("the manifest says program %q, schema %d", a.Program, a.Schema)
	}
}

// TestABackupIsOpenFiles reads one with the usual tools' formats alone.
func TestABackupIsOpenFiles(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	f := frozen("one", "2026-06-01", 0, false)
	f.Body = []byte("{\"note\":\"a \\\"tab\\\"\\t, 3 °C\"}")
	if err := errors.Join(s.Freeze(t.Context(), f), s.NewKey(t.Context(), db.Key{ID: "k", Role: "owner", Name: "Key", CreatedAt: t0})); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Source: "test", Days: []weather.Day{{Date: date("2026-05-01"), Min: 4, Max: 16}}}, t0); err != nil {
		t.Fatal(err)
	}
	file := backedUp(t, s)
	files := unpacked(t, file)
	for line := range strings.Lines(string(files["SHA256SUMS"])) { // As sha256sum writes them.
		sum, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		if have := sha256.Sum256(files[name]); hex.EncodeToString(have[:]) != sum {
			t.Errorf("%s has another hash", name)
		}
	}
	for name, want := range map[string]string{
		"tables/planting_version.csv": "hill,north,1,",
		"tables/frozen_forecast.csv":  `"{""note"":""a \""tab\""\t, 3 °C""}"`, // JSON, its quotes doubled by CSV.
		"tables/station_day.csv":      "2026-05-01",
		"README.txt":                  "sha256sum -c SHA256SUMS",
	} {
		if !bytes.Contains(files[name], []byte(want)) {
			t.Errorf("%s holds no %q: %.300s", name, want, files[name])
		}
	}
	if bytes.Contains(files["tables/api_key.csv"], []byte("ripetide-")) {
		t.Error("a key is in the backup")
	}
	dsn, err := restored(t, file)
	if err != nil {
		t.Fatal(err)
	}
	var body []byte
	if err := dbtest.Connect(t, dsn).QueryRow(t.Context(), "SELECT body FROM frozen_forecast").Scan(&body); err != nil || !bytes.Equal(body, f.Body) {
		t.Errorf("the body is now %s, %v", body, err)
	}
}

func unpacked(t *testing.T, file []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, f := range z.File {
		if out[f.Name], err = fs.ReadFile(z, f.Name); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// packed makes a zip of files, with hashes that fit.
func packed(t *testing.T, files map[string][]byte) []byte {
	t.Helper()
	var sums strings.Builder
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if name != "SHA256SUMS" {
			fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(files[name]), name)
		}
	}
	files["SHA256SUMS"] = []byte(sums.String())
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		out, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := out.Write(files[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// nothing fails the test unless a database has no row of ours.
func nothing(t *testing.T, dsn, why string) {
	t.Helper()
	pool := dbtest.Connect(t, dsn)
	for _, table := range tablesOf(t, pool) {
		if n := count(t, pool, table); n != 0 {
			t.Errorf("%s: %d rows in %s", why, n, table)
		}
	}
}

// TestADamagedFileRestoresNothing cuts a backup off at many places and turns bits
// at many others. A turned bit that changes nothing of what it holds, such as one
// of a file's time, may pass.
func TestADamagedFileRestoresNothing(t *testing.T) {
	t.Parallel()
	s, _ := everything(t)
	file := backedUp(t, s)
	whole, err := archive.Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 200 {
		n := len(file) * i / 200
		if _, err := archive.Open(bytes.NewReader(file[:n]), int64(n)); !errors.Is(err, archive.ErrDamaged) {
			t.Errorf("cut off at %d of %d bytes: %v", n, len(file), err)
		}
	}
	passed := 0
	for i := 0; i < len(file); i += 7 {
		bad := slices.Clone(file)
		bad[i] ^= 1 << (i % 8)
		a, err := archive.Open(bytes.NewReader(bad), int64(len(bad)))
		switch {
		case errors.Is(err, archive.ErrDamaged):
		case err != nil:
			t.Errorf("byte %d: %v", i, err)
		case !slices.EqualFunc(a.Tables, whole.Tables, func(x, y archive.Table) bool { return x.SHA256 == y.SHA256 }):
			t.Errorf("byte %d turned: other tables, and no error", i)
		default:
			passed++
		}
	}
	if passed > len(file)/7/5 {
		t.Errorf("%d of %d files with a turned bit passed", passed, len(file)/7)
	}
}

// TestATamperedFileRestoresNothing changes what a backup holds and makes its
// hashes fit, so that only the database can tell.
func TestATamperedFileRestoresNothing(t *testing.T) {
	t.Parallel()
	s, _ := everything(t)
	file := backedUp(t, s)
	for name, c := range map[string]struct {
		table      string
		old, fresh string
		keepHash   bool // Of the table, in the manifest.
	}{
		"another value, with the hash as it was": {table: "planting_version", old: "hill,north,1", fresh: "hill,north,2", keepHash: true},
		"a number that is no number":             {table: "station_day", old: "2026-05-01", fresh: "2026-05-41"},
		"a value that a constraint refuses":      {table: "farm_version", old: "America/New_York", fresh: ""},
		"a row of a farm that there is not":      {table: "station", old: "hill,barn", fresh: "dale,barn"},
		"a form that is not the database's":      {table: "station_day", old: "2026-05-01", fresh: "20260501"},
		"a column less":                          {table: "station_day", old: "min_c", fresh: "min"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			files := unpacked(t, file)
			path := "tables/" + c.table + ".csv"
			was := fmt.Sprintf("%x", sha256.Sum256(files[path]))
			changed := bytes.Replace(files[path], []byte(c.old), []byte(c.fresh), 1)
			if bytes.Equal(changed, files[path]) {
				t.Fatalf("%s holds no %q:\n%s", path, c.old, files[path])
			}
			files[path] = changed
			if !c.keepHash {
				files["manifest.json"] = bytes.ReplaceAll(files["manifest.json"], []byte(was), fmt.Appendf(nil, "%x", sha256.Sum256(changed)))
			}
			dsn, err := restored(t, packed(t, files))
			if err == nil {
				t.Error("it was restored")
			}
			nothing(t, dsn, name)
		})
	}
	t.Run("a row less than the manifest says", func(t *testing.T) {
		t.Parallel()
		files := unpacked(t, file)
		files["manifest.json"] = bytes.Replace(files["manifest.json"], []byte(`"rows": 1,`), []byte(`"rows": 7,`), 1)
		dsn, err := restored(t, packed(t, files))
		if !errors.Is(err, archive.ErrDamaged) {
			t.Errorf("got %v", err)
		}
		nothing(t, dsn, "rows")
	})
	t.Run("of a newer program", func(t *testing.T) {
		t.Parallel()
		files := unpacked(t, file)
		a, err := archive.Open(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			t.Fatal(err)
		}
		files["manifest.json"] = bytes.Replace(files["manifest.json"], fmt.Appendf(nil, `"schema": %d,`, a.Schema), []byte(`"schema": 999,`), 1)
		dsn, err := restored(t, packed(t, files))
		if !errors.Is(err, db.ErrSchemaNewer) {
			t.Errorf("got %v", err)
		}
		nothing(t, dsn, "newer")
	})
	t.Run("of a form to come", func(t *testing.T) {
		t.Parallel()
		files := unpacked(t, file)
		files["manifest.json"] = bytes.Replace(files["manifest.json"], []byte(`"format": 1,`), []byte(`"format": 2,`), 1)
		if _, err := restored(t, packed(t, files)); !errors.Is(err, archive.ErrFormat) {
			t.Errorf("got %v", err)
		}
	})
}

func TestOnlyAnEmptyDatabaseIsRestoredOnto(t *testing.T) {
	t.Parallel()
	s, _ := everything(t)
	file := backedUp(t, s)
	a, err := archive.Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	dsn := dbtest.Migrated(t, db.Migrate)
	other, err := db.Open(t.Context(), dsn, db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(other.Close)
	if err := other.NewKey(t.Context(), db.Key{ID: "mine", Role: "owner", Name: "Me", CreatedAt: t0}); err != nil {
		t.Fatal(err)
	}
	err = db.Restore(t.Context(), dsn, a)
	if !errors.Is(err, db.ErrNotEmpty) || !strings.Contains(err.Error(), "table api_key has rows") {
		t.Errorf("got %v", err)
	}
	pool := dbtest.Connect(t, dsn)
	if n := count(t, pool, "farm") + count(t, pool, "api_key"); n != 1 {
		t.Errorf("%d rows, want the key alone", n)
	}
	// One of an older version in use stays as it is.
	old := dbtest.DSN(t)
	if err := db.MigrateTo(t.Context(), old, 12); err != nil {
		t.Fatal(err)
	}
	before := dbtest.Connect(t, old)
	if _, err := before.Exec(t.Context(), "INSERT INTO farm (farm, created_at) VALUES ('old', now())"); err != nil {
		t.Fatal(err)
	}
	if err := db.Restore(t.Context(), old, a); !errors.Is(err, db.ErrNotEmpty) {
		t.Errorf("got %v", err)
	}
	var schema int
	if err := before.QueryRow(t.Context(), "SELECT max(version_id) FROM goose_db_version").Scan(&schema); err != nil || schema != 12 {
		t.Errorf("its tables are of version %d now, %v", schema, err)
	}
	// One with the tables alone is empty.
	if err := db.Restore(t.Context(), dbtest.Migrated(t, db.Migrate), a); err != nil {
		t.Error(err)
	}
	// One with newer tables is not for an old backup.
	older := dbtest.DSN(t)
	if err := db.MigrateTo(t.Context(), older, 12); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := db.BackupOf(t.Context(), older, &b, "test"); err != nil {
		t.Fatal(err)
	}
	if a, err = archive.Open(bytes.NewReader(b.Bytes()), int64(b.Len())); err != nil {
		t.Fatal(err)
	}
	if err := db.Restore(t.Context(), dbtest.Migrated(t, db.Migrate), a); !errors.Is(err, db.ErrNotEmpty) {
		t.Errorf("got %v", err)
	}
}

// TestABackupIsOfOneInstant backs up while batches of seven days are recorded, one
// after another at two stations. In each file batches are whole, and the second
// station is at most one behind.
func TestABackupIsOfOneInstant(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	shed := barn
	shed.ID = "shed"
	must(t)(s.PutStation(t.Context(), "hill", shed, "test", t0))
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		for n := 0; ; n++ {
			days := make([]weather.Day, 7)
			for i := range days {
				days[i] = weather.Day{Date: date("1990-01-01") + weather.Date(7*n+i), Min: 1, Max: 11}
			}
			for _, station := range []string{"barn", "shed"} {
				_, err := s.AddDays(ctx, "hill", station, weather.Delivery{Source: "test", Days: days}, at(n))
				if ctx.Err() != nil {
					done <- nil
					return
				}
				if err != nil {
					done <- err
					return
				}
			}
		}
	}()
	last := 0
	for range 20 {
		files := unpacked(t, backedUp(t, s))
		days := string(files["tables/station_day.csv"])
		first, second := strings.Count(days, "hill,barn,"), strings.Count(days, "hill,shed,")
		if first%7 != 0 || second%7 != 0 || first-second < 0 || first-second > 7 {
			t.Errorf("%d and %d days", first, second)
		}
		if first < last {
			t.Errorf("%d days after %d", first, last)
		}
		last = first
	}
	stop()
	if err := <-done; err != nil || last < 14 {
		t.Errorf("%v; %d days were recorded, which proves little", err, last)
	}
}

// TestEveryEarlierVersionIsTakenOver: with rows in every table of every earlier
// version, a database is migrated where it is, and a backup of it is restored.
// Nothing that it had is another one afterwards.
func TestEveryEarlierVersionIsTakenOver(t *testing.T) {
	t.Parallel()
	_, full := everything(t)
	var newest int64
	if err := full.QueryRow(t.Context(), "SELECT max(version_id) FROM goose_db_version").Scan(&newest); err != nil {
		t.Fatal(err)
	}
	if newest < 20 {
		t.Fatalf("version %d", newest)
	}
	for version := int64(1); version <= newest; version++ {
		t.Run(fmt.Sprint(version), func(t *testing.T) {
			t.Parallel()
			dsn := dbtest.DSN(t)
			if err := db.MigrateTo(t.Context(), dsn, version); err != nil {
				t.Fatal(err)
			}
			old := dbtest.Connect(t, dsn)
			was, columns := takeOver(t, full, old)
			var file bytes.Buffer
			if m, err := db.BackupOf(t.Context(), dsn, &file, "test"); err != nil || m.Schema != version {
				t.Fatalf("backup of version %d: %v", m.Schema, err)
			}
			elsewhere, err := restored(t, file.Bytes())
			if err != nil {
				t.Fatal(err)
			}
			old.Close()
			if err := db.Migrate(t.Context(), dsn); err != nil {
				t.Fatal(err)
			}
			for name, where := range map[string]string{"migrated": dsn, "restored": elsewhere} {
				pool := dbtest.Connect(t, where)
				for table, rows := range was {
					if is := rowsOf(t, pool, table, columns[table]); is != rows {
						t.Errorf("%s: %s was\n%s\nand is\n%s", name, table, rows, is)
					}
				}
				s, err := db.Open(t.Context(), where, db.Options{})
				if err != nil {
					t.Fatal(err)
				}
				if farms, err := s.Farms(t.Context()); err != nil || len(farms) != 1 || farms[0].Name != hill.Name {
					t.Errorf("%s: farms are %v, %v", name, farms, err)
				}
				if version >= 3 {
					if plantings, err := s.Plantings(t.Context(), "hill"); err != nil || len(plantings) != 1 || plantings[0].ID != north.ID {
						t.Errorf("%s: plantings are %v, %v", name, plantings, err)
					}
				}
				s.Close()
			}
		})
	}
}

// takeOver fills the tables that old has from those of full, and returns their
// rows and columns.
func takeOver(t *testing.T, full, old *pgxpool.Pool) (rows, columns map[string]string) {
	t.Helper()
	rows, columns = map[string]string{}, map[string]string{}
	left := tablesOf(t, old)
	for pass := 0; len(left) > 0; pass++ { // In an order that their foreign keys allow.
		if pass > 20 {
			t.Fatalf("cannot fill %v", left)
		}
		left = slices.DeleteFunc(left, func(table string) bool {
			if table == "station_state" {
				return true
			}
			var list string
			err := old.QueryRow(t.Context(), `
				SELECT string_agg(quote_ident(attname), ', ' ORDER BY attnum) FROM pg_attribute
				WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped`, table).Scan(&list)
			if err != nil {
				t.Fatal(err)
			}
			var csv bytes.Buffer
			if err := copied(t, full, func(c *pgconn.PgConn) error {
				_, err := c.CopyTo(t.Context(), &csv, "COPY (SELECT "+list+" FROM "+table+") TO STDOUT")
				return err
			}); err != nil {
				t.Fatal(err)
			}
			if err := copied(t, old, func(c *pgconn.PgConn) error {
				_, err := c.CopyFrom(t.Context(), &csv, "COPY "+table+" ("+list+") FROM STDIN")
				return err
			}); err != nil {
				if pass == 20 {
					t.Log(err)
				}
				return false
			}
			columns[table], rows[table] = list, rowsOf(t, old, table, list)
			if rows[table] == "" {
				t.Errorf("%s is empty, which proves nothing", table)
			}
			return true
		})
	}
	return rows, columns
}

func copied(t *testing.T, pool *pgxpool.Pool, do func(*pgconn.PgConn) error) error {
	t.Helper()
	return pool.AcquireFunc(t.Context(), func(c *pgxpool.Conn) error { return do(c.Conn().PgConn()) })
}

// rowsOf returns some columns of a table's rows, sorted.
func rowsOf(t *testing.T, pool *pgxpool.Pool, table, columns string) string {
	t.Helper()
	rows, _ := pool.Query(t.Context(), "SELECT ROW("+columns+")::text FROM "+table)
	lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

// BenchmarkBackup is a backup of a farm with forty years of days, beside
// PostgreSQL's own copying of the largest table to nowhere.
func BenchmarkBackup(b *testing.B) {
	s, pool := farmed(b)
	days := make([]weather.Day, 40*365)
	for i := range days {
		days[i] = weather.Day{Date: date("1985-01-01") + weather.Date(i), Min: 1.5, Max: 11.25}
	}
	if _, err := s.AddDays(b.Context(), "hill", "barn", weather.Delivery{Source: "test", Days: days}, t0); err != nil {
		b.Fatal(err)
	}
	for i := range 100 {
		f := frozen(fmt.Sprint("f", i), "2026-06-01", i, true)
		f.Body = []byte(`{"padding":"` + strings.Repeat("x y z ", 20000) + `"}`)
		if err := s.Freeze(b.Context(), f); err != nil {
			b.Fatal(err)
		}
	}
	b.Run("backup", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.Backup(b.Context(), io.Discard, "test"); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("copy", func(b *testing.B) {
		for b.Loop() {
			for _, table := range []string{"station_day", "frozen_forecast"} {
				if err := pool.AcquireFunc(b.Context(), func(c *pgxpool.Conn) error {
					_, err := c.Conn().PgConn().CopyTo(b.Context(), io.Discard, "COPY "+table+" TO STDOUT")
					return err
				}); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
