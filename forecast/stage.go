package forecast

import "fmt"

// Stage is a stage of a planting's year. Stages are ordered as they come.
type Stage int

// The stages that can be seen in the field.
const (
	Bloom10   Stage = iota // About one plant in ten has an open flower; starts the clock.
	BloomFull              // Most flowers open.
	FirstRipe              // 5 % of the crop ripe.
	Peak                   // The densest day.
	LastPick               // 95 % of the crop ripe.
)

// ripeStages is the number of stages from FirstRipe on: those that are
// forecast by degree-days since bloom.
const ripeStages = 3

var stageNames = [...]string{"bloom_10", "bloom_full", "first_ripe", "peak", "last_pick"}

// ParseStage reads a stage's name, such as "first_ripe".
func ParseStage(s string) (Stage, error) {
	for i, n := range stageNames {
		if n == s {
			return Stage(i), nil
		}
	}
	return 0, &FieldError{"stage", fmt.Sprintf("must be one of %v", stageNames[:])}
}

// String returns the stage's name in interfaces and files.
func (s Stage) String() string {
	if s < 0 || int(s) >= len(stageNames) {
		return fmt.Sprintf("Stage(%d)", int(s))
	}
	return stageNames[s]
}
