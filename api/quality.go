package api

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/quality"
)

// ReadingHoursBody is when a station's thermometers are read.
type ReadingHoursBody struct {
	Hours []ReadingHourBody `json:"hours" maxItems:"100" doc:"In order of date; empty: the days are civil days."`
}

// ReadingHourBody is the hour of reading from a date on.
type ReadingHourBody struct {
	From string `json:"from" format:"date" doc:"First date on which it holds."`
	Hour int    `json:"hour" minimum:"1" maximum:"24" doc:"Local hour; 24 is midnight. Before 11 the highest temperature belongs to the day before."`
}

// ReadingHoursGuess proposes a setting; a person decides.
type ReadingHoursGuess struct {
	ReadingHoursBody
	Evidence string `json:"evidence" doc:"Why, in one sentence."`
}

type readingHoursIn struct {
	StationPath
	Body ReadingHoursBody
}

// hours returns the setting, or its faults.
func (b ReadingHoursBody) hours() ([]weather.ReadingHour, []error) {
	hours := make([]weather.ReadingHour, 0, len(b.Hours))
	var errs []error
	for i, h := range b.Hours {
		d, err := weather.ParseDate(h.From)
		field := "hours[" + strconv.Itoa(i) + "].from"
		switch {
		case err != nil: // The schema has told it.
			continue
		case len(hours) > 0 && d <= hours[len(hours)-1].From:
			errs = append(errs, &forecast.FieldError{Field: field, Reason: "must be later than the one before"})
		}
		hours = append(hours, weather.ReadingHour{From: d, Hour: h.Hour})
	}
	return hours, errs
}

// Resolve adds the faults that the schema cannot tell.
func (in *readingHoursIn) Resolve(huma.Context) []error {
	_, errs := in.Body.hours()
	return errs
}

func readingHoursOut(hours []weather.ReadingHour) ReadingHoursBody {
	out := ReadingHoursBody{Hours: make([]ReadingHourBody, 0, len(hours))}
	for _, h := range hours {
		out.Hours = append(out.Hours, ReadingHourBody{h.From.String(), h.Hour})
	}
	return out
}

func guessOut(g quality.Guess) *ReadingHoursGuess {
	return &ReadingHoursGuess{readingHoursOut(g.Hours), g.Evidence}
}

// VerdictBody is what a person says of a day.
type VerdictBody struct {
	Use  bool   `json:"use" doc:"False: forecasts leave the day out."`
	By   string `json:"by" minLength:"1" maxLength:"100" doc:"Who decided."`
	Note string `json:"note" maxLength:"500" required:"false" doc:"Why."`
}

// VerdictOut is a verdict as it was recorded.
type VerdictOut struct {
	Date       weather.Date `json:"date"`
	Use        *bool        `json:"use" doc:"Null: the verdict before was taken back."`
	By         string       `json:"by"`
	Note       string       `json:"note"`
	RecordedAt time.Time    `json:"recorded_at"`
	RecordedBy string       `json:"recorded_by" doc:"The key or command."`
}

// DayPath is the part of a path that names a day of a station.
type DayPath struct {
	StationPath
	Date string `path:"date" format:"date" doc:"A civil date at the station."`
}

type verdictIn struct {
	DayPath
	Body VerdictBody
}

// Resolve adds the faults that the schema cannot tell.
func (in *verdictIn) Resolve(huma.Context) []error {
	var errs []error
	if strings.TrimSpace(in.Body.By) == "" {
		errs = append(errs, &forecast.FieldError{Field: "by", Reason: "is needed"})
	}
	return errs
}

// DayHistoryOut is everything that was ever recorded of a day.
type DayHistoryOut struct {
	Station  string        `json:"station"`
	Date     weather.Date  `json:"date"`
	Values   []DayRevision `json:"values" doc:"Each took the place of the one before; the last counts."`
	Verdicts []VerdictOut  `json:"verdicts" doc:"The last counts."`
	Suspect  []SuspectDay  `json:"suspect" doc:"What tests say of the day as it is now."`
	Used     bool          `json:"used" doc:"False: there is no value, or forecasts leave it out."`
}

// DayRevision is a day as it was delivered once, °C.
type DayRevision struct {
	Min        float64   `json:"min"`
	Max        float64   `json:"max"`
	Source     string    `json:"source"`
	Flag       string    `json:"flag" doc:"In what it failed its source's own tests; empty: in nothing."`
	Hour       *int      `json:"hour" doc:"Local hour of the reading, or null."`
	ReceivedAt time.Time `json:"received_at"`
}

