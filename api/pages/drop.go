package pages

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/weather"
)

// A weather file is shown first and kept then. The service keeps no copy of it
// in between: the browser's script sends it again, and without a script people
// choose it again. What was shown is named by its hash, so that another file is
// not kept unseen.

// filePage is a weather file that was sent.
type filePage struct {
	Station, Base string
	Fault         string   // Why it cannot be read; "" if it can.
	Faults        []string // Row by row.
	Hint          string   // What to do about it.
	Note          string
	Name, Size    string
	Answers       []answer // Given so far, to be sent again.
	Questions     []question
	Preview       *filePreview
	Kept          *fileReport
	Seen          string // Hash of the file that is shown.
	Limit         string
}

type answer struct{ Option, Value string }

// question is what a file leaves open.
type question struct {
	Option, Title, Text string
	Choices             []choice
}

type choice struct{ Value, Text string }

// filePreview is what a file holds and what keeping it would do.
type filePreview struct {
	Lines      []string
	Understood []api.FindingOut
	First      []fileDay
	Unit       string
	Holes      []string
	MoreHoles  int
	Hours      string
	Nothing    bool // No row can be kept.
	fileRows
}

// fileReport is what became of a file.
type fileReport struct {
	Lines []string
	fileRows
}

// fileRows are the rows to look at.
type fileRows struct {
	Refused      []refusedRow
	MoreRefused  int
	Suspects     []suspectRow
	MoreSuspects int
}

type fileDay struct{ Date, Low, High string }

type refusedRow struct {
	Row          int
	Date, Reason string
}

type suspectRow struct{ ISO, Date, Test, Figures string }

const (
	fileTime  = 2 * time.Minute // For sending a file.
	rowsShown = 50
	// drained is how much of a file that is too large is still read, so that the
	// browser gets to see the answer.
	drained = 4 * weather.MaxBytes
)

// filePage is the form alone.
func (p *Pages) filePage(v *visit) error {
	return p.showFile(v, http.StatusOK, filePage{})
}

func (p *Pages) showFile(v *visit, status int, page filePage) error {
	s, err := p.Store.Station(v.Request().Context(), v.farm.ID, v.Param("station"))
	if err != nil {
		return err
	}
	page.Station, page.Base, page.Limit = s.Name, stationPath(v, s.ID), fmt.Sprintf("%d MiB", weather.MaxBytes>>20)
	return p.render(v, status, v, "weather-file", "A weather file for "+s.Name, page)
}

// sent is a form with a file.
type sent struct {
	fields map[string]string
	name   string
	body   []byte
}

var (
	errNoFile   = errors.New("pages: no file was sent")
	errTooLarge = fmt.Errorf("%w: file", weather.ErrTooLarge)
)

// readSent reads a form with a file, up to the limit.
func (p *Pages) readSent(v *visit) (*sent, error) {
	// The clock of the network is the machine's, also where a test has another.
	_ = http.NewResponseController(v.Response()).SetReadDeadline(time.Now().Add(fileTime)) //nolint:forbidigo // As above.
	r := v.Request()
	r.Body = http.MaxBytesReader(v.Response(), r.Body, drained)
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, errNoFile
	}
	out := &sent{fields: map[string]string{}}
	large := false
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, sendingFault(err)
		}
		if part.FormName() == "file" {
			out.name = part.FileName()
			if out.body, err = readPart(part, weather.MaxBytes); errors.Is(err, errTooLarge) {
				large = true
				if _, err := io.Copy(io.Discard, part); err != nil {
					return nil, sendingFault(err)
				}
			} else if err != nil {
				return nil, sendingFault(err)
			}
			continue
		}
		b, err := readPart(part, 4<<10)
		if err != nil {
			return nil, sendingFault(err)
		}
		out.fields[part.FormName()] = string(b)
	}
	switch {
	case large:
		return nil, errTooLarge
	case out.name == "" && len(out.body) == 0:
		return out, errNoFile
	}
	return out, nil
}

// readPart reads a part of at most so many bytes.
func readPart(part *multipart.Part, most int64) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(part, most+1))
	if err == nil && int64(len(b)) > most {
		err = errTooLarge
	}
	return b, err
}

// sendingFault is what an error while a form is read means.
func sendingFault(err error) error {
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok || errors.Is(err, errTooLarge) {
		return errTooLarge
	}
	return fmt.Errorf("%w: %w", weather.ErrDamaged, err)
}

// answerable are the options of a file, in the order in which they are sent.
var answerable = []string{weather.OptionUnit, weather.OptionDates, weather.OptionColumn, weather.OptionStation}

