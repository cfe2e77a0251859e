package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/quality"
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
	Corrected int          `json:"corrected" doc:"Days that had other values, or another flag or hour of their source; those are kept in the history."`
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

// DaysPreview says what sending a body would do.
type DaysPreview struct {
	Format       string             `json:"format" doc:"That was told by the content; empty for JSON of days."`
	Unit         string             `json:"unit" doc:"The unit the values were taken in."`
	Understood   []FindingOut       `json:"understood" doc:"How the file was read."`
	Questions    []QuestionOut      `json:"questions" doc:"What the file leaves open; until it is answered nothing can be read."`
	From         *weather.Date      `json:"from" doc:"First day, or null."`
	To           *weather.Date      `json:"to" doc:"Last day, or null."`
	First        []PreviewDay       `json:"first" doc:"The first days, °C."`
	Holes        []HoleOut          `json:"holes" doc:"Runs of dates without a row, between its days."`
	Blank        int                `json:"blank" doc:"Dates for which the source says that it has nothing."`
	ReadingHours *ReadingHoursGuess `json:"reading_hours" doc:"At which hour the thermometers seem to be read, or null."`
	DaysReport
}

// FindingOut is one thing that was understood of a file.
type FindingOut struct {
	What  string `json:"what" example:"decimal sign"`
	Found string `json:"found" example:"comma"`
}

// QuestionOut is something that a file leaves open.
type QuestionOut struct {
	Option  string   `json:"option" doc:"The parameter that answers it." example:"dates"`
	Text    string   `json:"text"`
	Choices []string `json:"choices" doc:"The answers there are."`
}

// PreviewDay is a day of a file, °C.
type PreviewDay struct {
	Date weather.Date `json:"date"`
	Min  float64      `json:"min"`
	Max  float64      `json:"max"`
}

// DaysOut is a record, or a part of it.
type DaysOut struct {
	Station string    `json:"station"`
	Days    []DayOut  `json:"days"`
	Holes   []HoleOut `json:"holes" doc:"Runs of dates without a record, inside the record, both ends included."`
}

// DayOut is a day on record, °C, as it was delivered.
type DayOut struct {
	Date   weather.Date `json:"date"`
	Min    float64      `json:"min"`
	Max    float64      `json:"max"`
	Source string       `json:"source"`
	Marks  []string     `json:"marks" doc:"The tests that doubt it; source is one that the source has made itself."`
	Used   bool         `json:"used" doc:"False: forecasts leave it out."`
}

// HoleOut is a run of dates without a record.
type HoleOut struct {
	From weather.Date `json:"from"`
	To   weather.Date `json:"to"`
}

type postDays struct {
	StationPath
	FileParams
	AllOrNothing bool `query:"all_or_nothing" doc:"Keep nothing if one row is bad."`
}

type previewDays struct {
	StationPath
	FileParams
}

// FileParams are a weather file and what it may not say of itself.
type FileParams struct {
	ContentType   string `header:"Content-Type" required:"false" doc:"application/json, text/csv, text/plain, or that of the packing."`
	Encoding      string `header:"Content-Encoding" required:"false" doc:"gzip, or nothing."`
	Format        string `query:"format" required:"false" doc:"Of a file that cannot be told by its content."`
	Unit          string `query:"unit" enum:"C,F,tenths" required:"false" doc:"Of a file that does not tell; tenths are tenths of °C."`
	Dates         string `query:"dates" enum:"dmy,mdy,ymd" required:"false" doc:"Order of day, month and year, of a file whose dates can be read in more than one."`
	Column        string `query:"column" required:"false" doc:"Heading of the temperature column to take, of a file that has several."`
	SourceStation string `query:"source_station" required:"false" doc:"The source's own identifier of the station to take, of a file that has several."`
	RawBody       []byte
}

type getDays struct {
	StationPath
	From    string    `query:"from" format:"date" required:"false" doc:"First date, included. Default: the first on record."`
	To      string    `query:"to" format:"date" required:"false" doc:"Last date, included. Default: the last on record."`
	KnownAt time.Time `query:"known_at" required:"false" doc:"Read the record as it was known at this instant."`
}

const daysAbout = "Sends daily extremes, as JSON or as a weather file as it is (gzip and zip allowed), whose format is told by its content. " +
	"A plain CSV has a header with date, min and max (or tmin and tmax), with _c or _f for the unit. " +
	"Idempotent; a correction keeps the earlier value."

