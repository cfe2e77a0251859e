package pages

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// dayView is everything that was ever recorded of a day.
type dayView struct {
	Station, Base, ISO, Date string
	Done, Fault              string
	Earlier, Later           string // The days beside it, in an address; Later "" for none.
	EarlierDate, LaterDate   string
	State                    string // What forecasts do with it, a sentence.
	Tests                    []testWords
	Values                   []valueRow // The one that counts first.
	Verdicts                 []string   // The one that counts first.
	Judged                   bool
	Enter                    enterForm
	Grower                   bool
}

// valueRow is a value that a day has or had.
type valueRow struct{ Low, High, Source, Flag, Hour, When string }

// enterForm enters or corrects a day by hand.
type enterForm struct {
	Date, Low, High string // As they were typed.
	Unit            string
	Was             int    // Values that the day had when the form was shown.
	Replaces        string // What would be replaced, to be confirmed; "" for nothing.
	DateFault       string
	LowFault        string
	HighFault       string
}

// dayPage shows a day.
func (p *Pages) dayPage(v *visit) error {
	d, err := weather.ParseDate(v.Param("date"))
	if err != nil {
		return errNoPage
	}
	return p.showDay(v, http.StatusOK, d, dayView{})
}

// showDay renders a day; page holds what a form has left.
func (p *Pages) showDay(v *visit, status int, d weather.Date, page dayView) error {
	ctx, station := v.Request().Context(), v.Param("station")
	s, err := p.Store.Station(ctx, v.farm.ID, station)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	if d > today {
		return errNoPage
	}
	h, err := p.Store.DayHistory(ctx, v.farm.ID, station, d)
	if err != nil {
		return err
	}
	k, err := p.known(v, station)
	if err != nil {
		return err
	}
	page.Station, page.Base, page.ISO, page.Date = s.Name, stationPath(v, station), d.String(), DayYear(&v.farm, d)
	page.Earlier, page.EarlierDate = (d - 1).String(), dateNear(&v.farm, d-1, today)
	if d < today {
		page.Later, page.LaterDate = (d + 1).String(), dateNear(&v.farm, d+1, today)
	}
	if page.Done == "" {
		page.Done = done[v.QueryParam("done")]
	}
	page.Grower = v.may(api.Grower)
	units := v.farm.Units
	for _, x := range slices.Backward(h.Values) {
		row := valueRow{
			Low: temperature(x.Min, units), High: temperature(x.Max, units), Source: sourceWords(x.Source), Flag: x.Flag,
			When: moment(&v.farm, x.ReceivedAt.In(v.zone), today),
		}
		if x.Hour != 0 {
			row.Hour = fmt.Sprintf("read at %d o'clock", x.Hour)
		}
		page.Values = append(page.Values, row)
	}
	for _, w := range slices.Backward(h.Verdicts) {
		said := "The word before was taken back"
		if w.Verdict != nil {
			said = verdictWords(*w.Verdict)
		}
		page.Verdicts = append(page.Verdicts, said+" ("+moment(&v.farm, w.RecordedAt.In(v.zone), today)+")")
	}
	page.Judged = len(h.Verdicts) > 0 && h.Verdicts[len(h.Verdicts)-1].Verdict != nil
	page.State = "Nothing is on record of this day."
	if k.record.Days.Len() > 0 {
		sifted := k.sifted()
		for _, x := range sifted.Suspects {
			if x.Date == d {
				t := testNames[x.Test]
				page.Tests = append(page.Tests, testWords{t.letter, t.words, figuresOf(&v.farm, lowHigh(x.Detail))})
			}
		}
		_, used := sifted.Days.At(d)
		switch {
		case len(h.Values) > 0 && used:
			page.State = "Forecasts use this day."
		case len(h.Values) > 0:
			page.State = "Forecasts leave this day out."
		}
	}
	page.Enter.Date, page.Enter.Unit = d.String(), degreeUnit(&v.farm)
	if page.Enter.Was == 0 {
		page.Enter.Was = len(h.Values)
	}
	return p.render(v, status, v, "weather-day", page.Date+", "+s.Name, page)
}

