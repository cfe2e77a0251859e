package pages

import (
	"net/http"
	"net/url"
	"strings"

	"ripetide/api"
	"ripetide/weather"
)

// changesShown is how many changes a page shows.
const changesShown = 50

// changesPage tells who changed what.
type changesPage struct {
	Days     []changesOfDay
	Only     string // What is left out, in words; "": nothing.
	Earlier  string // Address of what came before; "": there is nothing.
	Filtered bool   // It shows less than there is: of one kind or person, or not from the newest on.
}

type changesOfDay struct {
	Date    string
	Changes []changeRow
}

type changeRow struct {
	Time, By, What, Which string
	ByLink, WhatLink      string
	Fields                []api.ChangedField
	New                   bool // There was nothing before.
}

// changes shows who changed what, the newest first.
func (p *Pages) changes(v *visit) error {
	q := api.ChangeQuery{By: v.QueryParam("by"), What: v.QueryParam("what"), Limit: changesShown}
	all, end, err := api.ReadChanges(v.Request().Context(), p.Store, v.farm.ID, q, v.QueryParam("before"))
	if err != nil {
		return err
	}
	address := func(by, what, before string) string {
		x := url.Values{}
		for name, value := range map[string]string{"by": by, "what": what, "before": before} {
			if value != "" {
				x.Set(name, value)
			}
		}
		return "/f/" + v.farm.ID + "/people/changes?" + x.Encode()
	}
	page := changesPage{Filtered: q.By != "" || q.What != "" || v.QueryParam("before") != ""}
	for _, c := range all {
		at := c.At.In(v.zone)
		date := DayYear(&v.farm, weather.DateIn(at))
		if n := len(page.Days); n == 0 || page.Days[n-1].Date != date {
			page.Days = append(page.Days, changesOfDay{Date: date})
		}
		row := changeRow{Time: strings.ReplaceAll(clock(&v.farm, at), " ", "\u00a0"), By: "not on record", What: c.What, Which: c.Which, New: c.Was == nil}
		if c.By != "" {
			row.By = whoWords(c.By)
			row.ByLink = address(c.By, q.What, "")
		}
		row.WhatLink = address(q.By, c.What, "")
		for _, f := range c.Fields() {
			row.Fields = append(row.Fields, api.ChangedField{Name: strings.ReplaceAll(f.Name, "_", " "), Was: f.Was, Is: f.Is})
		}
		day := &page.Days[len(page.Days)-1]
		day.Changes = append(day.Changes, row)
	}
	if end != "" {
		page.Earlier = address(q.By, q.What, end)
	}
	switch {
	case q.By != "" && q.What != "":
		page.Only = "Only of the kind “" + q.What + "” by " + whoWords(q.By) + "."
	case q.By != "":
		page.Only = "Only by " + whoWords(q.By) + "."
	case q.What != "":
		page.Only = "Only of the kind “" + q.What + "”."
	}
	return p.render(v, http.StatusOK, v, "people-changes", "Who changed what", page)
}

// whoWords puts the name of "key 1a2b3c4d (Ann)" first.
func whoWords(by string) string {
	id, name, ok := strings.Cut(by, " (")
	if !ok || !strings.HasPrefix(id, "key ") || !strings.HasSuffix(name, ")") {
		return by
	}
	return strings.TrimSuffix(name, ")") + " (" + id + ")"
}
