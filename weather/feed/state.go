package feed

import (
	"time"

	"ripetide/weather"
)

// State is what must be remembered of a feed between two fetches. The zero
// value is that of a feed that was never asked.
type State struct {
	// Of tells for which settings the rest holds; when they change, a state
	// begins anew.
	Of string `json:"of,omitempty"`

	NextAt time.Time `json:"next_at,omitzero"` // When to ask again.
	// NotBefore is the moment before which the service does not want to be
	// asked, not even at the push of a button.
	NotBefore time.Time `json:"not_before,omitzero"`
	LastAt    time.Time `json:"last_at,omitzero"`   // Last asked.
	LastOK    time.Time `json:"last_ok,omitzero"`   // Last asked with a good answer, new or not.
	Failures  int       `json:"failures,omitempty"` // In a row.

	LastIssued    time.Time    `json:"last_issued,omitzero"` // Of the newest outlook delivered.
	LastDay       weather.Date `json:"last_day,omitempty"`   // The newest observed day delivered; 0 none.
	DaysDigest    string       `json:"days_digest,omitempty"`
	OutlookDigest string       `json:"outlook_digest,omitempty"`

	// The validators of the last answer that was taken, and what it answered.
	Asked        string `json:"asked,omitempty"`
	ETag         string `json:"etag,omitempty"`
	LastModified string `json:"last_modified,omitempty"`

	// Grid is the address of the NWS grid cell of the point, GridAt when it was
	// resolved.
	Grid   string    `json:"grid,omitempty"`
	GridAt time.Time `json:"grid_at,omitzero"`
}

// forget drops the validators, so that the next answer comes whole.
func (st *State) forget() { st.Asked, st.ETag, st.LastModified = "", "", "" }

// Outcome says in one word what came of a fetch.
type Outcome string

// The outcomes.
const (
	New       Outcome = "new"       // Days or an outlook that were not delivered before.
	Unchanged Outcome = "unchanged" // The service answered and has nothing new.
	// Stale: the outlook is too old, or older than one delivered before.
	Stale Outcome = "stale"
	// Failed: it may work the next time.
	Failed Outcome = "failed"
	// Refused: the service refuses the request, or we refuse the address. A
	// person has to mend the settings.
	Refused Outcome = "refused"
)

// Result is what came of a fetch. Days and Outlook are to be stored if they are
// not nil, whatever the outcome: one may be good and the other not.
type Result struct {
	Outcome Outcome
	Detail  string // One sentence for a person.
	// Days are observed days, none later than yesterday at the farm and none
	// earlier than was asked for. What was left out for that is refused with
	// row 0.
	Days     *weather.Reading
	Outlook  *weather.Outlook
	Requests int           // That were sent.
	Status   int           // Of the last answer; 0 if there was none.
	Took     time.Duration // All of it.
	Err      error         // The cause of a failure, for the log.
}
