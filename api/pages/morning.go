package pages

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"unicode"
	"unicode/utf8"

	"ripetide/api"
	"ripetide/api/announce"
	"ripetide/forecast"
)

// morning answers at a glance: what is ripe, what moved, what needs doing.
func (p *Pages) morning(v *visit) error { return p.showMorning(v, http.StatusOK, "") }

// makeForecast makes this morning's forecast, keeps it and shows it. When it
// cannot be made the page says why and is as it was.
func (p *Pages) makeForecast(v *visit) error {
	ctx := v.Request().Context()
	err := p.API.Placed(ctx, func() error {
		_, _, err := p.Forecast.Make(ctx, v.farm.ID, forecast.Request{Freeze: true})
		return err
	})
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
	page, err := readMorning(v.Request().Context(), p.sprayBook(), &v.farm, v.may(api.Grower), v.may(api.Owner))
	if err != nil {
		return err
	}
	page.Fault = fault
	return p.render(v, status, v, "morning", "Morning", page)
}

// readMorning reads what the page says of now, and the morning mail with it.
// grower and owner: whoever reads it may record, and may set up.
func readMorning(ctx context.Context, b api.SprayBook, farm *forecast.Farm, grower, owner bool) (page morningPage, err error) {
	now := b.Now()
	today, err := farm.Today(now)
	if err != nil {
		return page, err
	}
	sprayed, err := b.Blocks(ctx, *farm)
	if err != nil {
		return page, err
	}
	z, err := b.Store.LatestForecast(ctx, farm.ID)
	if errors.Is(err, forecast.ErrForecastNotFound) {
		in, err := b.Forecast.Known(ctx, farm.ID)
		if err != nil {
			return page, err
		}
		page = beforeForecast(in, today, grower, owner)
		page.close(farm, sprayed)
		return page, nil
	}
	if err != nil {
		return page, err
	}
	f, err := b.Forecast.Decode(ctx, z)
	if err != nil {
		return page, err
	}
	varieties, err := b.Store.Varieties(ctx, farm.ID)
	if err != nil {
		return page, err
	}
	plantings, err := b.Store.Plantings(ctx, farm.ID)
	if err != nil {
		return page, err
	}
	decisions, err := b.Store.Decisions(ctx, farm.ID, &f.Season)
	if err != nil {
		return page, err
	}
	o := &api.Opening{State: announce.State{Farm: *farm, Forecast: f, Decisions: decisions, Today: today}, Frozen: z}
	return newMorning(farm, today, f, varieties, plantings, sprayed, grower, openingTasks(o)...), nil
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
