package pages

import (
	"net/http"

	"ripetide/api"
	"ripetide/weather"
)

// addAddresses adds the page of the addresses that calendars and readers of
// feeds subscribe to.
func (p *Pages) addAddresses() {
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		p.page(method, "/f/:farm/opening/addresses", api.Owner, p.addresses)
	}
	p.post("/f/:farm/opening/addresses/:id/revoke", api.Owner, p.revokeAddress)
}

type addressesPage struct {
	Made *madeAddress // Just now; its secret is shown this once.
	Use  []secretAddress
	Past []secretAddress // That open nothing any more.
	Form formPage
	Open string // Address of the public page, if there is one.
}

type madeAddress struct{ Name, Calendar, Changes string }

type secretAddress struct{ ID, Name, Made, Used, State string }

func (p *Pages) addresses(v *visit) error {
	ctx := v.Request().Context()
	f := newForm(v, "Addresses to subscribe to", "Make an address", "/f/"+v.farm.ID+"/opening")
	f.add(field{Name: "name", Label: "Whom it is for", Hint: "Ilse’s telephone", Help: "So that you know later which one to revoke."})
	var page addressesPage
	if f.posted {
		made, err := api.MakeSubscription(ctx, p.Store, v.farm.ID, f.value("name"), v.who.By(), p.Now())
		if err := f.refused(err, nil); err != nil {
			return err
		}
		if err == nil {
			root := v.Scheme() + "://" + v.Request().Host
			page.Made = &madeAddress{made.Name, root + p.API.Mounted(made.Calendar), root + p.API.Mounted(made.Changes)}
			f.fields["name"].Value = ""
			v.Response().Header().Set("Cache-Control", "no-store")
		}
	}
	status := http.StatusOK
	if f.faulty() {
		status = http.StatusUnprocessableEntity
	}
	all, err := p.Store.Subscriptions(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	for _, x := range all {
		row := secretAddress{ID: x.ID, Name: x.Name, Made: DayYear(&v.farm, weather.DateIn(x.MadeAt.In(v.zone))), Used: "never"}
		if x.LastUsedAt != nil {
			row.Used = ago(p.Now(), *x.LastUsedAt)
		}
		if x.RevokedAt != nil {
			row.State = "revoked " + DayYear(&v.farm, weather.DateIn(x.RevokedAt.In(v.zone)))
			page.Past = append(page.Past, row)
			continue
		}
		page.Use = append(page.Use, row)
	}
	a, err := p.Store.Announcing(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	if a.Public.On {
		page.Open = "/at/" + v.farm.ID
	}
	page.Form = f.page
	return p.render(v, status, v, "opening-addresses", f.page.Heading, page)
}

func (p *Pages) revokeAddress(v *visit) error {
	if err := p.Store.RevokeSubscription(v.Request().Context(), v.farm.ID, v.Param("id"), v.who.By(), p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/opening/addresses")
}
