package pages

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/weather/feed"
)

// feedView is a feed with what came of its last fetches.
type feedView struct {
	ID, Kind, What string
	Schedule       string
	State          string // Of the last fetch, a sentence.
	Bad            bool   // It went wrong.
	Paused, Model  bool
	Where          string // Address, station and contact, where there are any.
	Key            bool   // One is on record.
	Runs           []runRow
}

// runRow is a fetch.
type runRow struct{ When, Outcome, Detail, Days string }

// feedKinds are the services as people know them.
var feedKinds = map[feed.Kind]struct{ name, what string }{
	feed.NWS:       {"US National Weather Service", "outlooks"},
	feed.OpenMeteo: {"Open-Meteo", "outlooks, and a model's past days"},
	feed.ACIS:      {"ACIS, regional climate centers (US)", "observed days"},
	feed.NCEI:      {"NCEI daily summaries", "observed days"},
}

// outcomes are the outcomes of a fetch as people say them.
var outcomes = map[feed.Outcome]string{
	feed.New:       "Something new",
	feed.Unchanged: "Nothing new",
	feed.Stale:     "Too old",
	feed.Failed:    "Did not work",
	feed.Refused:   "Refused",
}

const runsListed = 5

// feeds are the feeds of a station.
func (p *Pages) feeds(v *visit, x *look) ([]feedView, error) {
	jobs, err := p.Store.StationFeeds(v.Request().Context(), v.farm.ID, x.record.Station.ID)
	if err != nil {
		return nil, err
	}
	out := make([]feedView, 0, len(jobs))
	for _, j := range jobs {
		runs, err := p.Store.FeedRuns(v.Request().Context(), j.Key(), runsListed)
		if err != nil {
			return nil, err
		}
		out = append(out, x.feedView(j, runs))
	}
	return out, nil
}

func (x *look) feedView(j feed.Job, runs []api.FeedRun) feedView {
	c := j.Spec
	k := feedKinds[c.Kind]
	f := feedView{ID: c.ID, Kind: k.name, What: k.what, Paused: c.Paused, Model: c.Kind == feed.OpenMeteo, Key: c.Key != ""}
	f.Schedule = "Every " + count(int(c.Every/time.Hour), "hour", "hours")
	switch due := j.Due(x.now); {
	case c.Paused:
		f.Schedule += ", but it rests"
	case due.After(x.now):
		f.Schedule += ", next about " + x.moment(due)
	default:
		f.Schedule += ", next in a moment"
	}
	f.State = "It was never fetched."
	for i, r := range runs {
		row := runRow{When: x.moment(r.StartedAt), Outcome: outcomes[r.Outcome], Detail: sentence(r.Detail)}
		var days []string
		for _, n := range []struct {
			n    int
			what string
		}{{r.Stored.Added, "added"}, {r.Stored.Corrected, "corrected"}, {r.Stored.Kept, "left as entered"}} {
			if n.n > 0 {
				days = append(days, fmt.Sprintf("%d %s", n.n, n.what))
			}
		}
		if r.OutlookIssuedAt != nil {
			days = append(days, "outlook of "+x.moment(*r.OutlookIssuedAt))
		}
		row.Days = strings.Join(days, ", ")
		f.Runs = append(f.Runs, row)
		if i == 0 {
			f.State = row.Outcome + ", " + ago(x.now, r.StartedAt) + "."
			f.Bad = r.Outcome == feed.Failed || r.Outcome == feed.Refused
		}
	}
	if f.Bad && !j.State.LastOK.IsZero() {
		f.State += " It last worked " + ago(x.now, j.State.LastOK) + "."
	}
	var where []string
	for _, t := range []struct{ what, text string }{{"station", c.SourceStation}, {"address", c.Address}, {"contact", c.Contact}} {
		if t.text != "" {
			where = append(where, t.what+" "+t.text)
		}
	}
	f.Where = strings.Join(where, ", ")
	return f
}

const feedTerms = "Look up the terms of the service before you use it. Open-Meteo's free service is for non-commercial use: a farm that sells fruit may need its paid one, with a key. " +
	"Its past days are a model's and not a thermometer's: a station of its own should hold them. A feed never writes over what somebody else has entered."

