// Package db keeps farms, weather, outlooks, sightings and frozen forecasts in
// PostgreSQL, 15 or newer.
//
// [Migrate] brings the tables up to date, [Open] returns the [Store]. What was
// recorded is never changed: a correction is a new row, and the past can be
// read as it was known at any instant. The tables are described where they are
// made, in the folder migrations.
//
// # Conventions
//
// Instants are kept to the microsecond and returned in UTC. An instant that a
// writer gives is moved up to that of the version it follows and of the things
// it refers to, if a clock was behind: versions and instants have the same
// order, and what is known at an instant refers to nothing that is not.
//
// Values are taken as valid; constraints in the database refuse what cannot
// be, with errors that match the sentinels of packages weather and forecast.
// Lists of things on a farm that does not exist are empty.
//
// Transactions that PostgreSQL gives up for the sake of others (deadlock,
// serialization failure) are run again, a few times.
package db
