package pages

// Whole and Dial are for tests.
var (
	Whole = whole
	Dial  = dial
)
