package api

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// ChangeStore reads who changed what.
type ChangeStore interface {
	Changes(ctx context.Context, farm string, q ChangeQuery) ([]Change, error)
}

// Change is one thing that was recorded of a farm.
type Change struct {
	At      time.Time
	By      string // In words; "": not on record.
	What    string // The kind of thing.
	Which   string
	Number  int
	Was, Is map[string]json.RawMessage // Values before and after, by name; nil: there were none.
}

// ChangeQuery chooses changes.
type ChangeQuery struct {
	Before *Change // Nil: from the newest on.
	By     string
	What   string
	Limit  int
}

// Fields returns the values that differ, by name, as text; "" where there was none.
func (c Change) Fields() (out []ChangedField) {
	names := map[string]bool{}
	for name := range c.Is {
		names[name] = true
	}
	for name := range c.Was {
		names[name] = true
	}
	for name := range names {
		if f := (ChangedField{name, valueText(c.Was[name]), valueText(c.Is[name])}); f.Was != f.Is {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(a, b ChangedField) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// valueText is a value as it stands on record; "" for none.
func valueText(v json.RawMessage) string {
	var s string
	if len(v) == 0 || string(v) == "null" {
		return ""
	}
	if err := json.Unmarshal(v, &s); err == nil {
		return s
	}
	return string(v)
}

// ChangedField is a value that a change changed.
type ChangedField struct {
	Name string `json:"name" doc:"As in the backup's tables." example:"area_m2"`
	Was  string `json:"was" doc:"Empty: there was none."`
	Is   string `json:"is" doc:"Empty: there is none any more."`
}

// ChangeOut is a change as it is told.
type ChangeOut struct {
	At     time.Time      `json:"at"`
	By     *string        `json:"by" doc:"The key or command, or where days came from; null: not on record."`
	What   string         `json:"what" doc:"The kind of thing." example:"planting"`
	Which  string         `json:"which" doc:"Which one; empty where there is only one."`
	Fields []ChangedField `json:"fields" doc:"What changed; of what is new every value it has. In the units of the records: °C, kg, m²."`
}

// ChangeList is a page of changes.
type ChangeList struct {
	Changes []ChangeOut `json:"changes" doc:"The newest first."`
	Before  *string     `json:"before" doc:"Give it as ?before= for what comes before these; null: there is nothing."`
}

type changesIn struct {
	FarmPath
	By     string `query:"by" maxLength:"300" doc:"Only what this key or source recorded, as by tells it."`
	What   string `query:"what" maxLength:"40" doc:"Only changes of this kind."`
	Before string `query:"before" maxLength:"1000" doc:"From an earlier answer."`
	Limit  int    `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"How many at most."`
}

// place is where a page ends, as it is sent.
type place struct {
	At     time.Time
	What   string
	Which  string
	Number int
}

// changePlace reads where the page before ended; nil: there was none.
func changePlace(before string) (*Change, error) {
	if before == "" {
		return nil, nil
	}
	var p place
	text, err := base64.RawURLEncoding.DecodeString(before)
	if err == nil {
		err = json.Unmarshal(text, &p)
	}
	if err != nil || p.At.Year() < 1900 || p.At.Year() > 2400 || int(int32(p.Number)) != p.Number {
		return nil, invalid([]error{&huma.ErrorDetail{Location: "query.before", Message: "is not what an earlier answer gave"}})
	}
	return &Change{At: p.At, What: p.What, Which: p.Which, Number: p.Number}, nil
}

func (s *Server) changeRoutes() {
	add(s, Owner, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/changes", OperationID: "list-changes", Tags: []string{"Set-up"},
		Summary:     "Read who changed what",
		Description: "Nothing is ever overwritten, so this is the record itself: every version of everything, what was seen, picked and sprayed, deliveries of days, forecasts, decisions, keys of the farm and sign-ins by them.",
	}, func(ctx context.Context, in *changesIn) (*got[ChangeList], error) {
		all, before, err := ReadChanges(ctx, s.store, in.Farm, ChangeQuery{By: in.By, What: in.What, Limit: in.Limit}, in.Before)
		if err != nil {
			return nil, err
		}
		out := ChangeList{Changes: []ChangeOut{}, Before: some(before)}
		for _, c := range all {
			out.Changes = append(out.Changes, ChangeOut{c.At, some(c.By), c.What, c.Which, list(c.Fields())})
		}
		return &got[ChangeList]{out}, nil
	})
}

// ReadChanges reads a page of changes from where an earlier one ended, or with ""
// from the newest on, and returns where it ends itself; "": there is nothing more.
// The pages call it too. Errors: [forecast.ErrFarmNotFound], a [*Problem].
func ReadChanges(ctx context.Context, store ChangeStore, farm string, q ChangeQuery, before string) (all []Change, end string, err error) {
	if q.Before, err = changePlace(before); err != nil {
		return nil, "", err
	}
	if all, err = store.Changes(ctx, farm, q); err != nil || len(all) < q.Limit {
		return all, "", err
	}
	last := all[len(all)-1]
	text, err := json.Marshal(place{last.At, last.What, last.Which, last.Number})
	return all, base64.RawURLEncoding.EncodeToString(text), err
}
