package simfarm

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// Stand is one day of a farm's season as it was.
type Stand struct {
	Date     weather.Date
	InWindow int     // Plantings in their picking window.
	RipeKg   float64 // Weight that ripened on the day.
	// StandingKg is the sound ripe fruit on the plants when the day's picking
	// begins, the day's own ripening included.
	StandingKg float64
}

// How long a ripe berry stays sound on the plant, days; common practice is two
// to four, less in heat.
const (
	keepsDays    = 3
	keepsDaysHot = 2
	hotC         = 30 // Maximum from which a day ages the fruit more.
)

// Supply adds up truths of one season day by day, from the first day in a
// picking window to the last. Everything that stands is picked at the end of
// each day on which open reports true; what is not picked is sound for three
// days after it ripened, each hot day counting for one and a half, and is lost
// then. Days that s does not have count as not hot.
func Supply(truths []Truth, s weather.Series, open func(weather.Date) bool) []Stand {
	if len(truths) == 0 {
		return nil
	}
	start := truths[0].From
	first, last := truths[0].Dates[forecast.FirstRipe], truths[0].Dates[forecast.LastPick]
	for _, t := range truths[1:] {
		start = min(start, t.From)
		first, last = min(first, t.Dates[forecast.FirstRipe]), max(last, t.Dates[forecast.LastPick])
	}
	type lot struct{ kg, age float64 }
	var lots []lot
	var out []Stand
	for d := start; d <= last; d++ {
		stand := Stand{Date: d}
		for _, t := range truths {
			stand.RipeKg += t.KgOn(d)
			if t.InWindow(d) {
				stand.InWindow++
			}
		}
		lots = append(lots, lot{kg: stand.RipeKg})
		for _, l := range lots {
			stand.StandingKg += l.kg
		}
		if d >= first {
			out = append(out, stand)
		}
		if open(d) {
			lots = lots[:0]
			continue
		}
		older := 1.0
		if day, ok := s.At(d); ok && day.Max > hotC {
			older = float64(keepsDays) / keepsDaysHot
		}
		kept := lots[:0]
		for _, l := range lots {
			if l.age += older; l.age < keepsDays {
				kept = append(kept, l)
			}
		}
		lots = kept
	}
	return out
}

// Gaps returns the runs of days, both ends included, inside the season on
// which no planting is in its window.
func Gaps(stands []Stand) [][2]weather.Date {
	return runs(stands, func(s Stand) bool { return s.InWindow == 0 })
}

// Thin returns the runs of days on which something is in its window and less
// than thinKg of ripe fruit stands.
func Thin(stands []Stand, thinKg float64) [][2]weather.Date {
	return runs(stands, func(s Stand) bool { return s.InWindow > 0 && s.StandingKg < thinKg })
}

func runs(stands []Stand, is func(Stand) bool) (out [][2]weather.Date) {
	for i, s := range stands {
		switch {
		case !is(s):
		case i > 0 && is(stands[i-1]):
			out[len(out)-1][1] = s.Date
		default:
			out = append(out, [2]weather.Date{s.Date, s.Date})
		}
	}
	return out
}
