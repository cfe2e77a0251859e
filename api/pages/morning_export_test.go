package pages

// What tests look at.
type MorningPage = morningPage

var (
	NewMorning     = newMorning
	BeforeForecast = beforeForecast
)
