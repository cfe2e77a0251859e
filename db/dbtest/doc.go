// Package dbtest gives every test a PostgreSQL database of its own.
//
// The first test that asks starts a private server (package
// ripetide/db/postmaster, without the settings that make it durable) for the
// test process. [Main] stops it:
//
//	func TestMain(m *testing.M) { os.Exit(dbtest.Main(m)) }
//
//	func TestStation(t *testing.T) {
//		t.Parallel()
//		pool := dbtest.Pool(t)
//		…
//	}
//
// Where a test needs the tables, [Migrated] makes them once and copies them
// for every test.
//
// If TEST_DATABASE_URL is set, the databases are made on that server; its user
// must be allowed to. If it is not and no PostgreSQL is installed, the tests
// fail and say what to install. They are never skipped.
//
// Test processes share nothing and may run at the same time. One that is
// killed takes its server along; the next one removes the folder, after ten
// minutes.
package dbtest
