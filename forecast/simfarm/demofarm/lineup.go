package demofarm

import (
	"time"

	"ripetide/forecast"
	"ripetide/forecast/simfarm"
	"ripetide/weather"
)

// Seasons of the demo.
const (
	FirstSeason = 2008 // The first crop after the farm began in spring 2007.
	Season      = 2018 // The season that the demo forecasts.
)

// AsOf is the morning of the demo: the Monday before the farm opens, when the
// early varieties have been seen ripe and the late ones are a fortnight away.
var AsOf = weather.DateOf(Season, time.June, 11)

// Farm is the farm as the service knows it.
var Farm = forecast.Farm{
	ID:             "lanternfen",
	Name:           "Lanternfen Farm",
	Latitude:       42.29,
	Longitude:      -83.71,
	TimeZone:       "America/Detroit",
	Units:          forecast.US,
	ThinKgPerDay:   thinKg,
	GapProbability: 0.4, // They want to be told of a gap at two chances in five.
	Opening: forecast.Opening{
		ReadyKg:    openKg,
		Confidence: 0.8,
		Weekdays:   []time.Weekday{time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday},
		NoticeDays: 3,
	},
}

// Both are invented.
const (
	thinKg = 250 // Fifty parties with eleven pounds each: a quiet weekday.
	openKg = 800 // An opening day is not a quiet one.
)

// about is the farm's story, as the demo tells it.
var about = []string{
	"Lanternfen Farm is invented: the farm, its people, its blocks and its varieties. The weather is the real record of Ann Arbor, Michigan. The sightings were grown by the simulator in forecast/simfarm on that weather.",
	"Noor and Emmett Vandersloot set their first beds in spring 2007 and have written down bloom and picking since the first crop in 2008. Most varieties have moved to a new bed once since; Firstbell and Lastlantern came later and have fewer seasons on record.",
	"Bridgewell, a late-mid variety, used to carry the farm from Tamsin Red to Candlemere. Its bed at Creekside had black root rot and was grubbed out on 21 October 2017. A new bed at the Windbreak was set in April 2018 and will bear in 2019. Between the mid and the late varieties a day or two are left on which nothing is in its picking window.",
	"Lastlantern is there to make the season longer, but its bed is small: in the last week it alone is in its window, and what stands is less than the 250 kg (550 lb) that the farm wants to have on a picking day.",
}

// Station is the one of the weather record. Place and height are those of
// USC00200230 in the list of stations of GHCN-Daily (from memory).
var Station = weather.Station{
	ID: "ann-arbor", Name: "Ann Arbor (USC00200230)",
	Latitude: 42.2947, Longitude: -83.7108, Elevation: 274,
}

// sites are the blocks and how warm they are, all invented.
var sites = []simfarm.Site{
	{Block: "Sandbar", WarmC: 0.5}, // Light soil on a south slope.
	{Block: "Schoolhouse", WarmC: 0.2},
	{Block: "Long Rows", WarmC: 0},
	{Block: "Windbreak", WarmC: 0.1},
	{Block: "Creekside", WarmC: -0.4}, // A hollow where cold air lies.
}

// variety is one of the farm's varieties with its traits, both invented, and
// the beds it has stood in.
type variety struct {
	id, name string
	ripens   forecast.Class
	bloom    float64 // As in simfarm.Trait, like the next two.
	fruit    float64
	spread   float64
	kgPerM2  float64
	beds     []bed
}

// bed is a planting: set in one spring, grubbed out in another year.
type bed struct {
	block   string
	areaM2  float64
	planted int          // Year.
	removed weather.Date // 0 while it stands.
}

// afterHarvest is when a bed that is replaced is ploughed in: in the year in
// which its successor was set, once it has borne.
func afterHarvest(year int) weather.Date { return weather.DateOf(year, time.August, 10) }

var varieties = []variety{
	{"wrenlight", "Wrenlight", forecast.Early, 35.5, 16.9, 0.65, 0.9, []bed{
		{"Schoolhouse", 900, 2007, afterHarvest(2013)}, {"Sandbar", 1000, 2013, 0},
	}},
	{"firstbell", "Firstbell", forecast.Early, 35.7, 17.0, 0.65, 1.0, []bed{
		{"Sandbar", 1100, 2014, 0},
	}},
	{"marrowby", "Marrowby", forecast.EarlyMid, 36.1, 17.2, 0.65, 1.2, []bed{
		{"Windbreak", 1300, 2007, afterHarvest(2012)}, {"Schoolhouse", 1300, 2012, 0},
	}},
	{"pipkin-rose", "Pipkin Rose", forecast.EarlyMid, 36.3, 17.4, 0.65, 1.1, []bed{
		{"Sandbar", 1200, 2007, afterHarvest(2013)}, {"Schoolhouse", 1200, 2013, 0},
	}},
	{"corduroy", "Corduroy", forecast.Mid, 36.5, 17.5, 0.65, 1.3, []bed{
		{"Creekside", 1800, 2007, afterHarvest(2014)}, {"Long Rows", 1700, 2014, 0}, {"Windbreak", 900, 2012, 0},
	}},
	{"tamsin-red", "Tamsin Red", forecast.Mid, 36.7, 17.8, 0.65, 1.2, []bed{
		{"Creekside", 1400, 2007, afterHarvest(2012)}, {"Long Rows", 1500, 2012, 0},
	}},
	{"bridgewell", "Bridgewell", forecast.LateMid, 37.7, 20.4, 0.90, 1.3, []bed{
		{"Schoolhouse", 2200, 2007, afterHarvest(2012)},
		{"Creekside", 2400, 2012, weather.DateOf(2017, time.October, 21)},
		{"Windbreak", 2000, 2018, 0},
	}},
	{"plowmoon", "Plowmoon", forecast.Late, 39.6, 24.3, 0.65, 1.3, []bed{
		{"Long Rows", 1500, 2007, afterHarvest(2014)}, {"Creekside", 1600, 2014, 0},
	}},
	{"candlemere", "Candlemere", forecast.Late, 40.1, 24.7, 0.65, 1.1, []bed{
		{"Long Rows", 1300, 2007, afterHarvest(2013)}, {"Windbreak", 1400, 2013, 0},
	}},
	{"dusk-parade", "Dusk Parade", forecast.Late, 39.9, 24.5, 0.65, 1.0, []bed{
		{"Windbreak", 1000, 2007, afterHarvest(2012)}, {"Creekside", 1000, 2012, 0},
	}},
	{"lastlantern", "Lastlantern", forecast.VeryLate, 41.4, 27.8, 0.60, 0.9, []bed{
		{"Creekside", 900, 2012, 0},
	}},
}
