package pages

import (
	"errors"
	"net/http"
	"strings"
	"unicode"
	"unicode/utf8"

	"ripetide/api"
	"ripetide/forecast"
)

// morning answers at a glance: what is ripe, what moved, what needs doing.
func (p *Pages) morning(v *visit) error { return p.showMorning(v, http.StatusOK, "") }

// makeForecast makes this morning's forecast, keeps it and shows it. When it
// cannot be made the page says why and is as it was.
func (p *Pages) makeForecast(v *visit) error {
	_, _, err := p.Forecast.Make(v.Request().Context(), v.farm.ID, forecast.Request{Freeze: true})
	if err == nil {
		return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID)
	}
	status, title, text := p.explain(v.Request().Context(), err)
	if status >= http.StatusInternalServerError && !errors.Is(err, forecast.ErrBusy) {
		return err
	}
	if text == title+"." {
		text = ""
	}
	return p.showMorning(v, status, strings.TrimSpace("No forecast was made. "+title+". "+sentence(text)))
}

// showMorning writes the page; fault is what went wrong with a form of it.
func (p *Pages) showMorning(v *visit, status int, fault string) error {
	ctx := v.Request().Context()
	today, err := p.today(v)
	if err != nil {
		return err
	}
	sprayed, err := p.blocksNow(v)
	if err != nil {
		return err
	}
	var page morningPage
	z, err := p.Store.LatestForecast(ctx, v.farm.ID)
	switch {
	case errors.Is(err, forecast.ErrForecastNotFound):
		in, err := p.Forecast.Store.Inputs(ctx, v.farm.ID, p.Now())
		if err != nil {
			return err
		}
		page = beforeForecast(in, today, v.may(api.Grower), v.may(api.Owner))
		page.close(&v.farm, sprayed)
	case err != nil:
		return err
	default:
		f, err := p.Forecast.Decode(ctx, z)
		if err != nil {
			return err
		}
		varieties, err := p.Store.Varieties(ctx, v.farm.ID)
		if err != nil {
			return err
		}
		plantings, err := p.Store.Plantings(ctx, v.farm.ID)
		if err != nil {
			return err
		}
		page = newMorning(&v.farm, today, f, varieties, plantings, sprayed, v.may(api.Grower))
	}
	page.Fault = fault
	return p.render(v, status, v, "morning", "Morning", page)
}

// sentence begins a clause with a capital and ends it with a full stop.
func sentence(s string) string {
	if s = strings.TrimSpace(s); s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}
