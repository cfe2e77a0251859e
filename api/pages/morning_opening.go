package pages

import (
	"fmt"

	"ripetide/api"
	"ripetide/forecast"
)

// decideDays is how many days before a day must be decided on that is told.
const decideDays = 3

// openingTasks tells what the opening asks for: a day to decide on, and a day
// that was announced and is no longer sure.
func openingTasks(o *api.Opening) []morningTask {
	a := o.Forecast.Advice
	if a == nil || o.IsOver() || o.IsOpen() || o.Forecast.Season != forecast.SeasonOf(o.Today, o.Farm.Southern()) {
		return nil
	}
	to := morningTask{Href: "/f/" + o.Farm.ID + "/opening", Link: "Opening"}
	day, decided, ok := o.Day()
	switch {
	case !ok:
		return nil
	case decided:
		for _, d := range o.Forecast.Days {
			if d.Date != day || d.Ready >= a.Confidence {
				continue
			}
			to.What = "The opening on " + o.Farm.Day(day) + " is not sure"
			to.Why = fmt.Sprintf("You have announced it, and only %s are left for enough ripe fruit then.", chancesOf(d.Ready))
			if next := a.Opening.Day; next != nil && *next > day {
				to.Why += " The first day that is sure enough is " + o.Farm.Day(*next) + "."
			}
			return []morningTask{to}
		}
		if n := int(day - o.Today); n <= decideDays {
			to.What = "You open on " + o.Farm.Day(day) + ", in " + count(n, "day", "days")
			to.Why = "Walk the field; signs, the telephone and the page say so."
			return []morningTask{to}
		}
	default:
		by := *a.Opening.CommitBy
		if int(by-o.Today) > decideDays {
			return nil
		}
		to.What = "Decide when to open: " + o.Farm.Day(day) + " is advised"
		to.Why = "Decide by " + o.Farm.Day(by) + "."
		if by <= o.Today {
			to.Why = "The slowest way of telling people needs " + count(o.Farm.Opening.Notice(), "day", "days") + ": decide today."
		}
		return []morningTask{to}
	}
	return nil
}
