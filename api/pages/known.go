package pages

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"slices"
	"sync"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/forecast/memo"
	"ripetide/weather"
)

// States names what is on record.
type States interface {
	// StationStates names what is on record of the stations of a farm, with their
	// days, verdicts, hours of reading and outlooks: while it is the same, so are
	// they.
	StationStates(ctx context.Context, farm string) (string, error)
	// SightingState names the sightings of a farm in the same way.
	SightingState(ctx context.Context, farm string) (string, error)
	// FarmState names all that forecasts of a farm are made from, and the frozen
	// ones, in the same way.
	FarmState(ctx context.Context, farm string) (string, error)
}

// stationKey names all that what is known of a station rests on. The states are
// asked for at each request, so that what another instance of the service has
// recorded counts at once.
type stationKey struct {
	farm, station, states string
	today                 weather.Date
	southern              bool
}

// known is what is known of a station on a morning. Many requests share it: it
// must not be changed.
type known struct {
	key     stationKey
	record  forecast.Record
	health  *forecast.Health
	standIn string           // Name of the stand-in, or "".
	fixed   []api.StationDay // As of the first who asked, who saw the most.
	// aligned are the days of the record up to yesterday on the civil days that
	// their values belong to.
	aligned []weather.Day
	sifted  func() forecast.Sifted // The whole record, with days after yesterday.
}

// kept is what pages keep of what is dear to work out.
type kept struct {
	stations  memo.Cache[stationKey, *known]
	charts    memo.Cache[chartKey, stationChart]
	pictures  memo.Cache[pictureKey, api.Drawing]
	reviews   memo.Cache[reviewKey, *api.Review]
	orders    memo.Cache[orderKey, ordered]
	proposals memo.Cache[proposalsKey, *proposed]
	splits    memo.Cache[reviewKey, []api.ReviewSplit]
	charted   memo.Cache[string, api.Drawing] // By all that is in the chart.
	sightings memo.Cache[sightingsKey, []forecast.Sighting]
}

// sightingsKey names the sightings of a farm.
type sightingsKey struct{ farm, state string }

// picturesKept is how many charts of each kind are kept, in sizes and themes.
const picturesKept = 64

// known returns what is known of a station.
func (p *Pages) known(v *visit, station string) (*known, error) {
	ctx := v.Request().Context()
	today, err := p.today(v)
	if err != nil {
		return nil, err
	}
	states, err := p.States.StationStates(ctx, v.farm.ID)
	if err != nil {
		return nil, err
	}
	key := stationKey{v.farm.ID, station, states, today, v.farm.Southern()}
	return p.kept.stations.Get(ctx, key, func(ctx context.Context) (*known, bool, error) {
		k, err := p.readStation(ctx, &v.farm, key)
		if err != nil {
			return nil, false, err
		}
		// What was recorded while it was read belongs to another key.
		after, err := p.States.StationStates(ctx, v.farm.ID)
		return k, after == states, err
	})
}

// readStation works out what is known of a station.
func (p *Pages) readStation(ctx context.Context, farm *forecast.Farm, key stationKey) (*known, error) {
	k := &known{key: key}
	var err error
	if k.record, err = p.Store.Record(ctx, farm.ID, key.station, nil); err != nil {
		return nil, err
	}
	switch o, err := p.Store.LatestOutlook(ctx, farm.ID, key.station, nil); {
	case err == nil:
		k.record.Outlooks = []weather.Outlook{o.Outlook}
	case !errors.Is(err, weather.ErrOutlookNotFound):
		return nil, err
	}
	in := forecast.Inputs{Farm: *farm, Records: []forecast.Record{k.record}}
	if id := k.record.Station.StandIn; id != "" {
		r, err := p.Store.Record(ctx, farm.ID, id, nil)
		if err != nil {
			return nil, err
		}
		in.Records = append(in.Records, r)
		k.standIn = r.Station.Name
	}
	days, err := p.Store.Days(ctx, farm.ID, key.station, nil, nil, nil)
	if err != nil {
		return nil, err
	}
	remarks := make([]weather.Remark, len(days))
	for i, d := range days {
		remarks[i] = d.Remark
	}
	if k.health, err = forecast.StationHealth(in, key.station, remarks, key.today); err != nil {
		return nil, err
	}
	if k.fixed, err = p.Store.Corrections(ctx, farm.ID, key.station, p.Now().AddDate(0, 0, -correctionDays), corrections); err != nil {
		return nil, err
	}
	k.aligned = k.record.Days.Until(key.today - 1).Days()
	if len(k.record.Hours) > 0 {
		k.aligned, _ = weather.Aligned(k.aligned, k.record.Hours)
	}
	k.sifted = sync.OnceValue(func() forecast.Sifted {
		_, last, _ := k.record.Days.Span()
		return k.record.Sift(last)
	})
	return k, nil
}

