package db

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// Change is one thing that was recorded of a farm.
type Change struct {
	At     time.Time
	By     string // Who recorded it, in words; "": not on record.
	What   string // The kind of thing, such as planting.
	Which  string // Which one.
	Number int    // Tells changes of one thing and instant apart: its version, say.
	// Was and Is are the values before and after, by the names of their columns;
	// nil: there were none. Nothing in them is secret.
	Was, Is map[string]json.RawMessage
}

// ChangeFilter chooses changes.
type ChangeFilter struct {
	Before *Change // Only what comes before this one in the order of [Store.Changes]; nil: from the newest on.
	By     string  // Only what these words name; "": anybody.
	What   string  // Only of this kind; "": any.
	Limit  int     // How many at most.
}

// changed says where changes of a kind are on record.
type changed struct {
	what  string
	table string
	at    string   // Column of the instant.
	by    string   // Column, or expression, of who.
	which string   // Expression of the identifier.
	key   []string // Columns that, with version, are the key; nil: it has no versions, and nothing was before.
	where string   // More of a condition.
	farm  string   // Condition that binds it to the farm $1; default t.farm = $1.
	is    string   // Expression of the values; default all that are told.
}

// changes are all kinds. A table that is not here is named in a test with why.
var changes = []changed{
	{what: "farm", table: "farm_version", at: "recorded_at", by: "recorded_by", which: "t.farm", key: []string{"farm"}},
	{what: "station", table: "station_version", at: "recorded_at", by: "recorded_by", which: "t.station", key: []string{"farm", "station"}},
	{what: "reading hours", table: "reading_hours_version", at: "recorded_at", by: "recorded_by", which: "t.station", key: []string{"farm", "station"}},
	{what: "verdict", table: "day_verdict_version", at: "recorded_at", by: "recorded_by", which: "t.station || ' ' || t.day", key: []string{"farm", "station", "day"}},
	{what: "variety", table: "variety_version", at: "recorded_at", by: "recorded_by", which: "t.variety", key: []string{"farm", "variety"}},
	{what: "planting", table: "planting_version", at: "recorded_at", by: "recorded_by", which: "t.planting", key: []string{"farm", "planting"}},
	{what: "method", table: "method_version", at: "recorded_at", by: "recorded_by", which: "''", key: []string{"farm"}},
	{what: "picking", table: "picking_version", at: "recorded_at", by: "recorded_by", which: "t.planting || ' ' || t.day", key: []string{"farm", "planting", "day"}},
	{what: "frost", table: "frost_version", at: "recorded_at", by: "recorded_by", which: "t.planting || ' ' || t.day", key: []string{"farm", "planting", "day"}},
	{what: "spray", table: "spray_version", at: "recorded_at", by: "recorded_by", which: "t.spray::text", key: []string{"farm", "spray"}},
	{what: "announcing", table: "announcing_version", at: "recorded_at", by: "recorded_by", which: "''", key: []string{"farm"}},
	{what: "decision", table: "decision_version", at: "decided_at", by: "decided_by", which: "t.season || ' ' || t.kind", key: []string{"farm", "season", "kind"}},
	{what: "proposal", table: "proposal_version", at: "decided_at", by: "decided_by", which: "t.proposal", key: []string{"farm", "proposal"}},
	{what: "feed", table: "feed_version", at: "recorded_at", by: "recorded_by", which: "t.station || ' ' || t.feed", key: []string{"farm", "station", "feed"}},
	{what: "outlook", table: "outlook_version", at: "received_at", by: "recorded_by", which: "t.station || ' ' || t.issued_at", key: []string{"farm", "station", "issued_at"}},
	{what: "sighting", table: "sighting", at: "recorded_at", by: "recorded_by", which: "t.id::text"},
	{what: "sighting taken back", table: "sighting_end", at: "ended_at", by: "ended_by", which: "t.id::text"},
	{what: "forecast", table: "frozen_forecast", at: "made_at", by: "''", which: "t.id",
		// Not made from the whole row, whose body would be unpacked to be left out.
		is: "jsonb_build_object('season', t.season, 'as_of', t.as_of, 'known_at', t.known_at, 'hindcast', t.hindcast, 'program', t.program)"},
	{what: "recipient", table: "recipient", at: "asked_at", by: "asked_by", which: "t.id::text"},
	{what: "recipient ended", table: "recipient", at: "ended_at", by: "COALESCE(t.ended_by, '')", which: "t.id::text", where: "t.ended_at IS NOT NULL"},
	{what: "subscription", table: "subscription", at: "made_at", by: "made_by", which: "t.id"},
	{what: "subscription revoked", table: "subscription", at: "revoked_at", by: "COALESCE(t.revoked_by, '')", which: "t.id", where: "t.revoked_at IS NOT NULL"},
	{what: "key", table: "api_key", at: "created_at", by: "''", which: "t.id"},
	{what: "key revoked", table: "api_key", at: "revoked_at", by: "''", which: "t.id", where: "t.revoked_at IS NOT NULL"},
	{what: "link to sign in", table: "sign_in_link", at: "created_at", by: "created_by", which: "t.api_key", farm: "t.api_key IN (SELECT k.id FROM api_key AS k WHERE k.farm = $1)"},
	{what: "sign-in", table: "session", at: "created_at", by: "(SELECT 'key ' || k.id || ' (' || k.name || ')' FROM api_key AS k WHERE k.id = t.api_key)", which: "t.api_key", farm: "t.api_key IN (SELECT k.id FROM api_key AS k WHERE k.farm = $1)"},
}

