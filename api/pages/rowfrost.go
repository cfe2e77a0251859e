package pages

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// frostEffect is what a frost would change, before it is recorded.
type frostEffect struct {
	Frost   string // "8 in 10 open flowers lost, Wed 16 May".
	Says    string // In one sentence.
	Rows    []frostRow
	Caution string
}

// frostRow is a stage, or the crop, without and with the frost.
type frostRow struct{ What, Now, NowRange, With, WithRange, Change string }

// readFrost reads the form of a frost; ask puts a fault and what was typed back
// on the page.
func readFrost(v *visit, id string, today weather.Date) (x forecast.Frost, fault string, ask func(string) rowAsk) {
	on := v.FormValue("date")
	tenths, err := strconv.Atoi(v.FormValue("tenths"))
	ask = func(fault string) rowAsk {
		return func(pl *rowPlanting) { pl.Frost.Fault, pl.Frost.Chosen, pl.Frost.Date = fault, tenths, on }
	}
	if err != nil || tenths < 1 || tenths > 10 {
		return x, "Choose how many of ten open flowers were lost.", ask
	}
	d, fault := dayOrFault(v, on, today)
	return forecast.Frost{Planting: id, Date: d, ShareLost: float64(tenths) / 10}, fault, ask
}

// lookAtFrost works out what a frost would change and keeps nothing. fault: ask
// tells a fault, and no effect.
func (p *Pages) lookAtFrost(v *visit, id string, today weather.Date) (ask rowAsk, fault bool, err error) {
	x, why, back := readFrost(v, id, today)
	if why != "" {
		return back(why), true, nil
	}
	ctx := v.Request().Context()
	var e forecast.FrostEffect
	err = p.API.Placed(ctx, func() error {
		var refused error
		if e, refused, err = p.API.PreviewFrost(ctx, v.farm.ID, x); err == nil {
			err = refused
		}
		return err
	})
	if err != nil {
		why, err := rowRefusal(v, err)
		return back(why), true, err
	}
	return func(pl *rowPlanting) {
		back("")(pl)
		pl.Frost.Effect = tellFrost(&v.farm, x, e)
	}, false, nil
}

// tellFrost says what a frost would change of a planting.
func tellFrost(f *forecast.Farm, x forecast.Frost, e forecast.FrostEffect) *frostEffect {
	out := &frostEffect{
		Frost:   fmt.Sprintf("%s in 10 open flowers lost, %s", figure(x.ShareLost*10), Day(f, x.Date)),
		Caution: api.FrostCaution,
	}
	share := fmt.Sprintf("%.0f %%", math.Round(100*math.Abs(e.CropLost)))
	sign, way := "−", "less"
	if e.CropLost < 0 { // It takes the place of a worse one.
		sign, way = "+", "more"
	}
	same := func(a, b forecast.DateRange) bool { return a.P10 == b.P10 && a.P50 == b.P50 && a.P90 == b.P90 }
	switch {
	case e.Before == nil && e.With == nil:
		out.Says = "It has no dates to move: most likely its bloom is not entered, or nothing is left of its crop already."
		return out
	case e.With == nil:
		out.Says = "Hardly a flower is left of it: it has no dates any more."
		return out
	case e.Before == nil:
		out.Says = "It has no dates without it."
		return out
	case math.Abs(e.CropLost) < 0.005 && same(e.Before.Stages.FirstRipe, e.With.Stages.FirstRipe) &&
		same(e.Before.Stages.Peak, e.With.Stages.Peak) && same(e.Before.Stages.LastPick, e.With.Stages.LastPick):
		out.Says = "Nothing changes: by the date of its bloom hardly a flower was open in that night, or the same is on record already."
		return out
	}
	was, is := e.Before.Stages, e.With.Stages
	before, after := [...]forecast.DateRange{was.FirstRipe, was.Peak, was.LastPick}, [...]forecast.DateRange{is.FirstRipe, is.Peak, is.LastPick}
	var says string
	for i, b := range before {
		a := after[i]
		r := frostRow{What: capital(rowStages[forecast.FirstRipe+forecast.Stage(i)].name), Now: Day(f, b.P50), With: Day(f, a.P50)}
		if b.P10 != b.P90 {
			r.NowRange = f.Span(b.P10, b.P90)
		}
		if a.P10 != a.P90 {
			r.WithRange = f.Span(a.P10, a.P90)
		}
		switch n := int(a.P50 - b.P50); {
		case b.Seen != nil:
			r.Change = "was seen"
		case n == 0:
			r.Change = "same day"
		default:
			r.Change = api.TellShift(float64(n))
		}
		if says == "" && b.Seen == nil {
			says = r.What + " " + r.Change + ": " + r.Now + " → " + r.With + ". "
			if r.Now == r.With {
				says = r.What + " stays on " + r.Now + ". "
			}
		}
		out.Rows = append(out.Rows, r)
	}
	out.Says = strings.TrimSpace(says + "Crop " + sign + share + ".")
	out.Rows = append(out.Rows, frostRow{
		What: "Crop", Now: weight(e.Before.CropKg, f.Units), With: weight(e.With.CropKg, f.Units), Change: share + " " + way,
	})
	return out
}

// recordFrost keeps a frost.
func (p *Pages) recordFrost(v *visit, id string, today weather.Date) (string, rowAsk, error) {
	x, fault, ask := readFrost(v, id, today)
	if fault != "" {
		return "", ask(fault), nil
	}
	refused, err := p.Store.AddFrosts(v.Request().Context(), v.farm.ID, []forecast.Frost{x}, v.who.By(), p.Now())
	if err != nil {
		return "", nil, err
	}
	if refused[0] != nil {
		fault, err := rowRefusal(v, refused[0])
		return "", ask(fault), err
	}
	return "frost " + x.Date.String(), nil, nil
}
