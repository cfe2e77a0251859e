package dbtest

import "time"

// UsePrograms looks for PostgreSQL in these folders only. Call it before the
// first test.
func UsePrograms(dirs ...string) { shared.programs = dirs }

// WithDatabase is withDatabase.
var WithDatabase = withDatabase

// Sweep is sweep.
func Sweep(temp string, before time.Time) error { return sweep(temp, before) }
