package scoring

import "errors"

// Errors of the package; match with [errors.Is].
var (
	// ErrInvalidDistribution is a distribution that cannot be.
	ErrInvalidDistribution = errors.New("scoring: invalid distribution")
	// ErrInvalidCase is a case without a forecast, or a count below zero.
	ErrInvalidCase = errors.New("scoring: invalid case")
	// ErrNoCases is a score of nothing.
	ErrNoCases = errors.New("scoring: no cases")
	// ErrMixed is in-sample cases among those that are not.
	ErrMixed = errors.New("scoring: cases in sample mixed with others")
	// ErrDuplicateKey is a key that two cases of one forecaster share.
	ErrDuplicateKey = errors.New("scoring: duplicate key")
	// ErrMismatch is a pair of cases that is not about the same event.
	ErrMismatch = errors.New("scoring: pair of different events")
)
