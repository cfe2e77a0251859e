package mail

// What tests look at.
var (
	Pause   = pause
	OneLine = oneLine
)