const previewAbout = "Reads a body as POST …/days would, by the same readers, and keeps nothing: what was understood of the file, " +
	"its first days, its span and holes, what is suspect, and what would be added and corrected. " +
	"What the file leaves open comes as questions, each with the parameter that answers it."

func filesBody(days *huma.Schema, text *huma.MediaType) *huma.RequestBody {
	packed := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	return &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
		"application/json": {Schema: days}, "text/csv": text, "text/plain": text,
		"application/gzip": packed, "application/zip": packed,
	}}
}

func (s *Server) dayRoutes() {
	schema := schemaOf[DaysIn](s)
	text := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString}}
	add(s, Grower, long(huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/stations/{station}/days", OperationID: "post-days", Tags: []string{"Weather"},
		Summary: "Send days", Description: daysAbout, DefaultStatus: http.StatusOK,
		MaxBodyBytes: filesLimit, BodyReadTimeout: fileTime,
		RequestBody: filesBody(schema, text),
		Errors:      []int{http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType},
	}), s.addDays)
	add(s, Reader, long(huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/stations/{station}/days/preview", OperationID: "preview-days", Tags: []string{"Weather"},
		Summary: "See what sending days would do", Description: previewAbout, DefaultStatus: http.StatusOK,
		MaxBodyBytes: filesLimit, BodyReadTimeout: fileTime, RequestBody: filesBody(schema, text),
		Errors: []int{http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType},
	}), s.previewDays)
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/stations/{station}/days", OperationID: "get-days", Tags: []string{"Weather"},
		Summary: "Read days", Description: "°C. Holes lie inside the record.",
	}, s.days)
}

func (s *Server) addDays(ctx context.Context, in *postDays) (*got[DaysReport], error) {
	out, err := s.AddDays(ctx, in.StationPath, &in.FileParams, in.AllOrNothing)
	if err != nil {
		return nil, err
	}
	return &got[DaysReport]{*out}, nil
}

// AddDays takes in a body of days as POST …/days does, for a caller who may; the
// pages call it too. A body none of whose days is good is a [*Problem], one that
// cannot be read an error of package weather.
func (s *Server) AddDays(ctx context.Context, at StationPath, in *FileParams, allOrNothing bool) (*DaysReport, error) {
	r, source, err := s.readDays(ctx, at, in)
	if err != nil {
		return nil, err
	}
	out := DaysReport{Received: r.Received, Refused: refusedOut(r.Refused)}
	if len(r.Days) == 0 || allOrNothing && len(r.Refused) > 0 {
		return nil, refusedDays(out.Refused, source == sourceJSON)
	}
	d := weather.Delivery{Source: source, Days: r.Days, Remarks: r.Remarks}
	done, err := forecast.Deliver(ctx, s.store, at.Farm, at.Station, d, s.now())
	if err != nil {
		return nil, err
	}
	out.Added, out.Corrected, out.Unchanged = done.Added, done.Corrected, done.Unchanged+r.Repeats
	out.Suspect = suspectsOut(done.Suspects)
	return &out, nil
}

// previewRows is how many days of a file a preview shows.
const previewRows = 10

func (s *Server) previewDays(ctx context.Context, in *previewDays) (*got[DaysPreview], error) {
	out, err := s.PreviewDays(ctx, in.StationPath, &in.FileParams)
	if err != nil {
		return nil, err
	}
	return &got[DaysPreview]{*out}, nil
}

