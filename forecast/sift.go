package forecast

import (
	"slices"
	"strings"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// Tests beside those of package quality.
const (
	// TestSource is one that a source has made itself, see [weather.Remark].
	TestSource quality.Test = "source"
	// TestReadingHour finds a day whose highest temperature, read the next
	// morning, is below its lowest.
	TestReadingHour quality.Test = "reading_hour"
)

// Sifted is a station's record as forecasts use it.
type Sifted struct {
	Days     weather.Series    // By the civil day, without LeftOut.
	Suspects []quality.Suspect // By date; those that are used too.
	LeftOut  []weather.Date    // In order.
	// Misfit is what is said of the first of so many suspects that the doubt is
	// about the station's place, unit or settings and not about single days; then
	// none is left out for it. "" is the usual.
	Misfit string
}

// mostDoubted is the share of a record beyond which suspects are a misfit.
const mostDoubted = 0.25

// Sift returns the record through a date as forecasts use it: highest
// temperatures that were read in the morning on the day they belong to, days
// that a test or their source doubts left out where the station's rule says so,
// and a person's verdict before either. It sees nothing later than through.
func (r Record) Sift(through weather.Date) Sifted {
	days := r.Days.Until(through)
	var out Sifted
	if len(r.Hours) > 0 {
		aligned, dropped := weather.Aligned(days.Days(), r.Hours)
		for _, d := range dropped {
			out.Suspects = append(out.Suspects, quality.Suspect{
				Date: d, Test: TestReadingHour,
				Detail: "the highest temperature read the next morning is below the lowest of the day",
			})
			out.LeftOut = append(out.LeftOut, d)
		}
		if s, err := weather.NewSeries(aligned); err == nil { // Aligned keeps the order.
			days = s
		}
	}
	place := quality.Place{Latitude: r.Station.Latitude, Elevation: r.Station.Elevation}
	out.Suspects = append(out.Suspects, quality.Check(days.Days(), place)...)
	for _, f := range r.Flags {
		if f.Date > through {
			break
		}
		out.Suspects = append(out.Suspects, flagged(f, r.Hours)...)
	}
	slices.SortStableFunc(out.Suspects, func(a, b quality.Suspect) int { return int(a.Date - b.Date) })

	judged := map[weather.Date]bool{}
	for _, v := range r.Verdicts {
		if v.Date > through {
			continue
		}
		judged[v.Date] = true
		if !v.Use {
			out.LeftOut = append(out.LeftOut, v.Date)
		}
	}
	var doubted []weather.Date
	for _, s := range out.Suspects {
		if n := len(doubted); n == 0 || doubted[n-1] != s.Date {
			doubted = append(doubted, s.Date)
		}
	}
	switch {
	case float64(len(doubted)) > mostDoubted*float64(days.Len()) && len(doubted) > 1:
		out.Misfit = out.Suspects[0].Detail
	case r.Station.Suspects != weather.UseSuspects:
		for _, d := range doubted {
			if !judged[d] {
				out.LeftOut = append(out.LeftOut, d)
			}
		}
	}
	slices.Sort(out.LeftOut)
	out.LeftOut = slices.Compact(out.LeftOut)
	out.Days = days.Without(out.LeftOut)
	return out
}

// flagged returns a source's flag as suspects on the civil days it is about.
func flagged(f weather.Flag, hours []weather.ReadingHour) []quality.Suspect {
	var out []quality.Suspect
	for part := range strings.SplitSeq(f.Text, "; ") {
		d := f.Date
		if strings.HasPrefix(part, "max") && weather.ReadInMorning(d, hours) {
			d--
		}
		out = append(out, quality.Suspect{Date: d, Test: TestSource, Detail: "failed the tests of its source, " + part})
	}
	return out
}
