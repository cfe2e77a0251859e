package forecast

import (
	"time"

	"ripetide/weather"
)

// ShutThrough returns, by planting, the last date on which a spray keeps its
// block closed at any hour; plantings that none does are not there.
func ShutThrough(blocks []Block, zone *time.Location) map[string]weather.Date {
	out := map[string]weather.Date{}
	for _, b := range blocks {
		for _, c := range b.Sprayed {
			if !c.InForce {
				continue
			}
			last := weather.DateIn(c.Until.Add(-time.Nanosecond).In(zone)) // Open again at midnight is open on that day.
			for _, p := range b.Plantings {
				if was, ok := out[p]; !ok || last > was {
					out[p] = last
				}
			}
		}
	}
	return out
}
