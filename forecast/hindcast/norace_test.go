//go:build !race

package hindcast_test

// What the proof is made of: farms, and days between the mornings.
const (
	proofFarms = 8
	proofEvery = 5
)
