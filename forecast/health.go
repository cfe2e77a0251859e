package forecast

import (
	"slices"
	"time"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// Health is how a station's record stands on a morning: what a person must
// know of it before they trust a forecast.
type Health struct {
	Station     string
	First, Last *weather.Date // Of the record; nil without one.
	Days        int           // On record.
	DaysOld     int           // Days missing since Last, up to yesterday.
	Holes       []weather.Hole
	Suspects    []quality.Suspect     // Of the whole record, by date.
	LeftOut     []weather.Date        // Days that forecasts do not use, in order.
	Hours       []weather.ReadingHour // At which the thermometers are read, as it is set.
	Misfit      string                // See [Sifted]; "" is the usual.
	// Proposal is at which hour the thermometers seem to be read, where that is
	// not what is set; nil otherwise.
	Proposal *quality.Guess
	StandIn  *StandInHealth // Nil without a stand-in.
	Leaning  Leaning
	// OutlookAt is when the newest outlook was issued; nil without one.
	OutlookAt *time.Time
}

// StandInHealth is how a station compares with the one that stands in for it.
type StandInHealth struct {
	Station string
	Offsets StandInOffsets
	Used    bool // They have enough days in common.
	Lent    int  // Days that it lends, of the whole record.
	// LentDays are those days, moved to the station's place, in order.
	LentDays []weather.Day
}

// Leaning is how far this season's forecast leans on days that were not
// observed at the station.
type Leaning struct {
	Season      int
	From, To    weather.Date // The days of the season that count so far, both included.
	Days        int          // Their number.
	Bridged     int          // In holes of up to three days: on a straight line between their neighbours.
	Lent        int          // From the stand-in.
	OtherYears  int          // From the mean of other years: no record has them.
	PastSeasons int          // That can be replayed for the days ahead, with the stand-in's.
}

// StationHealth returns the health of a station on the morning asOf. remarks
// are those of the station's days, in their order; nil: their sources make
// none. It returns [ErrStationNotFound] if the inputs have no such station.
func StationHealth(in Inputs, station string, remarks []weather.Remark, asOf weather.Date) (*Health, error) {
	i := slices.IndexFunc(in.Records, func(r Record) bool { return r.Station.ID == station })
	if i < 0 {
		return nil, ErrStationNotFound
	}
	r := in.Records[i]
	h := &Health{Station: station, Hours: r.Hours, Holes: r.Days.Until(asOf - 1).Holes(), Days: r.Days.Until(asOf - 1).Len()}
	sifted := r.Sift(asOf - 1)
	h.Suspects, h.LeftOut, h.Misfit = sifted.Suspects, sifted.LeftOut, sifted.Misfit
	if first, last, ok := r.Days.Until(asOf - 1).Span(); ok {
		h.First, h.Last = &first, &last
		h.DaysOld = int(asOf - 1 - last)
	}
	if g, ok := quality.GuessHour(r.Days.Days(), remarks); ok && !slices.Equal(g.Hours, r.Hours) {
		h.Proposal = &g
	}
	if n := len(r.Outlooks); n > 0 {
		at := r.Outlooks[n-1].IssuedAt
		h.OutlookAt = &at
	}
	var standIn weather.Series
	if j := slices.IndexFunc(in.Records, func(o Record) bool { return o.Station.ID == r.Station.StandIn }); j >= 0 {
		standIn = in.Records[j].Sift(asOf - 1).Days
	}
	filled := newRecord(sifted.Days, standIn)
	if r.Station.StandIn != "" {
		_, enough := compareStations(sifted.Days, standIn)
		h.StandIn = &StandInHealth{Station: r.Station.StandIn, Offsets: filled.offset, Used: enough, Lent: filled.lent.Len(), LentDays: filled.lent.Days()}
	}
	h.Leaning = leaning(filled, asOf, in.Farm.Southern())
	return h, nil
}

// leaning counts the days since the spring clock started.
func leaning(r *record, asOf weather.Date, southern bool) Leaning {
	l := Leaning{Season: SeasonOf(asOf, southern)}
	first, last := SeasonBounds(l.Season, southern)
	l.From, l.To = winterEnd(l.Season, southern)+1, min(asOf-1, last)
	if l.To < l.From {
		l.From = first
	}
	if r.empty() {
		l.Days = max(0, int(l.To-l.From)+1)
		l.OtherYears = l.Days
		return l
	}
	for d := l.From; d <= l.To; d++ {
		l.Days++
		_, own := r.own.At(d)
		_, lent := r.lent.At(d)
		_, away := r.at(d)
		switch {
		case own:
		case lent:
			l.Lent++
		case away:
			l.OtherYears++
		default:
			l.Bridged++
		}
	}
	l.PastSeasons = len(usableYears(r, asOf, max(first-1, r.last()), southern))
	return l
}