// PreviewDays says what AddDays would do with a body. What the body leaves open
// are questions and no error.
func (s *Server) PreviewDays(ctx context.Context, at StationPath, in *FileParams) (*DaysPreview, error) {
	record, err := s.store.Record(ctx, at.Farm, at.Station, nil)
	if err != nil {
		return nil, err
	}
	r, source, err := s.readDays(ctx, at, in)
	if fe, ok := errors.AsType[*weather.FileError](err); ok && len(fe.Questions()) > 0 {
		out := DaysPreview{Holes: []HoleOut{}, First: []PreviewDay{}, Understood: []FindingOut{}, DaysReport: DaysReport{Refused: []RefusedDay{}, Suspect: []SuspectDay{}}}
		for _, q := range fe.Questions() {
			out.Questions = append(out.Questions, QuestionOut(q))
		}
		return &out, nil
	}
	if err != nil {
		return nil, err
	}
	days, err := s.store.Days(ctx, at.Farm, at.Station, nil, nil, nil)
	if err != nil {
		return nil, err
	}
	remarks := make(map[weather.Date]weather.Remark, len(days))
	for _, d := range days {
		remarks[d.Date] = d.Remark
	}
	p, err := forecast.PreviewDelivery(record, remarks, weather.Delivery{Source: source, Days: r.Days, Remarks: r.Remarks})
	if err != nil {
		return nil, err
	}
	out := DaysPreview{
		Format: r.Format, Unit: string(r.Unit), Questions: []QuestionOut{}, Understood: findingsOut(r.Findings),
		DaysReport: DaysReport{
			Received: r.Received, Added: p.Added, Corrected: p.Corrected, Unchanged: p.Unchanged + r.Repeats,
			Refused: refusedOut(r.Refused), Suspect: suspectsOut(p.Suspects),
		},
		First: []PreviewDay{}, Holes: holesOut(p.Holes), Blank: r.Blank,
	}
	for _, d := range r.Days[:min(len(r.Days), previewRows)] {
		out.First = append(out.First, PreviewDay(d))
	}
	if n := len(r.Days); n > 0 {
		out.From, out.To = &r.Days[0].Date, &r.Days[n-1].Date
	}
	if p.Hour != nil {
		out.ReadingHours = guessOut(*p.Hour)
	}
	return &out, nil
}

func findingsOut(list []weather.Finding) []FindingOut {
	out := make([]FindingOut, 0, len(list))
	for _, f := range list {
		out = append(out, FindingOut(f))
	}
	return out
}

func refusedOut(list []weather.Refusal) []RefusedDay {
	out := make([]RefusedDay, 0, len(list))
	for _, x := range list {
		out = append(out, RefusedDay(x))
	}
	return out
}

func suspectsOut(list []quality.Suspect) []SuspectDay {
	out := make([]SuspectDay, 0, len(list))
	for _, x := range list {
		out = append(out, SuspectDay{x.Date, string(x.Test), x.Detail})
	}
	return out
}

func holesOut(list []weather.Hole) []HoleOut {
	out := make([]HoleOut, 0, len(list))
	for _, h := range list {
		out = append(out, HoleOut(h))
	}
	return out
}

const sourceJSON = "json"

// readDays reads a body by its Content-Type.
func (s *Server) readDays(ctx context.Context, at StationPath, in *FileParams) (*weather.Reading, string, error) {
	opt, ct, err := s.fileOptions(ctx, at, in)
	if err != nil {
		return nil, "", err
	}
	if in.Format == "" && ct != "text/csv" && ct != "text/plain" {
		body, err := weather.Unpack(bytes.NewReader(in.RawBody))
		if err != nil {
			return nil, "", err
		}
		if ownJSON(body) {
			r, err := readJSONDays([]byte(body), opt.Latest)
			return r, sourceJSON, err
		}
	}
	r, err := weather.Read(bytes.NewReader(in.RawBody), opt)
	if err != nil {
		return nil, "", err
	}
	return r, "file " + r.Format, nil
}

// fileOptions returns how a file sent for a station is to be read, and its media
// type.
func (s *Server) fileOptions(ctx context.Context, at StationPath, in *FileParams) (opt weather.ReadOptions, ct string, err error) {
	farm, err := s.store.Farm(ctx, at.Farm)
	if err != nil {
		return opt, "", err
	}
	if _, err := s.store.Station(ctx, at.Farm, at.Station); err != nil {
		return opt, "", err
	}
	today, err := farm.Today(s.now())
	if err != nil {
		return opt, "", err
	}
	zone, err := farm.Location()
	if err != nil {
		return opt, "", err
	}
	ct, _, err = mime.ParseMediaType(in.ContentType)
	if err != nil && in.ContentType != "" {
		ct = in.ContentType
	}
	if e := strings.ToLower(in.Encoding); e != "" && e != "gzip" && e != "identity" {
		return opt, "", unsupported("Content-Encoding may be gzip or nothing")
	}
	if !slices.Contains(fileTypes, ct) {
		return opt, "", unsupported("Content-Type must be application/json, text/csv or text/plain, or that of a packed file: application/gzip or application/zip")
	}
	return weather.ReadOptions{
		Format: in.Format, Unit: weather.Unit(in.Unit), Dates: weather.DateOrder(in.Dates), Column: in.Column,
		Station: in.SourceStation, Zone: zone, Latest: today,
	}, ct, nil
}

