package weather

import (
	"io"
	"strings"
	"time"
)

// MaxBytes bounds a weather file, in bytes, as sent and also unpacked. The
// whole record of a station since 1891 is about a megabyte; a logger that
// writes every minute fills the rest.
const MaxBytes = 32 << 20

// ReadOptions say what a weather file may not say of itself.
type ReadOptions struct {
	Format string // One of Formats; "" tells it by the content.
	Unit   Unit   // Of the temperatures; "" if the file tells.
	// Dates is the order of day, month and year, where a file's dates can be
	// read in more than one; "" if the file tells.
	Dates DateOrder
	// Column is the heading of the temperature column to take, where a file has
	// several; "" if it has one.
	Column string
	// Station is the source's own identifier of the station to take, where a
	// file has several; "" if it has one.
	Station string
	// Zone is the time zone of the farm, by which readings and instants belong
	// to days; nil is UTC.
	Zone *time.Location
	// Latest is the last date that is taken: the station's today. Needed. Of
	// readings within a day and of a model's values only days before it are
	// taken, for it is not over.
	Latest Date
}

// zone returns the zone of opt.
func (opt ReadOptions) zone() *time.Location {
	if opt.Zone == nil {
		return time.UTC
	}
	return opt.Zone
}

// DateOrder is the order in which a date is written.
type DateOrder string

// The orders there are.
const (
	DayFirst   DateOrder = "dmy"
	MonthFirst DateOrder = "mdy"
	YearFirst  DateOrder = "ymd"
)

func (o DateOrder) known() bool { return o == DayFirst || o == MonthFirst || o == YearFirst }

// Read reads a file of observed days, plain or packed by gzip or zip and in any
// usual encoding, whose format it tells by the content. It keeps the good rows
// and says of each other one why it was refused.
//
// Where the file leaves something open and opt does not tell it, Read asks, by
// an error that matches [ErrAmbiguous] and has the questions, all at once; it
// never guesses. An open unit also matches [ErrUnitUnknown]. Other files that
// are refused as a whole match [ErrUnknownFormat], [ErrUnitConflict],
// [ErrWrongUnit], [ErrBadHeader], [ErrNoRows], [ErrTooLarge], [ErrDamaged] or,
// where the file predicts, [ErrOutlook]; all of them are a [*FileError], whose
// Detail is for the person who sent the file. An error of r itself is returned
// wrapped.
func Read(r io.Reader, opt ReadOptions) (*Reading, error) {
	t, err := open(r, opt)
	if err != nil {
		return nil, err
	}
	if t.format.read == nil {
		return nil, fileError(ErrOutlook, "the file holds predicted days, format %s: send it as an outlook", t.format.name)
	}
	reading, err := t.format.read(t.body, opt)
	if err != nil {
		return nil, err
	}
	if reading.Received == 0 && reading.Blank == 0 {
		return nil, fileError(ErrNoRows, "the file, read as %s, has no row with a day in it", t.format.name)
	}
	reading.Format = t.format.name
	reading.Findings = append(t.findings, reading.Findings...)
	return reading, nil
}

// ReadOutlook reads a file of predicted days as a weather service gives it. Its
// errors are those of [Read]; a file of observed days matches [ErrOutlook].
func ReadOutlook(r io.Reader, opt ReadOptions) (*OutlookReading, error) {
	t, err := open(r, opt)
	if err != nil {
		return nil, err
	}
	if t.format.readOutlook == nil {
		return nil, fileError(ErrOutlook, "the file holds observed days, format %s, and no outlook", t.format.name)
	}
	reading, err := t.format.readOutlook(t.body, opt)
	if err != nil {
		return nil, err
	}
	reading.Format = t.format.name
	reading.Findings = append(t.findings, reading.Findings...)
	return reading, nil
}

// Holds reports what a file of a format may hold: observed days, predicted
// ones, or both. An unknown format holds nothing.
func Holds(name string) (days, outlook bool) {
	f, err := formatNamed(name)
	if f == nil || err != nil {
		return false, false
	}
	return f.read != nil, f.readOutlook != nil
}

