package pages

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
)

type homePage struct {
	Farms []forecast.Farm
	SetUp bool // The visitor may set up a farm.
}

// home leads to the farm, if there is one only.
func (p *Pages) home(v *visit) error {
	ctx := v.Request().Context()
	if id := v.who.Farm; id != "" {
		return v.Redirect(http.StatusSeeOther, "/f/"+id)
	}
	farms, err := p.Store.Farms(ctx)
	if err != nil {
		return err
	}
	slices.SortStableFunc(farms, func(a, b forecast.Farm) int {
		return cmp.Compare(strings.ToLower(a.Name), strings.ToLower(b.Name))
	})
	if len(farms) == 1 {
		return v.Redirect(http.StatusSeeOther, "/f/"+farms[0].ID)
	}
	setUp := v.may(api.Owner)
	if len(farms) == 0 && setUp {
		return v.Redirect(http.StatusSeeOther, "/setup")
	}
	return p.render(v, http.StatusOK, v, "home", "Farms", homePage{farms, setUp})
}
