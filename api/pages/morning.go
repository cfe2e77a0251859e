package pages

import (
	"errors"
	"net/http"

	"ripetide/forecast"
)

type morningPage struct {
	Forecast *forecast.Forecast // Nil before the first.
}

// morning answers at a glance: what is ripe, what moved, what needs doing.
func (p *Pages) morning(v *visit) error {
	z, err := p.Store.LatestForecast(v.Request().Context(), v.farm.ID)
	if errors.Is(err, forecast.ErrForecastNotFound) {
		return p.render(v, http.StatusOK, v, "morning", "Morning", morningPage{})
	}
	if err != nil {
		return err
	}
	f, err := forecast.Decode(z.Body)
	if err != nil {
		return err
	}
	return p.render(v, http.StatusOK, v, "morning", "Morning", morningPage{Forecast: f})
}
