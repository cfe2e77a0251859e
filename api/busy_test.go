package api_test

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"ripetide/api"
	"ripetide/forecast"
)

// lockedStore knows every key; its farms are held by another writer.
type lockedStore struct {
	api.Store

	keys error // What looking up a key ends with.
}

func (s lockedStore) Caller(context.Context, [32]byte, time.Time) (api.Caller, error) {
	return api.Caller{Role: api.Owner}, s.keys
}

func (lockedStore) Farm(context.Context, string) (forecast.Farm, error) {
	return forecast.Farm{}, fmt.Errorf("read farm: %w", forecast.ErrBusy)
}

func TestBusyDatabaseSaysWhenToAskAgain(t *testing.T) {
	t.Parallel()
	for name, store := range map[string]lockedStore{
		"in an operation":        {},
		"while the key is found": {keys: forecast.ErrBusy},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := api.New(api.Config{Store: store, Now: time.Now, Log: slog.New(slog.DiscardHandler), Version: "test"})
			req := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/v1/farms/a", nil)
			req.Header.Set("Authorization", "Bearer x")
			w := httptest.NewRecorder()
			s.ServeHTTP(w, req)
			if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" {
				t.Errorf("%d, Retry-After %q: %s", w.Code, w.Header().Get("Retry-After"), w.Body)
			}
		})
	}
}