// text is a file that has been unpacked, decoded and recognised.
type text struct {
	body     string
	format   *format
	findings []Finding
}

func open(r io.Reader, opt ReadOptions) (*text, error) {
	switch {
	case opt.Unit != "" && !opt.Unit.known():
		return nil, fileError(ErrUnitUnknown, `unit %q is none of "C", "F" and "tenths"`, clip(string(opt.Unit)))
	case opt.Dates != "" && !opt.Dates.known():
		return nil, fileError(ErrAmbiguous, `order of dates %q is none of "dmy", "mdy" and "ymd"`, clip(string(opt.Dates)))
	}
	f, err := formatNamed(opt.Format)
	if err != nil {
		return nil, err
	}
	body, taken, err := unpack(r, f)
	if err != nil {
		return nil, err
	}
	body, encoding, err := decode(body)
	if err != nil {
		return nil, err
	}
	if strings.TrimSpace(body) == "" {
		return nil, fileError(ErrNoRows, "the file is empty")
	}
	if f == nil {
		if f, err = recognise(body); err != nil {
			return nil, err
		}
	}
	t := &text{body: body, format: f}
	if taken != "" {
		t.findings = append(t.findings, Finding{"archive", "the file " + taken + " in it"})
	}
	if encoding != "" {
		t.findings = append(t.findings, Finding{"encoding", encoding})
	}
	return t, nil
}

// format is a file format. To add one, write its two functions in a file of
// its own and put it into the table.
type format struct {
	name string
	// recognise reports whether a file that begins with head, at most headBytes
	// without a byte order mark, is of the format. It must be quick and must
	// not claim the files of others.
	recognise func(head []byte) bool
	// read reads the whole file into a batch, through which every row goes, and
	// returns what it came to. It takes the unit from unitOf. Nil: the format
	// holds no observed days.
	read func(body string, opt ReadOptions) (*Reading, error)
	// readOutlook reads predicted days; nil: the format holds none.
	readOutlook func(body string, opt ReadOptions) (*OutlookReading, error)
}

// formats is the table of all formats, the more particular ones first: the
// plain CSV would take any CSV with columns of its names, the table any text
// with a heading.
var formats = []*format{
	&ghcnDly, &nwsGrid, &acis, &nceiJSON, &openMeteo,
	&ghcnRows, &ghcnWide, &nceiCSV, &eccc, &dwd, &knmi, &metEireann,
	&plainCSV, &table,
}

// headBytes is what a format sees of a file to recognise it. Some files begin
// with pages of prose.
const headBytes = 16 << 10

// Formats returns the names of the formats.
func Formats() []string {
	names := make([]string, len(formats))
	for i, f := range formats {
		names[i] = f.name
	}
	return names
}

// formatNamed returns the format of a name, or nil for "".
func formatNamed(name string) (*format, error) {
	if name == "" {
		return nil, nil
	}
	for _, f := range formats {
		if f.name == name {
			return f, nil
		}
	}
	return nil, fileError(ErrUnknownFormat, "format %q is none of: %s", clip(name), strings.Join(Formats(), ", "))
}

// recognise finds the format of a file.
func recognise(body string) (*format, error) {
	head := []byte(body[:min(len(body), headBytes)])
	for _, f := range formats {
		if f.recognise(head) {
			return f, nil
		}
	}
	line, _, _ := strings.Cut(strings.TrimSpace(body), "\n")
	return nil, fileError(ErrUnknownFormat,
		"the file, which begins %q, is none of: %s; a plain CSV begins with a header with date, min and max",
		clip(strings.TrimSpace(line)), strings.Join(Formats(), ", "))
}

// unitOf returns the unit of a file that tells one, or "", and of which one,
// or "", was said.
func unitOf(told, said Unit) (Unit, error) {
	switch {
	case told == "" && said == "":
		return "", ask(askUnit())
	case told == "":
		return said, nil
	case said != "" && said != told:
		return "", fileError(ErrUnitConflict, "the file says its temperatures are %s, the request says %s", told.sign(), said.sign())
	}
	return told, nil
}
