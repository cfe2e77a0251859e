package announce

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"github.com/gorilla/feeds"

	"ripetide/forecast"
	"ripetide/weather"
)

// mostChanges is how many changes a feed tells, the latest.
const mostChanges = 50

// change is one entry of the feed.
type change struct {
	id          string
	at          time.Time
	title, text string
}

// Changes writes a feed, by RFC 4287, of what the farm has decided and changed,
// in words for everybody. Each is told as it could be told then: a day that was
// still far off by its week or part of a month. From [Near] days before a day on
// another entry names it. An entry never changes, but for how the farm is called
// and reached. The page is where people find more, "" for nowhere.
func (t *Told) Changes(now time.Time, page string) ([]byte, error) {
	zone, err := t.Farm.Location()
	if err != nil {
		return nil, err
	}
	l := t.Language()
	var all []change
	for _, s := range t.decisions() {
		// A day that was decided again, with another note or on another forecast, is
		// no change to anybody.
		days := slices.CompactFunc(s.versions, sameDay)
		for i, d := range days {
			id := fmt.Sprintf("%d/%s/%d", s.year, s.kind, d.Version)
			then := weather.DateIn(d.DecidedAt.In(zone))
			title, text := l.change(s.kind, i > 0 && days[i-1].Day != nil, d.Day, then)
			all = append(all, change{id, d.DecidedAt, title, text})
			if d.Day == nil || s.kind == forecast.DecidePeakWeek || *d.Day-Near <= then {
				continue
			}
			near := midnight(*d.Day-Near, zone)
			if near.After(now) || i+1 < len(days) && !days[i+1].DecidedAt.After(near) {
				continue
			}
			title = l.tell(openingNear)
			if s.kind == forecast.DecideClosing {
				title = l.tell(closingNear)
			}
			_, text = l.change(s.kind, false, d.Day, *d.Day-Near)
			all = append(all, change{id + "/near", near, title, text})
		}
	}
	slices.SortStableFunc(all, func(a, b change) int { return cmp.Or(b.at.Compare(a.at), cmp.Compare(a.id, b.id)) })
	all = all[:min(len(all), mostChanges)]

	updated := cmp.Or(t.MadeAt, time.Unix(0, 0))
	if len(all) > 0 {
		updated = all[0].at
	}
	f := (&feeds.Atom{Feed: &feeds.Feed{
		Title: l.tell(feedTitle, "farm", t.Farm.Name), Updated: updated.UTC().Truncate(time.Second), Author: &feeds.Author{Name: t.Farm.Name},
	}}).AtomFeed()
	f.Id, f.Link = t.urn(""), nil
	if page != "" {
		f.Link = &feeds.AtomLink{Href: page, Rel: "alternate", Type: "text/html"}
	}
	for _, c := range all {
		at := c.at.UTC().Truncate(time.Second).Format(time.RFC3339)
		f.Entries = append(f.Entries, &feeds.AtomEntry{
			Id: t.urn(c.id), Title: c.title, Updated: at, Published: at,
			Content: &feeds.AtomContent{Type: "text", Content: c.text},
		})
	}
	var out bytes.Buffer
	err = feeds.WriteXML(f, &out)
	return out.Bytes(), err
}

// sameDay reports whether two versions of a decision say the same to people.
func sameDay(a, b forecast.Decision) bool {
	if a.Day == nil || b.Day == nil {
		return a.Day == b.Day
	}
	return *a.Day == *b.Day
}

// change says what was decided of a kind, as it could be told on a day; moved
// says that another day had been told before.
func (l *Language) change(kind forecast.DecisionKind, moved bool, day *weather.Date, today weather.Date) (title, text string) {
	titles := map[forecast.DecisionKind][3]phrase{
		forecast.DecideOpening:  {openingSet, openingMoved, openingBack},
		forecast.DecidePeakWeek: {peakSet, peakMoved, peakBack},
		forecast.DecideClosing:  {closingSet, closingMoved, closingBack},
	}[kind]
	switch {
	case day == nil && kind == forecast.DecidePeakWeek:
		return l.tell(titles[2]), l.tell(weekBack)
	case day == nil:
		return l.tell(titles[2]), l.tell(dayBack)
	case moved:
		title = l.tell(titles[1])
	default:
		title = l.tell(titles[0])
	}
	d := *day
	switch kind {
	case forecast.DecidePeakWeek: // A week is no single day, however far off.
		return title, l.say(peak, "a", l.Date(d), "b", l.Date(d+6)) + " " + l.Caution()
	case forecast.DecideClosing:
		return title, l.closing(d, today)
	}
	s := State{Today: today, Forecast: &forecast.Forecast{}, Decisions: []forecast.Decision{{Kind: kind, Day: day, Version: 1}}}
	text = l.Opening(s)
	if !s.IsOpen() {
		text += " " + l.Caution()
	}
	return title, text
}

// closing says a last day as [Language.Opening] says a first one.
func (l *Language) closing(d, today weather.Date) string {
	monday, sunday := weekOf(d)
	switch {
	case d < today:
		return l.tell(closeWas, "a", l.Date(d))
	case d-today <= Near:
		return l.tell(closeDay, "a", l.Date(d))
	case d-today <= 2*Near:
		return l.tell(closeWeek, "a", l.Date(monday), "b", l.Date(sunday))
	}
	return l.tell(closePart, "part", l.parts(d, d))
}

// midnight is when a civil date begins in a zone.
func midnight(d weather.Date, zone *time.Location) time.Time {
	y, m, n := d.Civil()
	return time.Date(y, m, n, 0, 0, 0, 0, zone)
}

// urn names a thing of the farm for ever and everywhere the same: a UUID of
// version 8 (RFC 9562), made from what the thing is.
func (t *Told) urn(what string) string {
	h := sha256.Sum256([]byte("ripetide\n" + t.Farm.ID + "\n" + what))
	h[6], h[8] = h[6]&0x0f|0x80, h[8]&0x3f|0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", h[:4], h[4:6], h[6:8], h[8:10], h[10:16])
}
