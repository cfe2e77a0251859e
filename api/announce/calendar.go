package announce

import (
	"bytes"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"ripetide/forecast"
	"ripetide/weather"
)

// refresh is how often a program that subscribes may ask again.
const refresh = "PT4H"

// Calendar writes the farm's calendar by RFC 5545: an event for each opening,
// heaviest week and last day that was ever decided, as it was decided last, and
// if the farm wants it one for when each variety is expected. Decisions and
// estimates have identifiers of their own, so that none takes the place of
// another. It depends on nothing but t.
func (t *Told) Calendar() ([]byte, error) {
	l := t.Language()
	c := ics.NewCalendar()
	c.SetProductId("-//ripetide//" + l.Tag)
	c.SetMethod(ics.MethodPublish)
	c.SetCalscale("GREGORIAN")
	c.SetName(l.tell(calendarName, "farm", t.Farm.Name))
	c.SetRefreshInterval(refresh) // Its VALUE comes from the library.
	c.SetXPublishedTTL(refresh)
	for _, s := range t.decisions() {
		t.decisionEvent(c, l, s)
	}
	if t.Announcing.Windows && t.Forecast != nil {
		t.windowEvents(c, l)
	}
	if len(c.Components) == 0 { // A calendar must hold something, by section 3.4.
		utc := c.AddTimezone("UTC").AddStandard()
		utc.SetProperty(ics.ComponentPropertyDtStart, "19700101T000000")
		utc.SetProperty("TZOFFSETFROM", "+0000")
		utc.SetProperty("TZOFFSETTO", "+0000")
	}
	var out bytes.Buffer
	err := c.SerializeTo(&out, ics.WithNewLineWindows)
	return out.Bytes(), err
}

// eventOf are the summaries by what was decided.
var eventOf = map[forecast.DecisionKind]phrase{
	forecast.DecideOpening: openingEvent, forecast.DecidePeakWeek: peakEvent, forecast.DecideClosing: closingEvent,
}

// decisionEvent adds what was decided last. A decision that was taken back stays,
// cancelled, on the day it had: programs would else keep what they have read.
func (t *Told) decisionEvent(c *ics.Calendar, l *Language, s season) {
	now := s.versions[len(s.versions)-1]
	day, cancelled := now.Day, now.Day == nil
	for _, d := range slices.Backward(s.versions) {
		if day == nil {
			day = d.Day
		}
	}
	if day == nil {
		return // The database does not keep such.
	}
	days := weather.Date(1)
	if s.kind == forecast.DecidePeakWeek {
		days = 7
	}
	e := t.event(c, fmt.Sprintf("%d-%s", s.year, strings.ReplaceAll(string(s.kind), "_", "-")), *day, *day+days)
	e.SetCreatedTime(s.versions[0].DecidedAt)
	e.SetDtStampTime(now.DecidedAt)
	e.SetModifiedAt(now.DecidedAt)
	e.SetSequence(now.Version - 1)
	e.SetSummary(l.tell(eventOf[s.kind], "farm", t.Farm.Name))
	if cancelled {
		e.SetStatus(ics.ObjectStatusCancelled)
		e.SetDescription(l.tell(takenBack))
		return
	}
	e.SetStatus(ics.ObjectStatusConfirmed)
	e.SetDescription(lines(sentence(t.Announcing.Hours), t.Announcing.Phone, l.Caution()))
	if t.Announcing.Where != "" {
		e.SetLocation(t.Announcing.Where)
	}
	if u, err := url.Parse(t.Announcing.Website); err == nil && u.Host != "" {
		e.SetURL(u.String())
	}
}

// event adds an event of whole days in the farm's civil dates, the last of which
// is the one before end. None of them makes anybody busy.
func (t *Told) event(c *ics.Calendar, id string, from, end weather.Date) *ics.VEvent {
	e := c.AddEvent(id + "." + t.Farm.ID + "@ripetide")
	e.SetAllDayStartAt(from.Time())
	e.SetAllDayEndAt(end.Time())
	e.SetTimeTransparency(ics.TransparencyTransparent)
	return e
}

// windowEvents adds when each variety is expected to be ripe, by the middle dates
// of its first and its last planting.
func (t *Told) windowEvents(c *ics.Calendar, l *Language) {
	f := t.Forecast
	begin, _ := forecast.SeasonBounds(f.Season, t.Farm.Southern())
	// Later forecasts are made later, and a change must count up.
	sequence := int(t.MadeAt.Sub(begin.Time().Add(-48*time.Hour)) / time.Minute)
	var order []string
	windows := map[string]forecast.StageDates{}
	for _, p := range f.Plantings {
		if p.Stages == nil {
			continue
		}
		w, there := windows[p.Variety]
		if !there {
			order = append(order, p.Variety)
			w = *p.Stages
		}
		if p.Stages.FirstRipe.P50 < w.FirstRipe.P50 {
			w.FirstRipe = p.Stages.FirstRipe
		}
		if p.Stages.LastPick.P50 > w.LastPick.P50 {
			w.LastPick = p.Stages.LastPick
		}
		windows[p.Variety] = w
	}
	for _, id := range order {
		w, name := windows[id], t.Varieties[id]
		if name == "" {
			name = id
		}
		e := t.event(c, fmt.Sprintf("%d-window-%s", f.Season, id), w.FirstRipe.P50, w.LastPick.P50+1)
		e.SetDtStampTime(t.MadeAt)
		e.SetModifiedAt(t.MadeAt)
		e.SetSequence(max(sequence, 0))
		e.SetStatus(ics.ObjectStatusTentative)
		e.SetSummary(l.tell(windowEvent, "variety", name))
		e.SetDescription(lines(
			l.tell(windowNote, "a", l.Date(f.AsOf)),
			l.about(w.FirstRipe, firstAbout, firstOn, firstSeen),
			l.about(w.LastPick, lastAbout, lastOn, lastSeen),
			l.Caution(),
		))
	}
}

// about says a date with its range, or that it was seen.
func (l *Language) about(r forecast.DateRange, about, on, seen phrase) string {
	switch {
	case r.Seen != nil:
		return l.tell(seen, "a", l.Date(*r.Seen))
	case r.P10 == r.P90:
		return l.tell(on, "a", l.Date(r.P50))
	}
	return l.tell(about, "a", l.Date(r.P50), "b", l.Date(r.P10), "c", l.Date(r.P90))
}

// lines joins what is not empty.
func lines(ss ...string) string {
	return strings.Join(slices.DeleteFunc(ss, func(s string) bool { return s == "" }), "\n")
}
