package pages

import (
	"ripetide/api"
	"ripetide/api/mail"
	"ripetide/forecast"
)

// MorningLetter writes the letter of a morning.
func MorningLetter(farm *forecast.Farm, p MorningPage, o *api.Opening, page, leave string) (mail.Letter, error) {
	return morningLetter{newMorningLetter(farm, p, o, page)}.Letter(leave)
}