// enterDay takes a day that somebody has typed. What would be replaced is shown
// first, unless the form has shown it already.
func (p *Pages) enterDay(v *visit) error {
	ctx, station := v.Request().Context(), v.Param("station")
	form := enterForm{Date: strings.TrimSpace(v.FormValue("date")), Low: strings.TrimSpace(v.FormValue("low")), High: strings.TrimSpace(v.FormValue("high"))}
	form.Was, _ = strconv.Atoi(v.FormValue("was"))
	today, err := p.today(v)
	if err != nil {
		return err
	}
	d, fault := readDate(form.Date, v.farm.Units)
	if fault == "" && d > today {
		fault = "is after today, " + Day(&v.farm, today)
	}
	if fault != "" {
		form.DateFault = fault
		return p.showStation(v, http.StatusUnprocessableEntity, stationPage{Enter: form})
	}
	var lo, hi float64
	lo, form.LowFault = readNumber(form.Low, v.farm.Units)
	hi, form.HighFault = readNumber(form.High, v.farm.Units)
	if form.LowFault != "" || form.HighFault != "" {
		return p.showDay(v, http.StatusUnprocessableEntity, d, dayView{Enter: form})
	}
	unit := weather.Celsius
	if v.farm.Units == forecast.US {
		unit = weather.Fahrenheit
	}
	b, err := weather.NewBatch(unit, today)
	if err != nil {
		return err
	}
	b.AddNumbers(1, d.String(), &lo, &hi)
	r, err := b.Done()
	if err != nil {
		return err
	}
	if len(r.Days) == 0 {
		reason := r.Refused[0].Reason
		if rest, ok := strings.CutPrefix(reason, "max "); ok {
			form.HighFault = "cannot be: " + rest
		} else {
			form.LowFault = "cannot be: " + lowHigh(strings.TrimPrefix(reason, "min "))
		}
		return p.showDay(v, http.StatusUnprocessableEntity, d, dayView{Enter: form})
	}
	h, err := p.Store.DayHistory(ctx, v.farm.ID, station, d)
	if err != nil {
		return err
	}
	said := "added"
	if n := len(h.Values); n > 0 {
		was := h.Values[n-1]
		switch {
		case was.Day == r.Days[0]:
			said = "same"
		case form.Was != n:
			form.Was = n
			form.Replaces = fmt.Sprintf("%s has a low of %s and a high of %s, from %s. They would be replaced by %s and %s.",
				DayYear(&v.farm, d), temperature(was.Min, v.farm.Units), temperature(was.Max, v.farm.Units), sourceWords(was.Source),
				temperature(r.Days[0].Min, v.farm.Units), temperature(r.Days[0].Max, v.farm.Units))
			return p.showDay(v, http.StatusOK, d, dayView{Enter: form})
		default:
			said = "fixed"
		}
	}
	delivery := weather.Delivery{Source: "by hand, " + v.who.Name, Days: r.Days}
	if _, err := forecast.Deliver(ctx, p.Store, v.farm.ID, station, delivery, p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, stationPath(v, station)+"/day/"+d.String()+"?done="+said)
}

var (
	anyMin = regexp.MustCompile(`\b(the )?min\b`)
	anyMax = regexp.MustCompile(`\b(the )?max\b`)
)

// lowHigh says low and high for min and max.
func lowHigh(text string) string {
	return anyMax.ReplaceAllString(anyMin.ReplaceAllString(text, "the low"), "the high")
}

const noteMost = 500 // Characters of a note.

// giveVerdict records what somebody says of a day.
func (p *Pages) giveVerdict(v *visit) error {
	ctx, station := v.Request().Context(), v.Param("station")
	d, err := weather.ParseDate(v.FormValue("date"))
	if err != nil {
		return errNoPage
	}
	w := &weather.Verdict{Date: d, By: v.who.Name, Note: strings.TrimSpace(v.FormValue("note"))}
	said, to := "verdict", stationPath(v, station)+"/day/"+d.String()+"?"
	if v.FormValue("back") != "day" {
		to = stationPath(v, station) + "?"
		if b, err := weather.ParseDate(v.FormValue("before")); err == nil {
			to += "before=" + b.String() + "&"
		}
	}
	switch v.FormValue("use") {
	case "yes":
		w.Use = true
	case "no":
	case "rule":
		w, said = nil, "taken"
	default:
		return errNoPage
	}
	if w != nil && len([]rune(w.Note)) > noteMost {
		return p.showStation(v, http.StatusUnprocessableEntity, stationPage{Fault: fmt.Sprintf("The note on %s has more than %d characters: nothing was recorded.", DayYear(&v.farm, d), noteMost)})
	}
	days := []weather.Date{d}
	if text := v.FormValue("through"); text != "" {
		if days, err = p.doubted(v, station, d, text); err != nil {
			return err
		}
		said = map[string]string{"verdict": "run", "taken": "norun"}[said]
	}
	for _, d := range days {
		if w != nil {
			w.Date = d
		}
		if _, err := p.Store.PutVerdict(ctx, v.farm.ID, station, d, w, v.who.By(), p.Now()); err != nil {
			return err
		}
	}
	return v.Redirect(http.StatusSeeOther, to+"done="+said+"#d-"+url.PathEscape(d.String()))
}

// doubted returns the days from first through the one that text says which are
// doubted; without any there is no such run.
func (p *Pages) doubted(v *visit, station string, first weather.Date, text string) ([]weather.Date, error) {
	last, err := weather.ParseDate(text)
	if err != nil {
		return nil, errNoPage
	}
	x, err := p.lookAt(v, station)
	if err != nil {
		return nil, err
	}
	var days []weather.Date
	for _, s := range x.health.Suspects { // By date.
		if first <= s.Date && s.Date <= last && (len(days) == 0 || days[len(days)-1] != s.Date) {
			days = append(days, s.Date)
		}
	}
	if len(days) == 0 {
		return nil, errNoPage
	}
	return days, nil
}

// setHours accepts the hours of reading that were proposed, or takes the days
// as civil days again.
func (p *Pages) setHours(v *visit) error {
	values, err := v.FormParams()
	if err != nil {
		return errNoPage
	}
	hours, said := []weather.ReadingHour{}, "civil"
	for _, text := range values["hour"] {
		said = "hours"
		date, hour, _ := strings.Cut(text, " ")
		d, err := weather.ParseDate(date)
		n, herr := strconv.Atoi(hour)
		if err != nil || herr != nil || n < 1 || n > 24 || len(hours) > 0 && d <= hours[len(hours)-1].From {
			return errNoPage
		}
		hours = append(hours, weather.ReadingHour{From: d, Hour: n})
	}
	if said == "civil" && v.FormValue("civil") == "" {
		return errNoPage
	}
	station := v.Param("station")
	if _, err := p.Store.PutReadingHours(v.Request().Context(), v.farm.ID, station, hours, v.who.By(), p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, stationPath(v, station)+"?done="+said)
}
