package weather

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"strings"
)

// MaxBytes bounds a weather file, in bytes, as sent and also unpacked. The
// whole record of a station since 1891 is about a megabyte; a logger that
// writes every minute fills the rest.
const MaxBytes = 32 << 20

// ReadOptions say what a weather file may not say of itself.
type ReadOptions struct {
	Format string // One of Formats; "" tells it by the content.
	Unit   Unit   // Of the temperatures; "" if the file tells.
	Latest Date   // Days after it are refused: the station's today. Needed.
}

// Read reads a weather file, plain or packed by gzip, whose format it tells by
// the content. It keeps the good rows and says of each other one why it was
// refused.
//
// Where the file tells no unit and neither does opt, Read asks, by an error
// that matches [ErrUnitUnknown]; it never guesses. Other files that are refused
// as a whole match [ErrUnknownFormat], [ErrUnitConflict], [ErrWrongUnit],
// [ErrBadHeader], [ErrNoRows], [ErrTooLarge] or [ErrDamaged]; all of them are a
// [*FileError], whose Detail is for the person who sent the file. An error of
// r itself is returned wrapped.
func Read(r io.Reader, opt ReadOptions) (*Reading, error) {
	if opt.Unit != "" && !opt.Unit.known() {
		return nil, fileError(ErrUnitUnknown, `unit %q is neither "C" nor "F"`, clip(string(opt.Unit)))
	}
	f, err := formatNamed(opt.Format)
	if err != nil {
		return nil, err
	}
	body, err := Unpack(r)
	if err != nil {
		return nil, err
	}
	body = strings.TrimPrefix(body, byteOrderMark)
	if strings.TrimSpace(body) == "" {
		return nil, fileError(ErrNoRows, "the file is empty")
	}
	if f == nil {
		if f, err = recognise(body); err != nil {
			return nil, err
		}
	}
	reading, err := f.read(body, opt)
	if err != nil {
		return nil, err
	}
	reading.Format = f.name
	return reading, nil
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
	// returns what it came to. It takes the unit from unitOf.
	read func(body string, opt ReadOptions) (*Reading, error)
}

// formats is the table of all formats, the more particular ones first: the
// plain CSV would take any CSV with columns of its names.
var formats = []*format{
	&plainCSV,
}

// headBytes is what a format sees of a file to recognise it. Some files begin
// with pages of prose.
const headBytes = 16 << 10

const byteOrderMark = "\uFEFF"

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
		return "", fileError(ErrUnitUnknown, "the file does not tell its unit: say whether it is C or F")
	case told == "":
		return said, nil
	case said != "" && said != told:
		return "", fileError(ErrUnitConflict, "the file says its temperatures are °%s, the request says °%s", told, said)
	}
	return told, nil
}

// Unpack reads all of r, which may be packed by gzip, up to MaxBytes unpacked;
// beyond that the error matches [ErrTooLarge], and [ErrDamaged] where the packed
// data is.
func Unpack(r io.Reader) (string, error) {
	src := &source{r: r, left: MaxBytes}
	in := bufio.NewReader(src)
	var out io.Reader = in
	magic, _ := in.Peek(2) // An error comes again with the first read.
	packed := string(magic) == "\x1f\x8b"
	if packed {
		z, err := gzip.NewReader(in)
		if err != nil {
			return "", src.cause(err)
		}
		out = z
	}
	var body strings.Builder
	n, err := io.Copy(&body, io.LimitReader(out, MaxBytes+1))
	switch {
	case n > MaxBytes:
		return "", errTooManyBytes
	case err != nil && packed:
		return "", src.cause(err)
	case err != nil:
		return "", fmt.Errorf("read weather file: %w", err)
	}
	return body.String(), nil
}

var errTooManyBytes error = fileError(ErrTooLarge, "the file is larger than %d MiB unpacked", MaxBytes>>20)

// source reads r up to a limit and remembers what it failed of, so that a
// damaged file can be told from a broken connection.
type source struct {
	r    io.Reader
	left int
	err  error
}

func (s *source) Read(p []byte) (int, error) {
	if s.left < 0 {
		s.err = errTooManyBytes
		return 0, s.err
	}
	n, err := s.r.Read(p[:min(len(p), s.left+1)])
	s.left -= n
	if err != nil && !errors.Is(err, io.EOF) {
		s.err = err
	}
	return n, err
}

// cause returns the error of the source or, if it had none, that of unpacking.
func (s *source) cause(err error) error {
	if s.err != nil {
		return fmt.Errorf("read weather file: %w", s.err)
	}
	return fmt.Errorf("%w: %w", fileError(ErrDamaged, "the file is packed by gzip but does not unpack"), err)
}
