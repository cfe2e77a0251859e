package api_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/labstack/echo/v4"

	"ripetide/api"
)

var update = flag.Bool("update", false, "write golden files anew")

// The document as a file, so that a change of the interface is seen in review.
const golden = "../testdata/api/openapi.json"

func server() *api.Server {
	return api.New(api.Config{
		Store: lockedStore{},
		Now:   func() time.Time { return time.Unix(0, 0) },
		Log:   slog.New(slog.DiscardHandler), Version: "test",
	})
}

func get(t *testing.T, s *api.Server, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	s.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil))
	return w
}

func TestOpenAPIDocumentIsTheReviewedOne(t *testing.T) {
	t.Parallel()
	got := get(t, server(), "/openapi.json").Body.Bytes()
	if *update {
		if err := os.WriteFile(golden, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the document changed; if that is meant, run go test ./api -update and review it (-want +got):\n%s",
			cmp.Diff(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")))
	}
}

// TestEveryRouteIsInTheDocument sees that no route escapes what is generated from
// the document: the matrix of permissions and the random requests.
func TestEveryRouteIsInTheDocument(t *testing.T) {
	t.Parallel()
	s := server()
	var doc struct {
		Paths map[string]map[string]any
	}
	if err := json.Unmarshal(get(t, s, "/openapi.json").Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	// These tell nothing of a farm.
	plain := []string{"/healthz", "/readyz", "/openapi.json", "/reference", "/problems/:slug"}
	part := regexp.MustCompile(`:(\w+)`)
	checked := 0
	for _, r := range s.Echo().Routes() {
		if slices.Contains(plain, r.Path) || r.Method == echo.RouteNotFound {
			continue
		}
		checked++
		path := part.ReplaceAllString(r.Path, "{$1}")
		method := r.Method
		if method == http.MethodHead { // Where GET is, and guarded like it.
			method = http.MethodGet
			w := httptest.NewRecorder()
			s.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodHead, part.ReplaceAllString(r.Path, "x"), nil))
			if strings.HasPrefix(path, "/v1/") && w.Code != http.StatusUnauthorized {
				t.Errorf("HEAD %s without a key: %d", path, w.Code)
			}
		}
		if doc.Paths[path][strings.ToLower(method)] == nil {
			t.Errorf("%s %s is served and not in the document", r.Method, path)
		}
	}
	if checked < 60 {
		t.Errorf("%d routes were checked", checked)
	}
}

func TestEveryOperationIsOnTheReferencePageWithItsRole(t *testing.T) {
	t.Parallel()
	page := get(t, server(), "/reference").Body.String()
	for _, want := range []string{"/v1/farms/{farm}/forecasts/latest", "Role: owner", "Role: reader", "/problems/too-few-years", "frost alarm"} {
		if !strings.Contains(page, want) {
			t.Errorf("the reference page lacks %q", want)
		}
	}
}

func TestProblemTypesAreServed(t *testing.T) {
	t.Parallel()
	s := server()
	for slug, want := range map[string]string{"too-few-years": "five", "unit-unknown": "unit", "no-key": "Bearer"} {
		if w := get(t, s, "/problems/"+slug); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) {
			t.Errorf("/problems/%s: %d %s", slug, w.Code, w.Body)
		}
	}
	if w := get(t, s, "/problems/nothing"); w.Code != http.StatusNotFound {
		t.Errorf("an unknown problem is answered with %d", w.Code)
	}
}

func TestWithoutAKeyNothingIsAnswered(t *testing.T) {
	t.Parallel()
	w := get(t, server(), "/v1/farms/a")
	if w.Code != http.StatusUnauthorized || w.Header().Get("WWW-Authenticate") == "" || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("%d, %v", w.Code, w.Header())
	}
}
