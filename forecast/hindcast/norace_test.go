//go:build !race

package hindcast_test

// watched says that the race detector watches.
const watched = false
