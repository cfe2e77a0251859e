//go:build race

package hindcast_test

// watched says that the race detector watches. Under it the proof takes many minutes,
// and it finds nothing in it that other replays do not show it.
const watched = true
