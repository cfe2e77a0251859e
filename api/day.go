package api

import (
	"context"
	"encoding/json"
	"mime"
	"net/http"
	"strings"
	"time"

	"bytes"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/weather"
)

// DayIn is one day as it is sent, in the unit of its body.
type DayIn struct {
	Date string   `json:"date" format:"date"`
	Min  *float64 `json:"min" doc:"Lowest temperature of the day."`
	Max  *float64 `json:"max" doc:"Highest temperature of the day."`
}

// DaysIn is the JSON body of days.
type DaysIn struct {
	Unit string  `json:"unit" enum:"C,F" doc:"Of min and max: never guessed."`
	Days []DayIn `json:"days" doc:"Good ones are kept, bad ones refused one by one."`
}

// DaysReport says what became of the rows that were sent:
// received = added + corrected + unchanged + len(refused).
type DaysReport struct {
	Received  int          `json:"received"`
	Added     int          `json:"added"`
	Corrected int          `json:"corrected" doc:"Days that had other values; those are kept in the history."`
	Unchanged int          `json:"unchanged"`
	Refused   []RefusedDay `json:"refused"`
	Suspect   []SuspectDay `json:"suspect" doc:"Among the first three: kept, but a person should look."`
}

// RefusedDay is a row that was not kept.
type RefusedDay struct {
	Row    int    `json:"row" doc:"Counts rows of data from 1."`
	Date   string `json:"date" doc:"As it was sent."`
	Reason string `json:"reason"`
}

// SuspectDay is a day that was kept although it looks wrong.
type SuspectDay struct {
	Date   weather.Date `json:"date"`
	Test   string       `json:"test"`
	Detail string       `json:"detail"`
}

// DaysOut is a record, or a part of it.
type DaysOut struct {
	Station string    `json:"station"`
	Days    []DayOut  `json:"days"`
	Holes   []HoleOut `json:"holes" doc:"Runs of dates without a record, inside the record, both ends included."`
}

// DayOut is a day on record, °C.
type DayOut struct {
	Date   weather.Date `json:"date"`
	Min    float64      `json:"min"`
	Max    float64      `json:"max"`
	Source string       `json:"source"`
	Marks  []string     `json:"marks"`
}

// HoleOut is a run of dates without a record.
type HoleOut struct {
	From weather.Date `json:"from"`
	To   weather.Date `json:"to"`
}

type postDays struct {
	StationPath
	ContentType  string `header:"Content-Type" required:"false" doc:"application/json, text/csv or text/plain."`
	Encoding     string `header:"Content-Encoding" required:"false" doc:"gzip, or nothing."`
	Unit         string `query:"unit" enum:"C,F" required:"false" doc:"Of a file that does not tell."`
	Format       string `query:"format" required:"false" doc:"Of a file that cannot be told by its content."`
	AllOrNothing bool   `query:"all_or_nothing" doc:"Keep nothing if one row is bad."`
	RawBody      []byte
}

type getDays struct {
	StationPath
	From    string    `query:"from" format:"date" required:"false" doc:"First date, included. Default: the first on record."`
	To      string    `query:"to" format:"date" required:"false" doc:"Last date, included. Default: the last on record."`
	KnownAt time.Time `query:"known_at" required:"false" doc:"Read the record as it was known at this instant."`
}

const daysAbout = "Sends daily extremes, as JSON or as a weather file as it is (gzip allowed). " +
	"A plain CSV has a header with date, min and max (or tmin and tmax), with _c or _f for the unit. " +
	"Idempotent; a correction keeps the earlier value."

func (s *Server) dayRoutes() {
	schema := schemaOf[DaysIn](s)
	text := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString}}
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/stations/{station}/days", OperationID: "post-days", Tags: []string{"Weather"},
		Summary: "Send days", Description: daysAbout, DefaultStatus: http.StatusOK,
		MaxBodyBytes: filesLimit, BodyReadTimeout: fileTime,
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			"application/json": {Schema: schema}, "text/csv": text, "text/plain": text,
			"application/gzip": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}},
		}},
		Errors: []int{http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType},
	}, s.addDays)
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/stations/{station}/days", OperationID: "get-days", Tags: []string{"Weather"},
		Summary: "Read days", Description: "°C. Holes lie inside the record.",
	}, s.days)
}

