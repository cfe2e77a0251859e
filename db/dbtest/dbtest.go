package dbtest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

const (
	// patience bounds every order to the server. A busy machine is slow, but
	// a test that hangs tells nothing.
	patience = time.Minute

	// closing bounds the wait for the connections that a test gave out.
	closing = 10 * time.Second
)

// A Migrate function makes the tables in an empty database. It must close its
// connections.
type Migrate func(ctx context.Context, dsn string) error

// shared is the server of this test process. Tests of one package have no
// other place in common.
var shared process

// A process is what the tests of one process share.
type process struct {
	programs []string // For the test of a machine without any.

	once   sync.Once
	server *server
	err    error

	mu        sync.Mutex
	templates map[uintptr]*template
}

// A template is a database to be copied.
type template struct {
	once sync.Once
	name string
	err  error
}

// Main runs the tests and then stops the server, if one was started. It
// returns the exit code.
func Main(m *testing.M) int {
	code := m.Run()
	if err := shared.stop(); err != nil {
		fmt.Fprintln(os.Stderr, "dbtest:", err)
		code = max(code, 1)
	}
	return code
}

// DSN returns the connection string of an empty database, which is dropped at
// the end of the test.
func DSN(t testing.TB) string {
	t.Helper()
	return shared.database(t, "")
}

// Pool returns a connection pool for an empty database, which is dropped at
// the end of the test.
func Pool(t testing.TB) *pgxpool.Pool {
	t.Helper()
	return Connect(t, DSN(t))
}

// Migrated returns the connection string of a database as migrate leaves it,
// which is dropped at the end of the test. migrate runs once in a process; the
// databases are copies. Functions are told apart by their code: two closures
// from one place in the source count as one.
func Migrated(t testing.TB, migrate Migrate) string {
	t.Helper()
	name, err := shared.template(t, migrate)
	if err != nil {
		t.Fatalf("dbtest: migrate: %v", err)
	}
	return shared.database(t, name)
}

// Connect returns a connection pool that is closed at the end of the test. A
// connection that the test did not give back is an error.
func Connect(t testing.TB, dsn string) *pgxpool.Pool {
	t.Helper()
	pool, err := pgxpool.New(t.Context(), dsn)
	if err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	t.Cleanup(func() {
		done := make(chan struct{})
		go func() {
			pool.Close()
			close(done)
		}()
		select {
		case <-done:
		case <-time.After(closing):
			t.Errorf("dbtest: %d connections were not given back", pool.Stat().AcquiredConns())
		}
	})
	return pool
}

// start returns the server, and starts it for the first test.
func (p *process) start(t testing.TB) *server {
	t.Helper()
	p.once.Do(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		p.server, p.err = startServer(ctx, p.programs)
	})
	if p.err != nil {
		t.Fatalf("dbtest: %v", p.err)
	}
	return p.server
}

// stop drops the templates and stops the server.
func (p *process) stop() error {
	if p.server == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	var errs []error
	for _, tmpl := range p.templates {
		errs = append(errs, p.server.drop(ctx, tmpl.name))
	}
	return errors.Join(append(errs, p.server.stop(ctx))...)
}

// database makes a database, a copy of template unless that is empty, and
// returns its connection string.
func (p *process) database(t testing.TB, template string) string {
	t.Helper()
	s := p.start(t)
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	name := randomName("test")
	if err := s.create(ctx, name, template); err != nil {
		t.Fatalf("dbtest: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), patience)
		defer cancel()
		if err := s.drop(ctx, name); err != nil {
			t.Errorf("dbtest: %v", err)
		}
	})
	return s.dsn(name)
}

// template returns the name of the database that migrate made.
func (p *process) template(t testing.TB, migrate Migrate) (string, error) {
	t.Helper()
	s := p.start(t)
	key := reflect.ValueOf(migrate).Pointer()
	p.mu.Lock()
	tmpl := p.templates[key]
	if tmpl == nil {
		if p.templates == nil {
			p.templates = map[uintptr]*template{}
		}
		tmpl = &template{name: randomName("template")}
		p.templates[key] = tmpl
	}
	p.mu.Unlock()
	tmpl.once.Do(func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), patience)
		defer cancel()
		if tmpl.err = s.create(ctx, tmpl.name, ""); tmpl.err == nil {
			tmpl.err = errors.New("it did not return") // But ended the test from inside.
			tmpl.err = migrate(ctx, s.dsn(tmpl.name))
		}
	})
	return tmpl.name, tmpl.err
}

// randomName is unlike any other, also on a server that others use.
func randomName(kind string) string {
	return "ripetide_" + kind + "_" + strings.ToLower(rand.Text()[:16])
}

// create makes a database.
func (s *server) create(ctx context.Context, name, template string) error {
	sql := "CREATE DATABASE " + name
	if template != "" {
		sql += " TEMPLATE " + template
	}
	// The server itself waits, five seconds long, for connections to the
	// template that were closed a moment ago.
	return s.order(ctx, sql)
}

// drop removes a database, whoever is still connected to it.
func (s *server) drop(ctx context.Context, name string) error {
	return s.order(ctx, "DROP DATABASE IF EXISTS "+name+" WITH (FORCE)")
}

// order runs one statement on a connection of its own: a pool would leave
// goroutines, which a test that looks for leaks would find.
func (s *server) order(ctx context.Context, sql string) error {
	conn, err := pgx.Connect(ctx, s.admin)
	if err == nil {
		_, err = conn.Exec(ctx, sql)
		err = errors.Join(err, conn.Close(ctx))
	}
	if err != nil {
		return fmt.Errorf("%s: %w", sql, err)
	}
	return nil
}
