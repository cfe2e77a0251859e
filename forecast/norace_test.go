//go:build !race

package forecast_test

// watched says that the race detector watches.
const watched = false
