//go:build race

package hindcast_test

// The race detector slows the proof down tenfold and finds nothing more in
// eight farms than in one.
const (
	proofFarms = 1
	proofEvery = 15
)
