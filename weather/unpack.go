package weather

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Unpack reads all of r, which may be packed by gzip or be a zip archive, up to
// MaxBytes packed and unpacked; beyond that the error matches [ErrTooLarge], and
// [ErrDamaged] where the packed data is. What is packed within is not unpacked.
//
// Of an archive it takes the only file; of several the one that the German
// weather service names produkt_klima_tag_…, else the only one of a known
// format. If there is no such one the error matches [ErrUnknownFormat], and
// [ErrNoRows] if there is no file at all. Folders, hidden and empty files do not
// count.
func Unpack(r io.Reader) (string, error) {
	body, _, err := unpack(r, nil)
	return body, err
}

// unpack is Unpack; of an archive it takes the file that is of format f, where
// that is not nil. It also returns what was taken of which archive, or "".
func unpack(r io.Reader, f *format) (body, taken string, err error) {
	src := &source{r: r, left: MaxBytes}
	in := bufio.NewReader(src)
	magic, _ := in.Peek(len(zipFile)) // An error comes again with the first read.
	if string(magic) == zipFile || string(magic) == zipEmpty {
		packed, err := io.ReadAll(in)
		if err != nil {
			return "", "", fmt.Errorf("read weather file: %w", err)
		}
		return unzip(packed, f)
	}
	var out io.Reader = in
	packed := strings.HasPrefix(string(magic), "\x1f\x8b")
	if packed {
		z, err := gzip.NewReader(in)
		if err != nil {
			return "", "", src.cause(err)
		}
		out = z
	}
	var text strings.Builder
	n, err := io.Copy(&text, io.LimitReader(out, MaxBytes+1))
	switch {
	case n > MaxBytes:
		return "", "", errTooManyBytes
	case err != nil && packed:
		return "", "", src.cause(err)
	case err != nil:
		return "", "", fmt.Errorf("read weather file: %w", err)
	}
	return text.String(), "", nil
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

// How a zip archive begins, and what else is known of its inside. Source: the
// format's description, APPNOTE.TXT, sections 4.3.7, 4.3.12, 4.3.16 and 4.4.4.
const (
	zipFile      = "PK\x03\x04" // A file.
	zipEntry     = "PK\x01\x02" // An entry of the table of contents.
	zipEmpty     = "PK\x05\x06" // The end of the table of contents.
	zipEncrypted = 1 << 0       // Flag of an entry.
)

const (
	maxZipEntries = 1000
	maxZipNamed   = 10 // Entries that an error names.
)

// dwdProduct begins the name of the file of days in an archive of the German
// weather service; descriptions of station and instruments lie beside it.
const dwdProduct = "produkt_klima_tag_"

// unzip takes one file of a zip archive. All files that it looks into count for
// MaxBytes.
func unzip(packed []byte, f *format) (body, taken string, err error) {
	// The reader trusts the archive's own number of entries and keeps them all.
	if bytes.Count(packed, []byte(zipEntry)) > maxZipEntries {
		return "", "", fileError(ErrTooLarge, "the zip archive has more than %d files", maxZipEntries)
	}
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) { // Nothing is written to a path.
		return "", "", fmt.Errorf("%w: %w", fileError(ErrDamaged, "the file is a zip archive but is damaged or cut off"), err)
	}
	files, err := zipFiles(z.File, uint64(len(packed)))
	if err != nil {
		return "", "", err
	}
	product := func(e *zip.File) bool { return strings.HasPrefix(zipBase(e), dwdProduct) }
	switch i := slices.IndexFunc(files, product); {
	case len(files) == 0:
		return "", "", fileError(ErrNoRows, "the zip archive has no file in it, or only empty ones")
	case len(files) > 1 && i >= 0 && !slices.ContainsFunc(files[i+1:], product):
		files[0] = files[i]
	case len(files) > 1:
		return onlyKnown(files, f)
	}
	left := MaxBytes
	body, err = unzipFile(files[0], &left)
	if err != nil {
		return "", "", err
	}
	return body, clip(zipBase(files[0])), nil
}