// lookAt looks at a station.
func (p *Pages) lookAt(v *visit, station string) (*look, error) {
	k, err := p.known(v, station)
	if err != nil {
		return nil, err
	}
	x := &look{known: k, farm: &v.farm, now: p.Now(), zone: v.zone, today: k.key.today}
	since := x.now.AddDate(0, 0, -correctionDays)
	i := slices.IndexFunc(k.fixed, func(d api.StationDay) bool { return d.ReceivedAt.Before(since) }) // The latest come first.
	if i < 0 {
		i = len(k.fixed)
	}
	x.fixed = k.fixed[:i:i]
	return x, nil
}

// chartKey names the chart of a record: of the farm it shows the units.
type chartKey struct {
	stationKey
	units forecast.Units
}

// stationChart is the chart of a record and what it shows in words; without one
// there are no days.
type stationChart struct {
	charts.Record
	there bool
	words string
}

// drawn returns the chart of the record.
func (p *Pages) drawn(ctx context.Context, x *look) (stationChart, error) {
	return p.kept.charts.Get(ctx, chartKey{x.key, x.farm.Units}, func(context.Context) (c stationChart, lasts bool, err error) {
		if c.Record, c.there = x.chart(); c.there {
			c.words = c.Description()
		}
		return c, true, nil
	})
}

// pictureKey names a chart as it is drawn.
type pictureKey struct {
	chartKey
	opt charts.Options
}

// picture draws the chart of the record; errNoPage without days.
func (p *Pages) picture(ctx context.Context, x *look, opt charts.Options) (api.Drawing, error) {
	return p.kept.pictures.Get(ctx, pictureKey{chartKey{x.key, x.farm.Units}, opt}, func(ctx context.Context) (d api.Drawing, lasts bool, err error) {
		c, err := p.drawn(ctx, x)
		if err != nil {
			return d, false, err
		}
		if !c.there {
			return d, false, errNoPage
		}
		var out bytes.Buffer
		err = c.WriteSVG(&out, opt)
		return api.NewDrawing(out.Bytes()), true, err
	})
}

// sightings returns all sightings of a farm that count, of all seasons, the
// latest first. They are shared: they must not be changed.
func (p *Pages) sightings(v *visit) ([]forecast.Sighting, error) {
	ctx := v.Request().Context()
	state, err := p.States.SightingState(ctx, v.farm.ID)
	if err != nil {
		return nil, err
	}
	return p.kept.sightings.Get(ctx, sightingsKey{v.farm.ID, state}, func(ctx context.Context) ([]forecast.Sighting, bool, error) {
		all, err := p.Store.Sightings(ctx, v.farm.ID, nil, "")
		if err != nil {
			return nil, false, err
		}
		slices.SortStableFunc(all, func(a, b forecast.Sighting) int { return int(b.Date - a.Date) })
		after, err := p.States.SightingState(ctx, v.farm.ID)
		return all, after == state, err
	})
}

// svg answers with a picture.
func svg(v *visit, d api.Drawing) error {
	v.Response().Header().Set("ETag", d.Tag)
	return v.Blob(http.StatusOK, "image/svg+xml", d.Body)
}
