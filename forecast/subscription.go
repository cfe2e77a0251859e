package forecast

import "time"

// Subscription is a secret address at which whoever knows it reads a farm's
// calendar and its feed of changes without a key. The secret itself is not kept.
type Subscription struct {
	ID         string
	Farm       string
	Name       string // Whom it was made for.
	MadeAt     time.Time
	MadeBy     string     // In words: the name of a key.
	LastUsedAt *time.Time // To about a minute; nil: never.
	RevokedAt  *time.Time // It opens nothing from then on; nil: it was not.
	RevokedBy  string
}
