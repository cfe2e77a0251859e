package hindcast_test

import (
	"math"
	"testing"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/weather"
)

// handFarm is one planting on a record on which each year has one temperature
// throughout: 13 °C until 2007, then 15, 11 and 16 °C. The heat of a day above
// 3 °C is 10, 12, 8 and 13 °C·d.
//
//	season  bloom   first ripe       days  heat: whole days + half of the last
//	2007    10 May  10 June          31    30·10 + 5 = 305
//	2008    12 May  8 June           27    26·12 + 6 = 318
//	2009    5 May   9 June           35    34·8  + 4 = 276
//	2010    8 May   9 June           32
//
// Peak comes 4 days after first ripe, last pick 9 days.
func handFarm(t *testing.T) forecast.Inputs {
	t.Helper()
	in := north(flat(t, 2001, 13, 13, 13, 13, 13, 13, 13, 15, 11, 16))
	in.Varieties = []forecast.Variety{{ID: "v", Name: "V", Ripens: forecast.Mid}}
	in.Plantings = []forecast.Planting{planting("p", "v")}
	for _, s := range []struct{ bloom, ripe weather.Date }{
		{weather.DateOf(2007, 5, 10), weather.DateOf(2007, 6, 10)},
		{weather.DateOf(2008, 5, 12), weather.DateOf(2008, 6, 8)},
		{weather.DateOf(2009, 5, 5), weather.DateOf(2009, 6, 9)},
		{weather.DateOf(2010, 5, 8), weather.DateOf(2010, 6, 9)},
	} {
		in.Sightings = append(in.Sightings, seen("p", forecast.Bloom10, s.bloom), seen("p", forecast.FirstRipe, s.ripe),
			seen("p", forecast.Peak, s.ripe+4), seen("p", forecast.LastPick, s.ripe+9))
	}
	return in
}

