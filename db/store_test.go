package db_test

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db"
	"ripetide/db/dbtest"
	"ripetide/forecast"
	"ripetide/weather"
)

func TestMain(m *testing.M) { os.Exit(dbtest.Main(m)) }

// t0 is when the records of most tests begin.
var t0 = time.Date(2026, time.March, 1, 6, 0, 0, 0, time.UTC)

// at returns the instant n minutes after t0.
func at(n int) time.Time { return t0.Add(time.Duration(n) * time.Minute) }

// open returns a store with a database of its own, and a pool to look into it
// with raw SQL, as a superuser.
func open(t testing.TB) (*db.Store, *pgxpool.Pool) {
	t.Helper()
	dsn := dbtest.Migrated(t, db.Migrate)
	s, err := db.Open(t.Context(), dsn, db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s, dbtest.Connect(t, dsn)
}

var (
	hill = forecast.Farm{
		ID: "hill", Name: "Hill Farm", Latitude: 42.3, Longitude: -72.6, TimeZone: "America/New_York",
		Units: forecast.US, GapProbability: 0.5,
	}
	barn  = weather.Station{ID: "barn", Name: "Barn", Latitude: 42.3, Longitude: -72.6, Elevation: 60, Suspects: weather.LeaveOutSuspects}
	jewel = forecast.Variety{ID: "jewel", Name: "Jewel", Ripens: forecast.Mid}
	north = forecast.Planting{
		ID: "north", Variety: "jewel", Block: "North", Station: "barn",
		PlantedOn: date("2020-05-01"), AreaM2: 500, KgPerM2: 1,
	}
)

// farmed returns a store in which the farm hill has the station barn, the
// variety jewel and the planting north since t0.
func farmed(t testing.TB) (*db.Store, *pgxpool.Pool) {
	t.Helper()
	s, pool := open(t)
	must(t)(s.PutFarm(t.Context(), hill, "test", t0))
	must(t)(s.PutStation(t.Context(), "hill", barn, "test", t0))
	must(t)(s.PutVariety(t.Context(), "hill", jewel, "test", t0))
	must(t)(s.PutPlanting(t.Context(), "hill", north, "test", t0))
	return s, pool
}

// must returns a function that ends the test if a Put did not create.
func must(t testing.TB) func(created bool, err error) {
	t.Helper()
	return func(created bool, err error) {
		t.Helper()
		if err != nil || !created {
			t.Fatalf("created %v, %v", created, err)
		}
	}
}

func date(s string) weather.Date {
	d, err := weather.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

func ptr[T any](v T) *T { return &v }

func count(t testing.TB, pool *pgxpool.Pool, table string) int {
	t.Helper()
	var n int
	if err := pool.QueryRow(t.Context(), "SELECT count(*) FROM "+table).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestOpenSetsTheSession(t *testing.T) {
	t.Parallel()
	dsn := dbtest.DSN(t)
	s, err := db.Open(t.Context(), dsn, db.Options{ApplicationName: "nightly", LockTimeout: 3 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Ping(t.Context()); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"application_name":                    "nightly",
		"lock_timeout":                        "3s",
		"statement_timeout":                   "1min",
		"idle_in_transaction_session_timeout": "1min",
		"TimeZone":                            "UTC",
	} {
		if got := db.Setting(t, s, name); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
}

func TestConnectionStringComesFirst(t *testing.T) {
	t.Parallel()
	dsn := dbtest.DSN(t)
	s, err := db.Open(t.Context(), withSetting(dsn, "statement_timeout=7000"), db.Options{StatementTimeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := db.Setting(t, s, "statement_timeout"); got != "7s" {
		t.Errorf("statement_timeout is %s, want 7s", got)
	}
}

// Whatever is set elsewhere, what is answered as recorded is on the disk; a setting
// for standbys is left as it is.
func TestCommitsAreDurable(t *testing.T) {
	t.Parallel()
	dsn := dbtest.Migrated(t, db.Migrate)
	for set, want := range map[string]string{"off": "on", "remote_write": "remote_write"} {
		s, err := db.Open(t.Context(), withSetting(dsn, "synchronous_commit="+set), db.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got := db.Setting(t, s, "synchronous_commit"); got != want {
			t.Errorf("%s becomes %s, want %s", set, got, want)
		}
		s.Close()
	}
}

// withSetting returns a connection string, of either form, with one more
// setting.
func withSetting(dsn, setting string) string {
	switch {
	case !strings.Contains(dsn, "://"):
		return dsn + " " + setting
	case strings.Contains(dsn, "?"):
		return dsn + "&" + setting
	}
	return dsn + "?" + setting
}

func TestOpenNeedsAServer(t *testing.T) {
	t.Parallel()
	if _, err := db.Open(t.Context(), "host="+t.TempDir()+" dbname=none", db.Options{}); err == nil {
		t.Error("opened a database that is not there")
	}
	if _, err := db.Open(t.Context(), "postgres://%", db.Options{}); err == nil {
		t.Error("opened a connection string that cannot be read")
	}
}

func TestOldServersAreRefused(t *testing.T) {
	t.Parallel()
	for num, name := range map[int]string{90624: "9.6.24", 140012: "14.12 (Debian 14.12-1)"} {
		err := db.ServerFault(num, name)
		want := "the database server is PostgreSQL " + name + ", and 15 or newer is needed"
		if !errors.Is(err, db.ErrServerTooOld) || err.Error() != want {
			t.Errorf("PostgreSQL %s: %v, want %s", name, err, want)
		}
	}
	for _, num := range []int{150000, 150018, 180001} {
		if err := db.ServerFault(num, "new"); err != nil {
			t.Errorf("PostgreSQL %d: %v", num, err)
		}
	}
}