func (s *Server) addDays(ctx context.Context, in *postDays) (*got[DaysReport], error) {
	farm, err := s.store.Farm(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	if _, err := s.store.Station(ctx, in.Farm, in.Station); err != nil {
		return nil, err
	}
	today, err := farm.Today(s.now())
	if err != nil {
		return nil, err
	}
	r, source, err := readDays(in, today)
	if err != nil {
		return nil, err
	}
	out := DaysReport{Received: r.Received, Refused: []RefusedDay{}, Suspect: []SuspectDay{}}
	for _, x := range r.Refused {
		out.Refused = append(out.Refused, RefusedDay{x.Row, x.Date, x.Reason})
	}
	if len(r.Days) == 0 || in.AllOrNothing && len(r.Refused) > 0 {
		return nil, refusedDays(out.Refused, source == sourceJSON)
	}
	out.Added, out.Corrected, out.Unchanged, err = s.store.AddDays(ctx, in.Farm, in.Station, r.Days, source, s.now())
	if err != nil {
		return nil, err
	}
	out.Unchanged += r.Repeats
	return &got[DaysReport]{out}, nil
}

const sourceJSON = "json"

// readDays reads a body by its Content-Type.
func readDays(in *postDays, today weather.Date) (*weather.Reading, string, error) {
	ct, _, err := mime.ParseMediaType(in.ContentType)
	if err != nil && in.ContentType != "" {
		ct = in.ContentType
	}
	if e := strings.ToLower(in.Encoding); e != "" && e != "gzip" && e != "identity" {
		return nil, "", unsupported("Content-Encoding may be gzip or nothing")
	}
	if ct == "" || ct == "application/gzip" || ct == "application/x-gzip" {
		// Without a type, or with that of the wrapping, the content tells.
		body, err := weather.Unpack(bytes.NewReader(in.RawBody))
		if err != nil {
			return nil, "", err
		}
		ct = "text/csv"
		if strings.HasPrefix(strings.TrimSpace(body), "{") {
			ct = "application/json"
		}
	}
	switch ct {
	case "application/json":
		body, err := weather.Unpack(bytes.NewReader(in.RawBody))
		if err != nil {
			return nil, "", err
		}
		r, err := readJSONDays([]byte(body), today)
		return r, sourceJSON, err
	case "text/csv", "text/plain":
		r, err := weather.Read(bytes.NewReader(in.RawBody), weather.ReadOptions{
			Format: in.Format, Unit: weather.Unit(in.Unit), Latest: today,
		})
		if err != nil {
			return nil, "", err
		}
		return r, "file " + r.Format, nil
	}
	return nil, "", unsupported("Content-Type must be application/json, text/csv or text/plain")
}

func readJSONDays(raw []byte, today weather.Date) (*weather.Reading, error) {
	m, err := readObject(raw, "unit", "days")
	if err != nil {
		return nil, err
	}
	var unit weather.Unit
	if err := json.Unmarshal(m["unit"], &unit); err != nil || unit != weather.Celsius && unit != weather.Fahrenheit {
		return nil, oneFault("/unit", `must be "C" or "F"`)
	}
	items, err := readItems(m["days"], "days")
	if err != nil {
		return nil, err
	}
	b, err := weather.NewBatch(unit, today)
	if err != nil {
		return nil, err
	}
	for i, raw := range items {
		var d DayIn
		if reason := readItem(raw, &d); reason != "" {
			b.Refuse(i+1, d.Date, reason)
			continue
		}
		b.AddNumbers(i+1, d.Date, d.Min, d.Max)
	}
	return b.Done()
}

// refusedDays is the problem of a body none of whose days was kept.
func refusedDays(rows []RefusedDay, fromJSON bool) error {
	p := &Problem{
		Type: "/problems/none-good", Title: "Nothing in the list was good", Status: http.StatusUnprocessableEntity,
		Detail: "nothing was kept",
	}
	for _, r := range rows {
		f := Fault{Detail: r.Reason}
		if fromJSON {
			f.Pointer = "/days/" + itoa(r.Row-1)
		}
		f.Detail = "row " + itoa(r.Row) + " (" + r.Date + "): " + r.Reason
		p.Errors = append(p.Errors, f)
	}
	return p
}

func (s *Server) days(ctx context.Context, in *getDays) (*got[DaysOut], error) {
	if _, err := s.store.Station(ctx, in.Farm, in.Station); err != nil {
		return nil, err
	}
	var errs []error
	from, to := dateParam("from", in.From, &errs), dateParam("to", in.To, &errs)
	if err := invalid(errs); err != nil {
		return nil, err
	}
	var known *time.Time
	if !in.KnownAt.IsZero() {
		known = &in.KnownAt
	}
	// The whole record, for a hole may begin before the part that is asked for.
	all, err := s.store.Days(ctx, in.Farm, in.Station, nil, nil, known)
	if err != nil {
		return nil, err
	}
	out := DaysOut{Station: in.Station, Days: make([]DayOut, 0, len(all)), Holes: []HoleOut{}}
	for i, d := range all {
		if (from == nil || d.Date >= *from) && (to == nil || d.Date <= *to) {
			out.Days = append(out.Days, DayOut{d.Date, d.Min, d.Max, d.Source, []string{}})
		}
		if i == 0 {
			continue
		}
		hole := HoleOut{all[i-1].Date + 1, d.Date - 1}
		if from != nil {
			hole.From = max(hole.From, *from)
		}
		if to != nil {
			hole.To = min(hole.To, *to)
		}
		if hole.From <= hole.To {
			out.Holes = append(out.Holes, hole)
		}
	}
	return &got[DaysOut]{out}, nil
}
