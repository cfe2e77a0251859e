package main

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
)

// together runs n clients at once and returns their statuses, sorted.
func (s *service) together(n int, request func(client int) (method, path, kind, body string)) []int {
	s.t.Helper()
	statuses := make([]int, n)
	var wg sync.WaitGroup
	for client := range n {
		wg.Go(func() {
			method, path, kind, body := request(client)
			statuses[client], _ = s.attempt(attempt{method, path, kind, body})
		})
	}
	wg.Wait()
	slices.Sort(statuses)
	return statuses
}

func all(status, n int) []int { return slices.Repeat([]int{status}, n) }

// TestTheSameCorrectionFromFifty is one correction.
func TestTheSameCorrectionFromFifty(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	const day = "date,min_c,max_c\n2024-01-01,%d,20\n"
	s.call(200, "POST", daysPath, "text/csv", fmt.Sprintf(day, 10))
	got := s.together(50, func(int) (method, path, kind, body string) {
		return "POST", daysPath, "text/csv", fmt.Sprintf(day, 11)
	})
	if !slices.Equal(got, all(200, 50)) {
		t.Errorf("answered were %v", got)
	}
	if n := s.rows("SELECT count(*) FROM station_day WHERE day = '2024-01-01'"); n != 2 {
		t.Errorf("%d revisions, want the day and its correction", n)
	}
}

// TestLoadsThatOverlap: twenty clients send a month each, in rising and in falling
// order of date, of which any two overlap; all say the same.
func TestLoadsThatOverlap(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	got := s.together(20, func(client int) (method, path, kind, body string) {
		var lines []string
		for i := range 30 {
			d := client + i
			lines = append(lines, fmt.Sprintf("2023-%02d-%02d,%d,20", 1+d/28, 1+d%28, d%15))
		}
		if client%2 == 1 {
			slices.Reverse(lines)
		}
		return "POST", daysPath, "text/csv", "date,min_c,max_c\n" + strings.Join(lines, "\n") + "\n"
	})
	if !slices.Equal(got, all(200, 20)) {
		t.Errorf("answered were %v", got)
	}
	if n := s.rows("SELECT count(*) FROM station_day"); n != 49 {
		t.Errorf("%d rows, want 49: each date once", n)
	}
}

// TestCorrectionsMakeAChain: thirty clients send different values for one day.
// Each is recorded, in some order, as one after the other.
func TestCorrectionsMakeAChain(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	got := s.together(30, func(client int) (method, path, kind, body string) {
		return "POST", daysPath, "text/csv", fmt.Sprintf("date,min_c,max_c\n2024-01-01,%d,40\n", client)
	})
	if !slices.Equal(got, all(200, 30)) {
		t.Errorf("answered were %v", got)
	}
	if n := s.rows("SELECT count(*) FROM station_day"); n != 30 {
		t.Errorf("%d revisions, want 30", n)
	}
	if n := s.rows("SELECT max(revision) FROM station_day"); n != 30 {
		t.Errorf("the last revision is %d", n)
	}
	if n := s.rows("SELECT count(DISTINCT min_c) FROM station_day"); n != 30 {
		t.Errorf("%d different values, want 30", n)
	}
}

// TestTwoOnOneSighting: of two who take the same sighting back one does it; the
// other is told that it is gone.
func TestTwoOnOneSighting(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	for i := range 10 {
		made := s.json(200, "POST", "/v1/farms/f/sightings", fmt.Sprintf(`{"sightings":[{"planting":"p","date":"2024-11-%02d","stage":"peak","seen":false}]}`, i+1))
		id := made["sightings"].([]any)[0].(map[string]any)["id"]
		got := s.together(2, func(int) (method, path, kind, body string) {
			return "DELETE", fmt.Sprintf("/v1/farms/f/sightings/%v", id), "", ""
		})
		if !slices.Equal(got, []int{204, 404}) {
			t.Errorf("answered were %v", got)
		}
	}
	if n := s.rows("SELECT count(*) FROM sighting_end"); n != 10 {
		t.Errorf("%d are taken back, want 10", n)
	}
}

// TestManyPutOnePlanting: each of twenty values is a version, in some order.
func TestManyPutOnePlanting(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	got := s.together(20, func(client int) (method, path, kind, body string) {
		return "PUT", "/v1/farms/f/plantings/p", "application/json", fmt.Sprintf(`{"variety":"v","block":"B","station":"s","planted_on":"2020-06-01","area_m2":%d}`, 1000+client)
	})
	if !slices.Equal(got, all(200, 20)) {
		t.Errorf("answered were %v", got)
	}
	if n := s.rows("SELECT count(DISTINCT area_m2) FROM planting_version WHERE planting = 'p'"); n != 21 {
		t.Errorf("%d areas, want 21", n)
	}
	if n := s.rows("SELECT max(version) FROM planting_version WHERE planting = 'p'"); n != 21 {
		t.Errorf("the last version is %d, want 21", n)
	}
}