func TestBaselinesByHand(t *testing.T) {
	t.Parallel()
	r := replay(t, handFarm(t), hindcast.Options{From: 2007})
	may7, may8, may9, may10 := weather.DateOf(2007, 5, 0), weather.DateOf(2008, 5, 0), weather.DateOf(2009, 5, 0), weather.DateOf(2010, 5, 0)
	for _, tt := range []struct {
		name  string
		b     hindcast.Baseline
		stage forecast.Stage
		asOf  weather.Date
		zero  weather.Date // The last of April.
		mean  float64      // Days from zero.
		sd    float64
	}{
		// Without a past season only common practice speaks, with the usual sd, 5.
		{"rule, first season", hindcast.BloomRule, forecast.FirstRipe, may7 + 10, may7, 10 + 30, 5},
		// One past season: its values, with the usual sd times √2.
		{"mean date, second season: 10 June", hindcast.MeanDate, forecast.FirstRipe, may8 + 12, may8, 41, 6 * math.Sqrt2},
		{"rule, second season", hindcast.BloomRule, forecast.FirstRipe, may8 + 12, may8, 12 + 30, 5},
		{"own days, second season", hindcast.OwnDays, forecast.FirstRipe, may8 + 12, may8, 12 + 31, 4 * math.Sqrt2},
		// 305 at the usual 10 a day: during the 31st day, 0.5 of it.
		{"heat, second season", hindcast.UsualHeat, forecast.FirstRipe, may8 + 12, may8, 12 + 31, 3 * math.Sqrt2},
		// The usual 13 °C are those of the one season.
		{"temperature, second season", hindcast.MeanTemperature, forecast.FirstRipe, may8 + 12, may8, 12 + 31, 3 * math.Sqrt2},
		// 21 days before 8 June is 18 May: 5 days after bloom are observed, at
		// 15 °C. Heat: 60, then 245 at 10 a day, 29.5 days in all, so day 30 but for
		// nothing: half past. Temperature: (5·15 + 25·13)/30 = 13.3333, and the
		// published slope takes 2.6/3 days off 31.
		{"heat, second season, 21 days before", hindcast.UsualHeat, forecast.FirstRipe, may8 + 18, may8, 12 + 30, 3 * math.Sqrt2},
		{"temperature, second season, 21 days before", hindcast.MeanTemperature, forecast.FirstRipe, may8 + 18, may8, 12 + 31 - 2.6/3, 3 * math.Sqrt2},
		// Two past seasons: 10 and 8 June, in a common and a leap year.
		{"mean date, third season: 9 June", hindcast.MeanDate, forecast.FirstRipe, may9 + 5, may9, 40, math.Sqrt(2) * math.Sqrt(1.5)},
		// 31 and 27 days: mean 29, sd √8.
		{"own days, third season", hindcast.OwnDays, forecast.FirstRipe, may9 + 5, may9, 5 + 29, math.Sqrt(8) * math.Sqrt(1.5)},
		// Off by 1 and -3 days: √((1+9)/2).
		{"rule, third season", hindcast.BloomRule, forecast.FirstRipe, may9 + 5, may9, 5 + 30, math.Sqrt(5)},
		// Three past seasons: 10, 8 and 9 June, sd 1.
		{"mean date", hindcast.MeanDate, forecast.FirstRipe, may10 + 8, may10, 31 + 9, math.Sqrt(4.0 / 3)},
		{"mean date of the peak", hindcast.MeanDate, forecast.Peak, may10 + 8, may10, 31 + 13, math.Sqrt(4.0 / 3)},
		// 31, 27 and 35 days: mean 31, sd 4.
		{"own days", hindcast.OwnDays, forecast.FirstRipe, may10 + 8, may10, 8 + 31, 4 * math.Sqrt(4.0/3)},
		{"own days to last pick", hindcast.OwnDays, forecast.LastPick, may10 + 8, may10, 8 + 40, 4 * math.Sqrt(4.0/3)},
		// Off by 1, -3 and 5 days: √(35/3). The later stages are off as much.
		{"rule", hindcast.BloomRule, forecast.FirstRipe, may10 + 8, may10, 8 + 30, math.Sqrt(35.0 / 3)},
		{"rule to the peak: 31, -3 and 5 off 34", hindcast.BloomRule, forecast.Peak, may10 + 8, may10, 8 + 34, math.Sqrt(35.0 / 3)},
		{"rule to last pick", hindcast.BloomRule, forecast.LastPick, may10 + 8, may10, 8 + 39, math.Sqrt(35.0 / 3)},
		// Heat: mean 899/3 = 299.6667; usual 90/9 = 10 a day; 29.9667 days, which is
		// day 30 and 0.4667. With nothing observed, and the year itself left out of
		// the usual, past seasons would have been at
		//	2007  299.6667/10    + 0.5 = 30.4667 for 31: -0.5333
		//	2008  299.6667/9.75  + 0.5 = 31.2350 for 27:  4.2350
		//	2009  299.6667/10.25 + 0.5 = 29.7358 for 35: -5.2642
		// Squares 0.2844 + 17.9355 + 27.7123 = 45.9322, half of it 22.9661, root
		// 4.79230; times √(4/3) 5.53367.
		{"heat, at bloom", hindcast.UsualHeat, forecast.FirstRipe, may10 + 8, may10, 8 + 30.466667, 5.53367},
		// 21 days before 9 June is 19 May: 10 days after bloom are observed, at 13.
		// 130, then 169.6667/10 days: 26.9667 in all, which is day 27 and 0.4667.
		//	2007  10 + (299.6667-100)/10    + 0.5 = 30.4667: -0.5333
		//	2008  10 + (299.6667-120)/9.75  + 0.5 = 28.9274:  1.9274
		//	2009  10 + (299.6667-80)/10.25  + 0.5 = 31.9309: -3.0691
		// Squares 0.2844 + 3.7147 + 9.4195 = 13.4186, half 6.7093, root 2.59023;
		// times √(4/3) 2.99094.
		{"heat, 21 days before", hindcast.UsualHeat, forecast.FirstRipe, may10 + 19, may10, 8 + 27.466667, 2.99094},
		// Temperature: (13, 31), (15, 27), (11, 35) lie on a line of -2 days per °C;
		// Sxx = 8. The usual 13 °C give 31 days. With nothing observed past seasons
		// would have been at 13, 12.75 and 13.25 °C, off by 0, -4.5 and 4.5 days:
		// s² = 40.5/1. sd = √(40.5·(1+1/3)) = 7.34847.
		{"temperature, at bloom", hindcast.MeanTemperature, forecast.FirstRipe, may10 + 8, may10, 8 + 31, 7.34847},
		// (10·16 + 20·13)/30 = 14 °C give 29 days. Past seasons at 13, (10·15 +
		// 20·12.75)/30 = 13.5 and (10·11 + 20·13.25)/30 = 12.5: off by 0, -3, 3,
		// s² = 18. sd = √(18·(1 + 1/3 + 1²/8)) = 5.12348.
		{"temperature, 21 days before", hindcast.MeanTemperature, forecast.FirstRipe, may10 + 19, may10, 8 + 29, 5.12348},
		// 21 days before 18 June is 28 May: 19 of 39 days are observed. (19·16 +
		// 20·13)/39 = 14.461538 °C give 40 - 2·1.461538 = 37.076923 days. Past
		// seasons at (19·15 + 20·12.75)/39 = 13.846154 and (19·11 + 20·13.25)/39 =
		// 12.153846: off by 36 - 38.307692 and as much above, s² = 2·2.307692² =
		// 10.650888. sd = √(10.650888·(4/3 + 1.461538²/8)) = 4.12857.
		{"temperature to last pick, 21 days before", hindcast.MeanTemperature, forecast.LastPick, may10 + 28, may10, 8 + 37.076923, 4.12857},
		// 7 days before 9 June is 2 June: the mean date, 9 June, is still to come,
		// but part of its range is over.
		{"mean date, told that it is not over", hindcast.MeanDate, forecast.FirstRipe, may10 + 33, may10, 31 + 9, math.Sqrt(4.0 / 3)},
		{"rule, told that 1 June is over", hindcast.BloomRule, forecast.FirstRipe, may10 + 33, may10, 8 + 30, math.Sqrt(35.0 / 3)},
		{"rule, told that 5 June is over", hindcast.BloomRule, forecast.FirstRipe, may10 + 37, may10, 8 + 30, math.Sqrt(35.0 / 3)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, why := find(t, r, "p", tt.stage, tt.asOf).Versus(tt.b)
			if why != "" {
				t.Fatalf("none: %s", why)
			}
			if !sameAsNormal(t, d, tt.zero, tt.mean, tt.sd, tt.asOf, 2e-5) {
				t.Errorf("mean %.4f, want %.4f; sd %.4f wanted", d.Mean()-float64(tt.zero), tt.mean, tt.sd)
			}
		})
	}
	first := find(t, r, "p", forecast.FirstRipe, may7+10)
	for _, b := range hindcast.Baselines() {
		if _, why := first.Versus(b); b != hindcast.BloomRule && why != hindcast.NoPast {
			t.Errorf("first season: %s is there, or not because %q", b, why)
		}
	}
}

