package db

import "testing"

// ServerFault lets tests pretend to be an old server.
var ServerFault = serverFault

// Setting returns a setting of the sessions of s.
func Setting(t testing.TB, s *Store, name string) string {
	t.Helper()
	var value string
	if err := s.pool.QueryRow(t.Context(), "SELECT current_setting($1)", name).Scan(&value); err != nil {
		t.Fatal(err)
	}
	return value
}
