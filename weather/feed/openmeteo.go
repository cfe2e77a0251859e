package feed

import (
	"context"
	"net/url"
	"strconv"
	"strings"

	"ripetide/weather"
)

// openMeteo asks for past days and the outlook at once. Days are those of the
// farm's zone, of which the service is told the name.
var openMeteo = service{
	home:     "https://api.open-meteo.com/v1/forecast",
	accept:   "application/json",
	byPoint:  true,
	takesKey: true,
}

const (
	// openMeteoPaid is where requests with a key go (Open-Meteo's documentation).
	openMeteoPaid = "https://customer-api.open-meteo.com/v1/forecast"
	// outlookDays: the last of the 16 that can be had are often half empty.
	outlookDays = 14
)

func (f *fetch) askOpenMeteo(ctx context.Context) (*answer, error) {
	zone := f.zone.String()
	if zone == "" || zone == "Local" {
		return nil, fail(Refused, nil, "the farm's time zone has no name, by which its days could be asked for")
	}
	base := f.spec.base()
	q := url.Values{
		"latitude":         {decimal(f.spec.Latitude)},
		"longitude":        {decimal(f.spec.Longitude)},
		"daily":            {"temperature_2m_max,temperature_2m_min"},
		"temperature_unit": {"celsius"},
		"timezone":         {zone},
	}
	past := strings.HasSuffix(strings.TrimRight(base.Path, "/"), "/archive")
	if past {
		q.Set("start_date", f.first.String())
		q.Set("end_date", (f.today - 1).String())
	} else {
		q.Set("past_days", strconv.Itoa(int(f.today-f.first)))
		q.Set("forecast_days", strconv.Itoa(outlookDays))
	}
	if f.spec.Key != "" {
		q.Set(keyParameter, string(f.spec.Key))
	}
	a, err := f.get(ctx, base, q)
	if err != nil {
		return nil, err
	}
	a.days, a.outlook = true, !past
	a.opt = weather.ReadOptions{Format: "open-meteo"}
	return a, nil
}
