package pages

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ripetide/forecast"
)

// The lists of what a farm asks of an opening day are typed line by line.

// openingLists asks for them.
func openingLists(f *form, farm forecast.Farm) {
	o := farm.Opening
	unit := weightUnit(farm.Units)
	var on, channels, holidays []string
	for i := range 7 {
		w := time.Weekday((i + 1) % 7)
		if kg := o.ReadyKgOn[w]; kg > 0 {
			on = append(on, w.String()+": "+brief(kg/unit.factor))
		}
	}
	for _, c := range o.Channels {
		channels = append(channels, fmt.Sprintf("%s: %d", c.Name, c.NoticeDays))
	}
	for _, h := range farm.Holidays {
		holidays = append(holidays, h.Name+": "+h.Rule)
	}
	lines := func(name, label, hint, help string, now []string) {
		f.add(field{Name: name, Label: label, Kind: "area", Rows: max(2, len(now)), Value: strings.Join(now, "\n"), Hint: hint, Help: help, Optional: true})
	}
	lines("ready_on", "Another weight on some weekdays, "+unit.name, "Saturday: 450", "One a line: the weekday, a colon, the weight. A bigger crowd needs more.", on)
	first := ""
	if o.FirstVarieties > 0 {
		first = strconv.Itoa(o.FirstVarieties)
	}
	f.add(field{Name: "firsts", Label: "The share is of the first", Value: first, Unit: "varieties", Mode: "numeric", Optional: true, Hint: "1"})
	lines("channels", "Ways of telling people, and the days of notice each needs", "Weekly paper: 7", "One a line: its name, a colon, the days.", channels)
	lines("holidays", "Days that customers carry in their heads", "Father's Day: third Sunday of June",
		"One a line: its name, a colon, when it is: “24 June”, “third Sunday of June”, “last Monday of May”, “49 days after Easter”.", holidays)
}

// readOpeningLists reads the answers. A line that is not understood is named in
// the fault of its list.
func readOpeningLists(f *form, farm *forecast.Farm, units forecast.Units) {
	o := &farm.Opening
	was := o.ReadyKgOn
	o.ReadyKgOn, o.Channels, farm.Holidays = [7]float64{}, nil, nil
	unit := weightUnit(units)
	f.lines("ready_on", func(name, value string) string {
		for w := time.Sunday; w <= time.Saturday; w++ {
			if !strings.EqualFold(name, w.String()) {
				continue
			}
			x, fault := readNumber(value, units)
			if fault != "" || !(x > 0) {
				return "needs a weight above nothing after the colon"
			}
			if o.ReadyKgOn[w] = x * unit.factor; was[w] != 0 && value == brief(was[w]/unit.factor) {
				o.ReadyKgOn[w] = was[w]
			}
			return ""
		}
		return "does not begin with a weekday"
	})
	firsts := f.number("firsts", 1, 0)
	if firsts != float64(int(firsts)) {
		f.fault("firsts", "must be a whole number")
	}
	o.FirstVarieties = int(firsts)
	f.lines("channels", func(name, value string) string {
		days, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(value, "days"), "day")))
		if err != nil {
			return "needs whole days after the colon"
		}
		o.Channels = append(o.Channels, forecast.Channel{Name: name, NoticeDays: days})
		return ""
	})
	f.lines("holidays", func(name, value string) string {
		if _, err := forecast.ParseHolidayRule(value); err != nil {
			return "after the colon " + err.Error()
		}
		farm.Holidays = append(farm.Holidays, forecast.Holiday{Name: name, Rule: value})
		return ""
	})
}

// lines reads a list of "name: value", one a line; read says what is wrong with
// one.
func (f *form) lines(field string, read func(name, value string) string) {
	for i, line := range strings.Split(f.value(field), "\n") {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		at := strings.LastIndexByte(line, ':')
		fault := "needs a colon"
		if at >= 0 {
			fault = read(strings.TrimSpace(line[:at]), strings.TrimSpace(line[at+1:]))
		}
		if fault != "" {
			f.fault(field, fmt.Sprintf("has a line that cannot be: line %d, “%s”, %s", i+1, line, fault))
			return
		}
	}
}
