package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"ripetide/forecast"
	"ripetide/weather"
)

// Errors of the package; match with [errors.Is].
var (
	// ErrKeyNotFound is a key that does not exist, or opens nothing any more.
	ErrKeyNotFound = errors.New("db: key not found")
	// ErrLastOwner is a key without which nobody could sign in as an owner.
	ErrLastOwner = errors.New("db: no other owner can sign in")
	// ErrBusy is a wait for another writer that took too long, or a transaction
	// that lost to others each time. It matches [forecast.ErrBusy].
	ErrBusy = fmt.Errorf("db: another writer is at it: %w", forecast.ErrBusy)
	// ErrSchemaNewer is a database made by a newer program; see
	// [SchemaNewerError].
	ErrSchemaNewer = errors.New("db: schema is newer than the program")
	// ErrDSN is a connection string that cannot be read.
	ErrDSN = errors.New("db: the connection string cannot be read")
	// ErrNoAnswer is a server that does not answer.
	ErrNoAnswer = errors.New("db: the database server does not answer")
	// ErrRefused is a server that does not let this user in: his password, or
	// what the server allows.
	ErrRefused = errors.New("db: the database server refuses the user")
	// ErrNoDatabase is a server without a database of the name.
	ErrNoDatabase = errors.New("db: there is no such database")
	// ErrServerTooOld is a PostgreSQL that lacks what the tables need; see
	// [ServerTooOldError].
	ErrServerTooOld = errors.New("db: PostgreSQL is too old")
)

// SchemaNewerError says how far a database is ahead of the program. It matches
// [ErrSchemaNewer].
type SchemaNewerError struct {
	Database, Program int64 // Versions of the schema.
}

func (e *SchemaNewerError) Error() string { return e.Detail() }

// Detail says in plain words what to do.
func (e *SchemaNewerError) Detail() string {
	return fmt.Sprintf("the database has schema version %d, made by a newer program, and this one knows versions up to %d: run the newer program",
		e.Database, e.Program)
}

// Is matches [ErrSchemaNewer].
func (e *SchemaNewerError) Is(target error) bool { return target == ErrSchemaNewer }

// oldestServer is the first major version of PostgreSQL that the tables are
// tested with.
const oldestServer = 15

// ServerTooOldError names the version that a server has. It matches
// [ErrServerTooOld].
type ServerTooOldError struct {
	Version string
}

func (e *ServerTooOldError) Error() string { return e.Detail() }

// Detail says in plain words what is needed.
func (e *ServerTooOldError) Detail() string {
	return fmt.Sprintf("the database server is PostgreSQL %s, and %d or newer is needed", e.Version, oldestServer)
}

// Is matches [ErrServerTooOld].
func (e *ServerTooOldError) Is(target error) bool { return target == ErrServerTooOld }

// Codes of PostgreSQL, from appendix A of its manual.
const (
	checkViolation           = "23514"
	notNullViolation         = "23502"
	characterNotInRepertoire = "22021"
	serializationFailure     = "40001"
	deadlockDetected         = "40P01"
	lockNotAvailable         = "55P03"
)

// constraints says what it means that a constraint refused a row. A check that
// is not listed means forecast.ErrInvalid.
var constraints = map[string]error{
	"known_mark_farm_fk":               forecast.ErrFarmNotFound,
	"decision_version_farm_fk":         forecast.ErrFarmNotFound,
	"subscription_farm_fk":             forecast.ErrFarmNotFound,
	"recipient_farm_fk":                forecast.ErrFarmNotFound,
	"decision_version_forecast_fk":     forecast.ErrForecastNotFound,
	"farm_version_farm_fk":             forecast.ErrFarmNotFound,
	"station_farm_fk":                  forecast.ErrFarmNotFound,
	"variety_farm_fk":                  forecast.ErrFarmNotFound,
	"planting_farm_fk":                 forecast.ErrFarmNotFound,
	"frozen_forecast_farm_fk":          forecast.ErrFarmNotFound,
	"api_key_farm_fk":                  forecast.ErrFarmNotFound,
	"station_version_stand_in_fk":      noSuch("stand_in", "station", forecast.ErrStationNotFound),
	"planting_version_station_fk":      noSuch("station", "station", forecast.ErrStationNotFound),
	"station_day_station_fk":           forecast.ErrStationNotFound,
	"planting_version_variety_fk":      noSuch("variety", "variety", forecast.ErrVarietyNotFound),
	"outlook_station_fk":               forecast.ErrStationNotFound,
	"reading_hours_version_station_fk": forecast.ErrStationNotFound,
	"sign_in_link_api_key_fk":          ErrKeyNotFound,
	"session_api_key_fk":               ErrKeyNotFound,
	"feed_station_fk":                  forecast.ErrStationNotFound,
	"day_verdict_version_station_fk":   forecast.ErrStationNotFound,
	"method_version_farm_fk":           forecast.ErrFarmNotFound,
	"sighting_planting_fk":             forecast.ErrPlantingNotFound,
	"picking_version_planting_fk":      forecast.ErrPlantingNotFound,
	"frost_version_planting_fk":        forecast.ErrPlantingNotFound,
	"spray_version_farm_fk":            forecast.ErrFarmNotFound,
	"sighting_end_sighting_fk":         forecast.ErrSightingNotFound,
	"station_day_day_check":            weather.ErrInvalidDate,
	"station_day_temperature_check":    weather.ErrInvalidDay,
	"outlook_version_days_check":       weather.ErrInvalidDay,
}

// noSuch is sentinel for a thing that a field names.
func noSuch(field, what string, sentinel error) error {
	return fmt.Errorf("%w: %w", sentinel, &forecast.FieldError{Field: field, Reason: "the farm has no such " + what})
}

// domain wraps what PostgreSQL said with what it means, if it means anything
// to the domain. The cause stays in the chain for the log.
func domain(err error) error {
	e, ok := errors.AsType[*pgconn.PgError](err)
	if !ok {
		return err
	}
	if meaning := constraints[e.ConstraintName]; meaning != nil {
		return fmt.Errorf("%w: %w", meaning, err)
	}
	switch e.Code {
	case checkViolation, notNullViolation, characterNotInRepertoire:
		return fmt.Errorf("%w: %w", forecast.ErrInvalid, err)
	case lockNotAvailable, serializationFailure, deadlockDetected: // The last two after all attempts.
		return fmt.Errorf("%w: %w", ErrBusy, err)
	}
	return err
}

// orNotFound turns "no rows" into sentinel.
func orNotFound(err, sentinel error) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("%w: %w", sentinel, err)
	}
	return err
}

// Unavailable reports whether err means that the database cannot be reached or
// cannot write for now: no connection, or one that broke; a server that starts,
// stops, has no more connections, memory or disk, cannot write to it, or is a
// standby. Whether a transaction that was being committed then was kept is not
// known.
func Unavailable(err error) bool {
	if _, ok := errors.AsType[*pgconn.ConnectError](err); ok {
		return true // Also where the server answered that it lets nobody in.
	}
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		switch e.Code {
		case "57P01", "57P02", "57P03", // It is shut down, crashed, starts.
			"57014",          // The statement took too long.
			"25006",          // Read-only: a standby.
			"58030", "58P01": // A file cannot be read or written, or is not there.
			return true
		}
		return strings.HasPrefix(e.Code, "08") || strings.HasPrefix(e.Code, "53") // Connections; resources.
	}
	if _, ok := errors.AsType[net.Error](err); ok {
		return true
	}
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, context.DeadlineExceeded) || pgconn.SafeToRetry(err)
}
