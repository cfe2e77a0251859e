//go:build race

package main

// watched says that the race detector watches. Under it tests in a browser take half
// an hour, and it finds nothing in them that other tests of the same pages and
// forecasts do not show it; and a load on the service does not reach the rate that
// makes killing it hard. Both are for the run without it.
const watched = true