// Plantings of a variety in one season are one weather: a season counts once,
// by its mean.
func TestSeasonsCountOnce(t *testing.T) {
	t.Parallel()
	in := north(flat(t, 2001, 13, 13, 13, 13, 13, 13, 13, 13))
	in.Varieties = []forecast.Variety{{ID: "v"}}
	in.Plantings = []forecast.Planting{planting("p", "v"), planting("q", "v")}
	enter := func(year, bloomDay int, p, q weather.Date) {
		b := weather.DateOf(year, 5, bloomDay)
		in.Sightings = append(in.Sightings, seen("p", forecast.Bloom10, b), seen("q", forecast.Bloom10, b+2))
		in.Sightings = append(in.Sightings, seen("p", forecast.FirstRipe, b+p), seen("q", forecast.FirstRipe, b+2+q))
	}
	enter(2006, 10, 30, 34) // 9 and 15 June: 12 June.
	enter(2007, 10, 28, 30) // 7 and 11 June: 9 June.
	enter(2008, 10, 30, 30)
	r := replay(t, in, hindcast.Options{To: 2008})
	asOf, zero := weather.DateOf(2008, 5, 10), weather.DateOf(2008, 5, 0)
	c := find(t, r, "p", forecast.FirstRipe, asOf)
	for b, want := range map[hindcast.Baseline]struct{ mean, sd float64 }{
		hindcast.MeanDate:  {31 + 10.5, math.Sqrt(1.5*1.5*2) * math.Sqrt(1.5)},
		hindcast.BloomRule: {10 + 30, math.Sqrt((2*2 + 1*1) / 2.0)},
		hindcast.OwnDays:   {10 + 30.5, math.Sqrt(1.5*1.5*2) * math.Sqrt(1.5)}, // 32 and 29.
		// Mean requirements 10·32 - 5 and 10·29 - 5: 300, reached at the end of the
		// 30th day. Past seasons are off by 30.5 - 32 and 30.5 - 29.
		hindcast.UsualHeat: {10 + 30.5, math.Sqrt(1.5*1.5*2) * math.Sqrt(1.5)},
		// Two seasons tell no slope; all are at 13 °C anyway.
		hindcast.MeanTemperature: {10 + 30.5, 3 * math.Sqrt(1.5)},
	} {
		d, why := c.Versus(b)
		if why != "" || !sameAsNormal(t, d, zero, want.mean, want.sd, asOf, 2e-5) {
			t.Errorf("%s: %q, mean %.4f, want N(%.4f, %.4f)", b, why, d.Mean()-float64(zero), want.mean, want.sd)
		}
	}
}