func (s *Server) qualityRoutes() {
	const station = "/v1/farms/{farm}/stations/{station}"
	tags := []string{"Weather"}
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: station + "/reading-hours", OperationID: "put-reading-hours", Tags: tags,
		Summary:     "Say when the thermometers are read",
		Description: "A reader in the morning writes down the highest temperature of the day before: with an hour before 11 it is moved there. Days as they were delivered stay as they are; forecasts use them moved.",
	}, func(ctx context.Context, in *readingHoursIn) (*put[ReadingHoursBody], error) {
		hours, _ := in.Body.hours()
		created, err := s.store.PutReadingHours(ctx, in.Farm, in.Station, hours, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		return putDone(created, readingHoursOut(hours)), nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: station + "/reading-hours", OperationID: "get-reading-hours", Tags: tags,
		Summary: "Read when the thermometers are read",
	}, func(ctx context.Context, in *StationPath) (*got[ReadingHoursBody], error) {
		r, err := s.store.Record(ctx, in.Farm, in.Station, nil)
		if err != nil {
			return nil, err
		}
		return &got[ReadingHoursBody]{readingHoursOut(r.Hours)}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: station + "/days/{date}", OperationID: "get-day-history", Tags: tags,
		Summary: "Read everything that was ever recorded of a day", Description: "°C, as delivered.",
	}, s.dayHistory)
	add(s, Grower, huma.Operation{
		Method: http.MethodPut, Path: station + "/days/{date}/verdict", OperationID: "put-verdict", Tags: tags,
		Summary: "Overrule the tests", Description: "Says whether forecasts use the day, whatever tests say of it. Earlier verdicts stay in the history.",
	}, func(ctx context.Context, in *verdictIn) (*put[DayHistoryOut], error) {
		d, err := weather.ParseDate(in.Date)
		if err != nil {
			return nil, err
		}
		v := &weather.Verdict{Date: d, Use: in.Body.Use, By: strings.TrimSpace(in.Body.By), Note: strings.TrimSpace(in.Body.Note)}
		created, err := s.store.PutVerdict(ctx, in.Farm, in.Station, d, v, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		h, err := s.dayHistory(ctx, &in.DayPath)
		if err != nil {
			return nil, err
		}
		return putDone(created, h.Body), nil
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodDelete, Path: station + "/days/{date}/verdict", OperationID: "delete-verdict", Tags: tags,
		Summary: "Take a verdict back", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *DayPath) (*struct{}, error) {
		d, err := weather.ParseDate(in.Date)
		if err != nil {
			return nil, err
		}
		_, err = s.store.PutVerdict(ctx, in.Farm, in.Station, d, nil, by(ctx), s.now())
		return nil, err
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: station + "/health", OperationID: "get-station-health", Tags: tags,
		Summary:     "See how a station's record stands",
		Description: "Last record, holes, suspects, late corrections, stand-in, and how far this season's forecast leans on days that were not observed.",
	}, s.stationHealth)
}

func (s *Server) dayHistory(ctx context.Context, in *DayPath) (*got[DayHistoryOut], error) {
	d, err := weather.ParseDate(in.Date)
	if err != nil {
		return nil, err
	}
	h, err := s.store.DayHistory(ctx, in.Farm, in.Station, d)
	if err != nil {
		return nil, err
	}
	out := DayHistoryOut{Station: in.Station, Date: d, Values: []DayRevision{}, Verdicts: []VerdictOut{}, Suspect: []SuspectDay{}, Used: len(h.Values) > 0}
	for _, v := range h.Values {
		out.Values = append(out.Values, DayRevision{v.Min, v.Max, v.Source, v.Flag, some(int(v.Hour)), v.ReceivedAt})
	}
	for _, v := range h.Verdicts {
		x := VerdictOut{Date: d, By: v.RecordedBy, RecordedAt: v.RecordedAt, RecordedBy: v.RecordedBy}
		if v.Verdict != nil {
			x.Use, x.By, x.Note = &v.Verdict.Use, v.Verdict.By, v.Verdict.Note
		}
		out.Verdicts = append(out.Verdicts, x)
	}
	r, err := s.store.Record(ctx, in.Farm, in.Station, nil)
	if err != nil {
		return nil, err
	}
	if _, last, ok := r.Days.Span(); ok {
		sifted := r.Sift(last)
		_, used := sifted.Days.At(d)
		out.Used = out.Used && used
		for _, x := range sifted.Suspects {
			if x.Date == d {
				out.Suspect = append(out.Suspect, SuspectDay{x.Date, string(x.Test), x.Detail})
			}
		}
	}
	return &got[DayHistoryOut]{out}, nil
}
