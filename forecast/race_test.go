//go:build race

package forecast_test

// watched says that the race detector watches. Under it simulations take minutes,
// and it finds nothing in them that single forecasts do not show it.
const watched = true
