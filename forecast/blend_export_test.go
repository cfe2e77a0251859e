package forecast

import (
	"slices"
	"time"

	"ripetide/weather"
)

// OutlookSkill is outlookSkill.
type OutlookSkill struct {
	Believe, Remain [outlookDays]float64
	Verified        [outlookDays]int
	Outlooks        int
}

func (s OutlookSkill) skill() outlookSkill {
	return outlookSkill{believe: s.Believe, remain: s.Remain, verified: s.Verified, outlooks: s.Outlooks}
}

func exportSkill(s outlookSkill) OutlookSkill {
	return OutlookSkill{Believe: s.believe, Remain: s.remain, Verified: s.verified, Outlooks: s.outlooks}
}

// Learned is outlookSkill.learned.
func (s OutlookSkill) Learned() bool { return s.skill().learned() }

// DefaultOutlookSkill is defaultSkill.
func DefaultOutlookSkill() OutlookSkill { return exportSkill(defaultSkill()) }

// LearnOutlookSkill is learnSkill.
func LearnOutlookSkill(came, past weather.Series, outlooks []weather.Outlook, zone *time.Location) OutlookSkill {
	return exportSkill(learnSkill(came, past, outlooks, zone))
}

// Blend lays an outlook over copies of paths, of which the days up to through
// are observed, and returns them.
func Blend(paths [][]weather.Day, through weather.Date, o weather.Outlook, issued weather.Date, s OutlookSkill) (blended [][]weather.Day, used int) {
	w := &ahead{through: through}
	for _, p := range paths {
		w.first = p[0].Date
		w.paths = append(w.paths, slices.Clone(p))
	}
	used = w.blend(o, issued, s.skill())
	return w.paths, used
}

// Rise is rise on a copy.
func Rise(xs, weights []float64) []float64 {
	xs = slices.Clone(xs)
	rise(xs, weights)
	return xs
}

// ClimateOf returns the climate of a date by climate.of.
func ClimateOf(s weather.Series, d weather.Date) (mean, sd float64) {
	n := newClimate(s).of(d)
	return n.mean, n.sd
}