// zipFiles leaves out what is no file of a person: folders, hidden files, empty
// ones. Packed bytes can be no more than size, those of the archive.
func zipFiles(entries []*zip.File, size uint64) ([]*zip.File, error) {
	var files []*zip.File
	var sum uint64
	for _, e := range entries {
		switch e.Name {
		case "[Content_Types].xml", "META-INF/manifest.xml": // Of Microsoft's and of open documents.
			return nil, fileError(ErrUnknownFormat, "the file is a spreadsheet or another document of an office program: save the sheet as CSV and send that")
		}
		// Entries that share their bytes would cost more than the archive's size.
		if sum += min(e.CompressedSize64, size+1); sum > size {
			return nil, fileError(ErrDamaged, "the file is a zip archive but is damaged: its files lie one over another")
		}
		path := strings.ReplaceAll(e.Name, `\`, "/")
		hidden := strings.HasPrefix(path, "__MACOSX/") || strings.HasPrefix(path, ".") || strings.Contains(path, "/.")
		if !hidden && !strings.HasSuffix(path, "/") && e.UncompressedSize64 > 0 {
			files = append(files, e)
		}
	}
	return files, nil
}

// zipBase returns the name of a file without its folders.
func zipBase(e *zip.File) string {
	return e.Name[strings.LastIndexAny(e.Name, `/\`)+1:]
}

// onlyKnown takes the only one of several files that is of format f or, if that
// is nil, of any.
func onlyKnown(files []*zip.File, f *format) (body, taken string, err error) {
	left, known := MaxBytes, 0
	names := make([]string, 0, maxZipNamed)
	for _, e := range files {
		text, err := unzipFile(e, &left)
		if err != nil {
			return "", "", err
		}
		if len(names) < maxZipNamed {
			names = append(names, clip(zipBase(e)))
		}
		if isKnown(text, f) {
			known++
			body, taken = text, clip(zipBase(e))
		}
	}
	if known == 1 {
		return body, taken, nil
	}
	list := strings.Join(names, ", ")
	if len(files) > len(names) {
		list += ", …"
	}
	what := "none of the %d files in the zip archive is a weather file of a known format: %s; send one file by itself"
	if known > 1 {
		what = "more than one of the %d files in the zip archive is a weather file: %s; send one of them"
	}
	return "", "", fileError(ErrUnknownFormat, what, len(files), list)
}

// isKnown reports whether a file is of format f or, if that is nil, of any.
func isKnown(body string, f *format) bool {
	text, _, err := decode(body)
	if err != nil || strings.TrimSpace(text) == "" {
		return false
	}
	head := []byte(text[:min(len(text), headBytes)])
	return slices.ContainsFunc(formats, func(g *format) bool { return (f == nil || f == g) && g.recognise(head) })
}

// unzipFile unpacks a file of an archive, of at most left bytes, which it counts
// down.
func unzipFile(e *zip.File, left *int) (string, error) {
	damaged := func(why string) *FileError {
		return fileError(ErrDamaged, "the file %q in the zip archive %s", clip(zipBase(e)), why)
	}
	if e.Flags&zipEncrypted != 0 {
		return "", damaged("is locked with a password: send it without one")
	}
	in, err := e.Open()
	if errors.Is(err, zip.ErrAlgorithm) {
		return "", damaged("is packed in an unusual way: send the file itself, or pack it again as a plain zip archive")
	}
	if err != nil {
		return "", fmt.Errorf("%w: %w", damaged("does not unpack"), err)
	}
	var out strings.Builder
	n, err := io.Copy(&out, io.LimitReader(in, int64(*left)+1))
	if closeErr := in.Close(); err == nil {
		err = closeErr
	}
	switch {
	case n > int64(*left):
		return "", errTooManyBytes
	case err != nil:
		return "", fmt.Errorf("%w: %w", damaged("does not unpack, it is damaged"), err)
	}
	*left -= int(n)
	return out.String(), nil
}