// takeFile shows a file, or keeps one that was shown.
func (p *Pages) takeFile(v *visit) error {
	done, err := p.API.Upload(v.Request().Context())
	if err != nil {
		return err
	}
	defer done()
	x, err := p.readSent(v)
	switch {
	case errors.Is(err, errNoFile):
		return p.showFile(v, http.StatusUnprocessableEntity, filePage{Fault: "No file was sent.", Hint: "Choose a file first."})
	case err != nil:
		return p.fileFault(v, filePage{}, err)
	}
	hash := sha256.Sum256(x.body)
	page := filePage{Name: x.name, Size: sizeWords(len(x.body)), Seen: hex.EncodeToString(hash[:12])}
	in := &api.FileParams{RawBody: x.body, ContentType: "text/plain"}
	if bytes.HasPrefix(bytes.TrimSpace(x.body), []byte("{")) { // It may be the service's own form of days.
		in.ContentType = ""
	}
	for option, to := range map[string]*string{
		weather.OptionUnit: &in.Unit, weather.OptionDates: &in.Dates, weather.OptionColumn: &in.Column, weather.OptionStation: &in.SourceStation,
	} {
		*to = x.fields[option]
	}
	for _, o := range answerable {
		if x.fields[o] != "" {
			page.Answers = append(page.Answers, answer{o, x.fields[o]})
		}
	}
	ctx, at := v.Request().Context(), api.StationPath{FarmPath: api.FarmPath{Farm: v.farm.ID}, Station: v.Param("station")}
	keep := x.fields["do"] == "keep"
	if keep && x.fields["seen"] != page.Seen {
		keep = false
		page.Note = "This is another file than the one that was shown, or it has changed since: look at it first. Nothing was kept."
	}
	if keep {
		var report *api.DaysReport
		err := p.API.Placed(ctx, func() (err error) {
			report, err = p.API.AddDays(ctx, at, in, false)
			return err
		})
		if err == nil {
			page.Kept = keptWords(v, report)
			return p.showFile(v, http.StatusOK, page)
		}
		if !errors.Is(err, weather.ErrAmbiguous) {
			return p.fileFault(v, page, err)
		}
	}
	var preview *api.DaysPreview
	err = p.API.Placed(ctx, func() (err error) {
		preview, err = p.API.PreviewDays(ctx, at, in)
		return err
	})
	if err != nil {
		return p.fileFault(v, page, err)
	}
	for _, q := range preview.Questions {
		page.Questions = append(page.Questions, questionWords(q))
	}
	if len(page.Questions) == 0 {
		page.Preview = previewWords(v, preview)
	}
	return p.showFile(v, http.StatusOK, page)
}

// fileFault says why a file is refused as a whole.
func (p *Pages) fileFault(v *visit, page filePage, err error) error {
	pr := p.API.Problem(v.Request().Context(), err)
	if pr.Status >= http.StatusInternalServerError {
		return err
	}
	if pr.Status == http.StatusNotFound {
		return err
	}
	page.Fault = sentence(pr.Title)
	if detail := pr.Detail; detail != "" {
		if errors.Is(err, weather.ErrUnknownFormat) { // Followed by the names of formats, for programs.
			if begins, _, ok := strings.Cut(detail, ", is none of: "); ok {
				detail = begins + ", is none that is read here"
			}
		}
		page.Fault += " " + sentence(detail)
	}
	for _, f := range pr.Errors[:min(len(pr.Errors), rowsShown)] {
		page.Faults = append(page.Faults, sentence(lowHigh(f.Detail)))
	}
	if n := len(pr.Errors) - rowsShown; n > 0 {
		page.Faults = append(page.Faults, fmt.Sprintf("And %d more.", n))
	}
	lower := strings.ToLower(page.Name)
	switch {
	case strings.HasSuffix(lower, ".xlsx"), strings.HasSuffix(lower, ".xls"), strings.HasSuffix(lower, ".ods"), strings.HasSuffix(lower, ".numbers"):
		page.Hint = "This is the workbook of a spreadsheet. Open it there, save the sheet as CSV, and drop that file."
	case errors.Is(err, weather.ErrTooLarge):
		page.Hint = fmt.Sprintf("A file may have %d MiB, packed or not. Send it in parts, year by year.", weather.MaxBytes>>20)
	case errors.Is(err, weather.ErrOutlook):
		page.Hint = "Outlooks are fetched by feeds, or sent by programs."
	case errors.Is(err, weather.ErrUnknownFormat), errors.Is(err, weather.ErrBadHeader):
		page.Hint = "Any table will do that has a heading, a column of dates and the low and high of each day, or the temperature by time: from a spreadsheet saved as CSV, a logger, or a weather service."
	}
	return p.showFile(v, pr.Status, page)
}

// sizeWords writes a number of bytes.
func sizeWords(n int) string {
	switch {
	case n < 10_000:
		return figure(float64(n)) + " bytes"
	case n < 1_000_000:
		return figure(float64(n)/1e3) + " kB"
	}
	return figure(float64(n)/1e6) + " MB"
}

// questionTitles and choiceTexts are the options and answers as people say
// them.
var (
	questionTitles = map[string]string{
		weather.OptionUnit: "In which unit are the temperatures?", weather.OptionDates: "In which order are the dates written?",
		weather.OptionColumn: "Which column is to be taken?", weather.OptionStation: "Which station is to be taken?",
	}
	choiceTexts = map[string]string{
		"unit C": "°C", "unit F": "°F", "unit tenths": "tenths of a °C",
		"dates dmy": "day, month, year", "dates mdy": "month, day, year", "dates ymd": "year, month, day",
	}
)