// editFeed changes a feed, or adds one where the address names none.
func (p *Pages) editFeed(v *visit) error {
	ctx, station := v.Request().Context(), v.Param("station")
	s, err := p.Store.Station(ctx, v.farm.ID, station)
	if err != nil {
		return err
	}
	key := feed.Key{Farm: v.farm.ID, Station: station, Feed: v.Param("feed")}
	was := feed.Spec{Every: 3 * time.Hour}
	fresh := key.Feed == ""
	if !fresh {
		j, err := p.Store.Feed(ctx, key)
		if err != nil {
			return err
		}
		was = j.Spec
	}
	f := newForm(v, "The feed "+key.Feed+" of "+s.Name, "Save", stationPath(v, station)+"#feeds")
	if fresh {
		f.page.Heading, f.page.Submit = "Add a feed to "+s.Name, "Add the feed"
	}
	f.page.Intro = feedTerms
	var kinds []string
	for _, k := range []feed.Kind{feed.NWS, feed.OpenMeteo, feed.ACIS, feed.NCEI} {
		kinds = append(kinds, string(k), feedKinds[k].name+": "+feedKinds[k].what)
	}
	f.add(field{Name: "kind", Label: "Service", Kind: "select", Value: string(was.Kind), Groups: choices(append([]string{"", "Choose"}, kinds...)...)})
	if fresh {
		f.add(field{Name: "id", Label: "Short name", Optional: true, Hint: "made from the service", Help: "Small letters, digits and hyphens. It stays for good."})
	}
	f.add(field{
		Name: "source_station", Label: "The service's name for the station", Value: was.SourceStation, Optional: true, Hint: "USC00200230",
		Help: "Needed for ACIS and NCEI. The others are asked for the place of the station.",
	})
	f.add(field{
		Name: "contact", Label: "Contact", Value: was.Contact, Optional: true, Hint: "you@farm.example",
		Help: "An e-mail or web address that the service finds when it wants to complain. The US National Weather Service needs it.",
	})
	f.add(field{Name: "every", Label: "Hours between two fetches", Value: strconv.Itoa(int(was.Every / time.Hour)), Unit: "hours", Mode: "numeric", Help: "1 to 24."})
	more := f.section("An address or a key of its own", "")
	more.Fold = true
	f.add(field{Name: "address", Label: "Address", Value: was.Address, Optional: true, Hint: "the service's own", Help: "Of a service that answers like it, https://host/path."})
	help := "For Open-Meteo's paid service. It is kept, sent to the service, and never shown again."
	if was.Key != "" {
		help = "One is on record and is never shown. Left empty, it stays, unless the service or the address changes."
	}
	f.add(field{Name: "key", Label: "Key", Optional: true, Help: help})
	if f.posted {
		spec := feed.Spec{
			ID: key.Feed, Kind: feed.Kind(f.value("kind")), Address: f.value("address"), SourceStation: f.value("source_station"),
			Key: feed.Secret(f.value("key")), Contact: f.value("contact"), Paused: was.Paused,
		}
		if fresh {
			jobs, err := p.Store.StationFeeds(ctx, v.farm.ID, station)
			if err != nil {
				return err
			}
			taken := func(slug string) bool {
				for _, j := range jobs {
					if j.Spec.ID == slug {
						return true
					}
				}
				return false
			}
			if spec.ID = f.value("id"); spec.ID == "" {
				spec.ID = freeSlug(string(spec.Kind), "feed", taken)
			} else if taken(spec.ID) {
				f.fault("id", "is taken by another feed of this station")
			}
		}
		hours := f.number("every", 1, 0)
		spec.Every = time.Duration(hours * float64(time.Hour))
		if spec.Every%time.Hour != 0 {
			f.fault("every", "must be a whole number of hours")
		}
		if spec.Kind == "" {
			f.fault("kind", "must be chosen")
		}
		for _, fault := range spec.Validate() {
			f.fault(fault.Field, fault.Reason)
		}
		if !f.faulty() {
			key.Feed = spec.ID
			if _, err := p.Store.PutFeed(ctx, key, spec, v.who.By(), p.Now()); err != nil {
				return err
			}
			return v.Redirect(http.StatusSeeOther, stationPath(v, station)+"?done=feed#feeds")
		}
		f.fields["key"].Value = "" // Never shown again, not even to be corrected.
	}
	return p.show(f, "weather-feed", f.page.Heading)
}

// feedInAddress is the feed that a form is about.
func feedInAddress(v *visit) feed.Key {
	return feed.Key{Farm: v.farm.ID, Station: v.Param("station"), Feed: v.Param("feed")}
}

// fetchFeed fetches a feed now.
func (p *Pages) fetchFeed(v *visit) error {
	_, err := p.Feeds.Once(v.Request().Context(), feedInAddress(v))
	if soon, ok := errors.AsType[*feed.TooSoonError](err); ok {
		at := soon.At.In(v.zone)
		today, terr := p.today(v)
		if terr != nil {
			return terr
		}
		return p.showStation(v, http.StatusConflict, stationPage{Fault: "It is too soon to fetch that again. It may be asked again from " + moment(&v.farm, at, today) + "."})
	}
	if errors.Is(err, feed.ErrBusy) {
		return p.showStation(v, http.StatusConflict, stationPage{Fault: "It is being fetched right now: look again in a moment."})
	}
	if err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, stationPath(v, v.Param("station"))+"?done=fetched#feeds")
}

// pauseFeed lets a feed rest, or go on.
func (p *Pages) pauseFeed(v *visit) error {
	key := feedInAddress(v)
	j, err := p.Store.Feed(v.Request().Context(), key)
	if err != nil {
		return err
	}
	j.Spec.Paused = v.FormValue("rest") == "yes"
	said := "resumed"
	if j.Spec.Paused {
		said = "paused"
	}
	j.Spec.Key = "" // The one on record stays.
	if _, err := p.Store.PutFeed(v.Request().Context(), key, j.Spec, v.who.By(), p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, stationPath(v, key.Station)+"?done="+said+"#feeds")
}

// removeFeed takes a feed away.
func (p *Pages) removeFeed(v *visit) error {
	key := feedInAddress(v)
	if err := p.Store.RemoveFeed(v.Request().Context(), key, v.who.By(), p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, stationPath(v, key.Station)+"?done=removed#feeds")
}
