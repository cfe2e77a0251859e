package api

import (
	"fmt"
	"slices"
	"strings"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// Chart returns the chart of a design; without days there is nothing in it.
func (t DesignTelling) Chart() charts.Design {
	c := charts.Design{
		Heading: fmt.Sprintf("The planting list of %s in %d, over all past weather", t.Farm.Name, t.Season), Changed: t.Changed(),
	}
	if t.Farm.Units == forecast.US {
		c.Units = charts.US
	}
	if len(t.Years) > 0 {
		c.Basis = fmt.Sprintf("The weather of %d past years, each %d times with another draw of what plantings require.", len(t.Years), t.Members/len(t.Years))
	}
	if c.Changed {
		c.Finding = strings.Replace(t.compare(t.Difference.GapDays, "gap"), "That is", "The changes make", 1)
	}
	gaps := map[weather.Date][2]float64{}
	kg := map[weather.Date][2]forecast.KgRange{}
	for k, o := range []forecast.DesignOutcome{t.Before, t.After} {
		for _, d := range o.Days {
			x := gaps[d.Date]
			x[k] = d.Gap
			gaps[d.Date] = x
		}
		for _, d := range o.Saturdays {
			x := kg[d.Date]
			x[k] = d.Kg
			kg[d.Date] = x
		}
	}
	for d, g := range gaps {
		c.Days = append(c.Days, charts.DesignDay{Date: d.Time(), GapBefore: g[0], GapAfter: g[1]})
	}
	slices.SortFunc(c.Days, func(a, b charts.DesignDay) int { return a.Date.Compare(b.Date) })
	for d, x := range kg {
		c.Saturdays = append(c.Saturdays, charts.DesignSaturday{Date: d.Time(), Before: charts.DesignRange(x[0]), After: charts.DesignRange(x[1])})
	}
	slices.SortFunc(c.Saturdays, func(a, b charts.DesignSaturday) int { return a.Date.Compare(b.Date) })
	return c
}