func questionWords(q api.QuestionOut) question {
	out := question{Option: q.Option, Title: cmp.Or(questionTitles[q.Option], q.Option), Text: q.Text}
	for _, c := range q.Choices {
		out.Choices = append(out.Choices, choice{c, cmp.Or(choiceTexts[q.Option+" "+c], c)})
	}
	return out
}

// unitWords writes the unit of a file.
func unitWords(unit string) string { return cmp.Or(choiceTexts["unit "+unit], unit) }

func previewWords(v *visit, r *api.DaysPreview) *filePreview {
	out := &filePreview{Understood: r.Understood, Unit: degreeUnit(&v.farm), fileRows: rowsOf(v, &r.DaysReport)}
	if r.From == nil {
		out.Nothing = true
		out.Lines = []string{"None of its " + count(r.Received, "row", "rows") + " can be kept."}
		if r.Received == 1 {
			out.Lines[0] = "Its only row cannot be kept."
		}
		return out
	}
	out.Lines = append(out.Lines, fmt.Sprintf("%s, from %s to %s, read in %s.",
		count(r.Added+r.Corrected+r.Unchanged, "day", "days"), DayYear(&v.farm, *r.From), DayYear(&v.farm, *r.To), unitWords(r.Unit)))
	out.Lines = append(out.Lines, "Kept, it "+actWords(&r.DaysReport)+".")
	if r.Blank > 0 {
		out.Lines = append(out.Lines, "Of "+count(r.Blank, "date", "dates")+" the source says itself that it has nothing.")
	}
	n := 0
	for _, h := range r.Holes {
		n += int(h.To-h.From) + 1
		if len(out.Holes) < rowsShown/5 {
			out.Holes = append(out.Holes, spanYears(v, h.From, h.To))
		}
	}
	out.MoreHoles = len(r.Holes) - len(out.Holes)
	if n == 0 {
		out.Lines = append(out.Lines, "No day is missing in between.")
	} else {
		out.Lines = append(out.Lines, fmt.Sprintf("%s missing in between, in %s.", count(n, "day is", "days are"), count(len(r.Holes), "hole", "holes")))
	}
	for _, d := range r.First {
		out.First = append(out.First, fileDay{DayYear(&v.farm, d.Date), temperature(d.Min, v.farm.Units), temperature(d.Max, v.farm.Units)})
	}
	if r.ReadingHours != nil {
		out.Hours = "The thermometers seem to be read at another hour than midnight. It is proposed on the station's page once the days are kept."
	}
	return out
}

func spanYears(v *visit, from, to weather.Date) string {
	if from == to {
		return DayYear(&v.farm, from)
	}
	return DayYear(&v.farm, from) + " to " + DayYear(&v.farm, to)
}

// actWords says what would be done with a file.
func actWords(r *api.DaysReport) string {
	var parts []string
	if r.Added > 0 {
		parts = append(parts, "would add "+count(r.Added, "day", "days"))
	}
	if r.Corrected > 0 {
		parts = append(parts, "would correct "+count(r.Corrected, "day", "days"))
	}
	s := strings.Join(parts, " and ")
	if s == "" {
		s = "would change nothing"
	}
	if r.Unchanged > 0 {
		s += "; " + figure(float64(r.Unchanged)) + " " + plural(r.Unchanged, "is", "are") + " on record with these values"
	}
	if n := len(r.Refused); n > 0 {
		s += "; " + count(n, "row", "rows") + " cannot be kept"
	}
	return s
}

func keptWords(v *visit, r *api.DaysReport) *fileReport {
	out := &fileReport{fileRows: rowsOf(v, r)}
	say := func(n int, one, many string) {
		if n > 0 {
			out.Lines = append(out.Lines, count(n, one, many))
		}
	}
	say(r.Added, "day was added.", "days were added.")
	say(r.Corrected, "day was corrected; what it was before stays in its history.", "days were corrected; what they were before stays in their history.")
	say(r.Unchanged, "day was on record with these values.", "days were on record with these values.")
	say(len(r.Refused), "row was refused, for the reason below.", "rows were refused, for the reasons below.")
	if len(r.Suspect) > 0 {
		out.Lines = append(out.Lines, "Some look wrong: they are kept and listed below. A person decides.")
	}
	return out
}

// rowsOf are the rows that somebody should look at.
func rowsOf(v *visit, r *api.DaysReport) fileRows {
	var out fileRows
	for _, x := range r.Refused[:min(len(r.Refused), rowsShown)] {
		out.Refused = append(out.Refused, refusedRow{x.Row, x.Date, reasonOf(&v.farm, x.Reason)})
	}
	out.MoreRefused = len(r.Refused) - len(out.Refused)
	for _, x := range r.Suspect[:min(len(r.Suspect), rowsShown)] {
		out.Suspects = append(out.Suspects, suspectRow{x.Date.String(), DayYear(&v.farm, x.Date), testWordsOf(x.Test), figuresOf(&v.farm, lowHigh(x.Detail))})
	}
	out.MoreSuspects = len(r.Suspect) - len(out.Suspects)
	return out
}
