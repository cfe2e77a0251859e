//go:build !race

package main

// watched says that the race detector watches.
const watched = false