// In the south a season crosses New Year, and a mean date too.
func TestMeanDateAcrossNewYear(t *testing.T) {
	t.Parallel()
	in := north(flat(t, 2000, 13, 13, 13, 13, 13, 13, 13, 13, 13, 13, 13))
	in.Farm.Latitude = -35
	in.Varieties = []forecast.Variety{{ID: "v"}}
	in.Plantings = []forecast.Planting{planting("p", "v")}
	for _, d := range []weather.Date{weather.DateOf(2007, 12, 30), weather.DateOf(2009, 1, 3), weather.DateOf(2010, 1, 5)} {
		in.Sightings = append(in.Sightings, seen("p", forecast.Bloom10, d-32), seen("p", forecast.FirstRipe, d))
	}
	r := replay(t, in, hindcast.Options{To: 2010})
	if len(r.Seasons) != 2 || r.Seasons[0] != 2009 || r.Seasons[1] != 2010 {
		t.Fatalf("seasons %v", r.Seasons)
	}
	// 30 December and 3 January are 1 January; sd √8.
	c := find(t, r, "p", forecast.FirstRipe, weather.DateOf(2010, 1, 5)-32)
	d, why := c.Versus(hindcast.MeanDate)
	if why != "" || !sameAsNormal(t, d, weather.DateOf(2010, 1, 0), 1, math.Sqrt(8*1.5), c.AsOf, 2e-5) {
		t.Errorf("%q, mean %v", why, weather.Date(math.Round(d.Mean())))
	}
}

// A mean date that is long over leaves nothing but tomorrow.
func TestBaselineLongOverSaysTomorrow(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	for i := range in.Sightings {
		if s := &in.Sightings[i]; s.Date > weather.DateOf(2010, 1, 1) {
			s.Date += 40
		}
	}
	r := replay(t, in, hindcast.Options{From: 2010})
	asOf := weather.DateOf(2010, 6, 9) + 40 - 3
	c := find(t, r, "p", forecast.FirstRipe, asOf)
	d, why := c.Versus(hindcast.MeanDate)
	if first, last := d.Support(); why != "" || first != asOf+1 || last != asOf+1 {
		t.Errorf("%q, %s to %s, want %s", why, first, last, asOf+1)
	}
}