// notTold are columns that are told otherwise, hang on no change, or are secret.
const notTold = `'{farm,version,recorded_at,recorded_by,decided_at,decided_by,received_at,made_at,made_by,asked_at,asked_by,ended_at,ended_by,revoked_at,revoked_by,created_at,created_by,last_used_at,used_at,hash,secret,body,api_key,id}'::text[]`

// changesSQL is one query over all kinds, each of which is limited, so that little
// is sorted of what nobody asked for. Days that came in one delivery are one change.
var changesSQL = func() string {
	var parts []string
	for _, c := range changes {
		was, number := "NULL::jsonb", "1"
		if c.key != nil {
			var same []string
			for _, k := range c.key {
				same = append(same, "p."+k+" = t."+k)
			}
			number = "t.version"
			was = "(SELECT to_jsonb(p) - " + notTold + " FROM " + c.table + " AS p WHERE " + strings.Join(same, " AND ") + " AND p.version = t.version - 1)"
		}
		by := c.by
		if !strings.ContainsAny(by, "('") {
			by = "t." + by
		}
		is := c.is
		if is == "" {
			is = "to_jsonb(t) - " + notTold
		}
		where := c.farm
		if where == "" {
			where = "t.farm = $1"
		}
		if c.where != "" {
			where += " AND " + c.where
		}
		parts = append(parts, "SELECT t."+c.at+" AS at, "+by+" AS by, '"+c.what+"' AS what, ("+c.which+")::text AS which, "+number+" AS number, "+
			was+" AS was, "+is+" AS is_now FROM "+c.table+" AS t WHERE "+where)
	}
	parts = append(parts, `
		SELECT d.received_at, d.source, 'days', d.station, 1, NULL::jsonb, jsonb_build_object('days', count(*), 'corrected', count(*) FILTER (WHERE d.revision > 1), 'first', min(d.day), 'last', max(d.day))
		FROM station_day AS d WHERE d.farm = $1 GROUP BY d.received_at, d.source, d.station`)
	for i, p := range parts {
		parts[i] = `(SELECT * FROM (` + p + `) AS c (at, by, what, which, number, was, is_now)
			WHERE ($2::timestamptz IS NULL OR (c.at, c.what COLLATE "C", c.which COLLATE "C", c.number) < ($2, $3 COLLATE "C", $4 COLLATE "C", $5::int))
			AND ($6 = '' OR c.by = $6) AND ($7 = '' OR c.what = $7)
			ORDER BY c.at DESC, c.what COLLATE "C" DESC, c.which COLLATE "C" DESC, c.number DESC LIMIT $8)`
	}
	return "SELECT * FROM (" + strings.Join(parts, "\nUNION ALL\n") + `) AS c
		ORDER BY c.at DESC, c.what COLLATE "C" DESC, c.which COLLATE "C" DESC, c.number DESC LIMIT $8`
}()

// ChangeKinds returns the kinds that [Change.What] may be, in order.
func ChangeKinds() []string {
	out := []string{"days"}
	for _, c := range changes {
		out = append(out, c.what)
	}
	slices.Sort(out)
	return out
}

// Changes returns what was recorded of a farm, the newest first; of one instant in
// reverse order of what, which and number. Errors: [forecast.ErrFarmNotFound].
func (s *Store) Changes(ctx context.Context, farm string, f ChangeFilter) ([]Change, error) {
	var at *time.Time
	before := Change{}
	if f.Before != nil {
		before = *f.Before
		at = new(instant(before.At))
	}
	rows, _ := s.pool.Query(ctx, changesSQL, farm, at, before.What, before.Which, before.Number, f.By, f.What, f.Limit)
	out, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (c Change, err error) {
		err = row.Scan(&c.At, &c.By, &c.What, &c.Which, &c.Number, &c.Was, &c.Is)
		return c, err
	})
	if err == nil && len(out) == 0 { // Of the kind, by them, before then; or of no farm.
		_, err = s.Farm(ctx, farm)
	}
	if err != nil {
		return nil, fmt.Errorf("read changes: %w", domain(err))
	}
	return out, nil
}
