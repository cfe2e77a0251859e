package pages

import (
	"fmt"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// decideDays is how many days before a day must be decided on that is told.
const decideDays = 3

// lateNotice says what is left when the day to decide by, which is by, has come or
// passed.
func lateNotice(o *api.Opening, by weather.Date) string {
	n := count(o.Farm.Opening.Notice(), "day", "days")
	if by == o.Today {
		return "Decide today: the slowest way of telling people needs " + n + "."
	}
	return "It is too late for the slowest way of telling people, which needs " + n + "; quicker ones still reach them."
}

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
		told := false
		for _, d := range o.Forecast.Days {
			told = told || d.Date == day
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
		if !told && len(o.Forecast.Days) > 0 { // It lies outside nearly all possible seasons.
			to.What = "The opening on " + o.Farm.Day(day) + " has no fruit"
			to.Why = "You have announced it, and hardly any possible season has ripe fruit on that day."
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
			to.Why = lateNotice(o, by)
		}
		return []morningTask{to}
	}
	return nil
}
