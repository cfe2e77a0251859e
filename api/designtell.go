package api

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ripetide/forecast"
)

// DesignTelling says in words what a planting list does; pages and answers share
// its sentences.
type DesignTelling struct {
	Farm forecast.Farm
	*forecast.Designed
}

// Changed reports whether anything is tried.
func (t DesignTelling) Changed() bool {
	return slices.ContainsFunc(t.Plantings, func(p forecast.DesignedPlanting) bool { return p.BeforeM2 != p.AfterM2 || p.ShiftedBy != "" })
}

// tellable is the least part of a day that is told.
const tellable = 0.05

// Outcome tells what comes of the list, as it stands and with the changes.
func (t DesignTelling) Outcome() []string {
	out := []string{t.Basis(), "As the list stands, " + t.list(t.Before)}
	if !t.Changed() {
		return out
	}
	out = append(out, "With the changes "+t.list(t.After), t.compare(t.Difference.GapDays, "gap"))
	if t.ThinKg > 0 {
		out = append(out, t.compare(t.Difference.ThinDays, "thin"))
	}
	if s := t.Outside(t.Difference.Longer, t.Difference.SeasonDays); s != "" {
		out = append(out, s)
	}
	return out
}

// Basis says what the figures rest on.
func (t DesignTelling) Basis() string {
	if len(t.Years) == 0 {
		return fmt.Sprintf("Season %d.", t.Season)
	}
	return fmt.Sprintf("Season %d, as its first day would forecast it: the weather of %d past years, %d to %d, each %d times with another draw of what plantings require.",
		t.Season, len(t.Years), t.Years[0], t.Years[len(t.Years)-1], t.Members/len(t.Years))
}

// list says what one list does, after the beginning of a sentence.
func (t DesignTelling) list(o forecast.DesignOutcome) string {
	if o.SeasonMean == 0 {
		return "nothing is picked."
	}
	gaps := "no gap days"
	if o.GapDays >= tellable {
		years := strconv.Itoa(o.GapYears)
		if o.GapYears == 0 {
			years = "none"
		}
		gaps = fmt.Sprintf("%s on average; with the weather of %s of %d past years a gap is more likely than not", DaysOf(o.GapDays, "gap"), years, len(t.Years))
	}
	out := fmt.Sprintf("a season lasts %s and has %s.", TellCounts(o.SeasonDays), gaps)
	if len(o.Between) > 0 && o.GapDays >= tellable {
		if b := o.Between[0]; b.After != "" && b.Before != "" {
			out += fmt.Sprintf(" Most of them lie between %s and %s.", b.After, b.Before)
		}
	}
	return out
}

// compare tells a difference of gap or thin days.
func (t DesignTelling) compare(e forecast.Paired, kind string) string {
	switch {
	case e == (forecast.Paired{}):
		return fmt.Sprintf("The changes leave the %s days as they are.", kind)
	case e.ByChance():
		return fmt.Sprintf("The difference in %s days, %s, cannot be told from chance.", kind, TellPaired(e))
	case e.Mean > 0:
		return fmt.Sprintf("That is %s more in a season (%s).", DaysOf(e.Mean, kind), PairedRange(e))
	}
	return fmt.Sprintf("That is %s fewer in a season (%s).", DaysOf(-e.Mean, kind), PairedRange(e))
}

// Outside says that what is added makes a gap of its own; "" when it does not.
func (t DesignTelling) Outside(days float64, season forecast.Paired) string {
	if days < tellable {
		return ""
	}
	longer := ""
	if season.Mean >= tellable {
		longer = fmt.Sprintf(" It makes the season %s longer.", DaysOf(season.Mean, ""))
	}
	return fmt.Sprintf("Outside the season as it was lie %s: what ripens far from the rest leaves a gap between.%s", DaysOf(days, "new gap"), longer)
}

// DaysOf writes a mean number of days of a kind to a tenth: "1 gap day", "2.4 days".
func DaysOf(x float64, kind string) string {
	s := Tenth(x)
	return strings.Join(strings.Fields(s+" "+kind+" "+map[bool]string{true: "day", false: "days"}[s == "1"]), " ")
}

// Tenth writes a number to a tenth, with a minus that is one.
func Tenth(x float64) string {
	return strings.Replace(strconv.FormatFloat(math.Round(10*x)/10+0, 'f', -1, 64), "-", "−", 1)
}

// Signed is [Tenth] with a plus.
func Signed(x float64) string {
	s := Tenth(x)
	if strings.HasPrefix(s, "−") || s == "0" {
		return s
	}
	return "+" + s
}

// TellCounts writes a range of days: "24 to 33 days".
func TellCounts(d forecast.DayCounts) string {
	if d.P10 == d.P90 {
		return countOf(d.P10, "day", "days")
	}
	return fmt.Sprintf("%d to %d days", d.P10, d.P90)
}

// TellPaired writes a difference of days: "−3.1 (−3.6 to −2.5)".
func TellPaired(e forecast.Paired) string {
	if Tenth(e.Mean) == "0" && Tenth(e.Lo) == "0" && Tenth(e.Hi) == "0" {
		return "hardly any"
	}
	return Signed(e.Mean) + " (" + PairedRange(e) + ")"
}

// PairedRange writes the range of a difference: "−3.6 to −2.5".
func PairedRange(e forecast.Paired) string { return Signed(e.Lo) + " to " + Signed(e.Hi) }
