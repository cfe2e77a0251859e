package feed

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"time"

	"ripetide/weather"
)

// nws asks for the grid cell of the point and then for its forecast. Which cell
// it is may change, so that it is asked again once a week and when the cell is
// gone.
var nws = service{
	home:         "https://api.weather.gov",
	accept:       "application/geo+json",
	byPoint:      true,
	needsContact: true,
}

const gridAge = 7 * 24 * time.Hour

func (f *fetch) askNWS(ctx context.Context) (*answer, error) {
	grid, _ := gridAddress(f.spec.base(), f.st.Grid)
	resolved := false
	if grid == nil || f.now.Sub(f.st.GridAt) >= gridAge {
		g, err := f.resolveGrid(ctx)
		switch {
		case err == nil:
			grid, resolved = g, true
		case grid == nil:
			return nil, err
		default: // The one we have is likely good; try again tomorrow.
			f.st.GridAt = f.now.Add(24*time.Hour - gridAge)
		}
	}
	a, err := f.send(ctx, request{url: grid, conditional: true})
	if x, ok := errors.AsType[*failure](err); ok && x.status == http.StatusNotFound && !resolved {
		g, resolveErr := f.resolveGrid(ctx)
		switch {
		case resolveErr != nil:
			return nil, resolveErr
		case g.String() == grid.String():
			return nil, err
		}
		a, err = f.send(ctx, request{url: g, conditional: true})
	}
	if err != nil {
		return nil, err
	}
	a.outlook = true
	a.opt = weather.ReadOptions{Format: "nws-grid"}
	return a, nil
}

// resolveGrid asks for the address of the grid cell and remembers it.
func (f *fetch) resolveGrid(ctx context.Context) (*url.URL, error) {
	base := f.spec.base()
	point := decimal(f.spec.Latitude) + "," + decimal(f.spec.Longitude)
	a, err := f.send(ctx, request{url: withPath(base, "points", point)})
	if err != nil {
		return nil, err
	}
	var reply struct {
		Properties struct {
			ForecastGridData string `json:"forecastGridData"`
		} `json:"properties"`
	}
	if err := json.Unmarshal([]byte(a.body), &reply); err != nil {
		return nil, unreadable(err, a.body)
	}
	address := reply.Properties.ForecastGridData
	if address == "" {
		return nil, fail(Failed, nil, "the service names no forecast for the point %s", point)
	}
	grid, reason := gridAddress(base, address)
	if reason != "" {
		return nil, fail(Refused, nil, "the service names a forecast whose address %s", reason)
	}
	f.st.Grid, f.st.GridAt = address, f.now
	return grid, nil
}

// gridAddress returns the address of a grid cell, or why it must not be asked.
// Where answers may send us is the service's own server and no other.
func gridAddress(base *url.URL, address string) (*url.URL, string) {
	u, reason := parseAddress(address)
	switch {
	case reason != "":
		return nil, reason
	case u.Scheme != base.Scheme || hostPort(u) != hostPort(base):
		return nil, "is on another server"
	}
	return u, ""
}