// fileTypes are the types that a body of days may have; "" and those of a
// packing leave it to the content.
var fileTypes = []string{
	"", jsonType, "text/csv", "text/plain", "application/gzip", "application/x-gzip", "application/zip",
	"application/x-zip-compressed", "application/octet-stream",
}

// ownJSON reports whether a body is JSON of our own form, or so broken that it
// is not of any: then the faults of our own form are the ones to tell.
func ownJSON(body string) bool {
	if !strings.HasPrefix(strings.TrimSpace(body), "{") {
		return !strings.HasPrefix(strings.TrimSpace(body), "[")
	}
	var m map[string]json.RawMessage
	if err := json.Unmarshal([]byte(body), &m); err != nil {
		return true
	}
	_, unit := m["unit"]
	_, days := m["days"]
	return unit || days || len(m) == 0
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
		f := Fault{Detail: "row " + itoa(r.Row) + " (" + r.Date + "): " + r.Reason}
		if fromJSON {
			f.Pointer = "/days/" + itoa(r.Row-1)
		}
		p.Errors = append(p.Errors, f)
	}
	return p
}

func (s *Server) days(ctx context.Context, in *getDays) (*got[DaysOut], error) {
	var errs []error
	from, to := dateParam("from", in.From, &errs), dateParam("to", in.To, &errs)
	if err := invalid(errs); err != nil {
		return nil, err
	}
	var known *time.Time
	if !in.KnownAt.IsZero() {
		known = &in.KnownAt
	}
	r, err := s.record(ctx, recordKey{farm: in.Farm, station: in.Station}, known)
	if err != nil {
		return nil, err
	}
	out := DaysOut{Station: in.Station, Days: []DayOut{}, Holes: []HoleOut{}}
	for i, d := range r.days {
		if (from == nil || d.Date >= *from) && (to == nil || d.Date <= *to) {
			_, left := slices.BinarySearch(r.leftOut, d.Date)
			m := r.marks[d.Date]
			if m == nil {
				m = []string{}
			}
			out.Days = append(out.Days, DayOut{d.Date, d.Min, d.Max, d.Source, m, !left})
		}
		if i == 0 {
			continue
		}
		hole := HoleOut{r.days[i-1].Date + 1, d.Date - 1}
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

// record is all that is on record of a station, for a hole may begin before the
// part that is asked for, and what is suspect shows only beside the rest.
type record struct {
	days    []StationDay
	marks   map[weather.Date][]string // The tests that doubt a day.
	leftOut []weather.Date            // In order.
}

// recordKey names a record as it was in a state.
type recordKey struct{ farm, station, state string }

const recordsKept = 8 // A megabyte or two each.

// record returns a station's record as it is known now, which is kept, or was
// known at an instant. The key has no state.
func (s *Server) record(ctx context.Context, key recordKey, known *time.Time) (*record, error) {
	if known != nil {
		return s.readRecord(ctx, key, known)
	}
	var err error
	if key.state, err = s.store.StationState(ctx, key.farm, key.station); err != nil {
		return nil, err
	}
	return s.records.Get(ctx, key, func(ctx context.Context) (*record, bool, error) {
		r, err := s.readRecord(ctx, key, nil)
		if err != nil {
			return nil, false, err
		}
		// What was recorded while it was read belongs to another key.
		after, err := s.store.StationState(ctx, key.farm, key.station)
		return r, after == key.state, err
	})
}

func (s *Server) readRecord(ctx context.Context, key recordKey, known *time.Time) (*record, error) {
	days, err := s.store.Days(ctx, key.farm, key.station, nil, nil, known)
	if err != nil {
		return nil, err
	}
	of, err := s.store.Record(ctx, key.farm, key.station, known)
	if err != nil && !errors.Is(err, forecast.ErrStationNotFound) { // It was not known then.
		return nil, err
	}
	r := &record{days: days, marks: map[weather.Date][]string{}}
	if _, last, ok := of.Days.Span(); ok {
		sifted := of.Sift(last)
		r.leftOut = sifted.LeftOut
		for _, x := range sifted.Suspects {
			if t := string(x.Test); !slices.Contains(r.marks[x.Date], t) {
				r.marks[x.Date] = append(r.marks[x.Date], t)
			}
		}
	}
	return r, nil
}
