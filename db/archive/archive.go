// Package archive is the file of a backup: a zip that needs no program of ours
// to be read. It holds one CSV file for each table, a manifest in JSON, a
// README and, in SHA256SUMS, the hash of each of them as the usual tools check
// it.
//
// Hashes find damage, not malice: whoever can write to the file can write other
// hashes too.
package archive

import (
	"archive/zip"
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
)

// Format is the version of the file's layout, in its manifest.
const Format = 1

// Names of the files within.
const (
	readmeName   = "README.txt"
	manifestName = "manifest.json"
	sumsName     = "SHA256SUMS"
	tablesFolder = "tables/"
)

// most is how long the small files may be, bytes.
const most = 4 << 20

// Errors of the package; match with [errors.Is].
var (
	// ErrDamaged is a file that is no archive, or not as it was written; see
	// [DamagedError].
	ErrDamaged = errors.New("archive: damaged")
	// ErrFormat is a layout that this program does not know.
	ErrFormat = errors.New("archive: unknown format")
)

// DamagedError says where a file is damaged. It matches [ErrDamaged].
type DamagedError struct {
	File   string // Within the archive; "": the archive as a whole.
	Reason string
}

func (e *DamagedError) Error() string { return e.Detail() }

// Detail says in plain words what is wrong.
func (e *DamagedError) Detail() string {
	if e.File == "" {
		return "the file is no whole backup: " + e.Reason + "; nothing was restored"
	}
	return "the backup is damaged: " + e.File + " " + e.Reason + "; nothing was restored"
}

// Is matches [ErrDamaged].
func (e *DamagedError) Is(target error) bool { return target == ErrDamaged }

// Manifest says what an archive holds.
type Manifest struct {
	Format  int       `json:"format"`  // See [Format].
	Program string    `json:"program"` // Version of the program that wrote it.
	Schema  int64     `json:"schema"`  // Version of the tables.
	MadeAt  time.Time `json:"made_at"` // All tables are as they stood at this instant.
	Tables  []Table   `json:"tables"`  // In an order in which they can be filled.
}

// Rows is how many rows the tables hold together.
func (m Manifest) Rows() int64 {
	var n int64
	for _, t := range m.Tables {
		n += t.Rows
	}
	return n
}

// Table is one table of an archive.
type Table struct {
	Name    string   `json:"name"`
	About   string   `json:"about,omitempty"` // What its rows are.
	Columns []Column `json:"columns"`
	Rows    int64    `json:"rows"`
	SHA256  string   `json:"sha256"` // Of its CSV file, hexadecimal.
}

// Column is a column of a table.
type Column struct {
	Name  string `json:"name"`
	Type  string `json:"type"` // As PostgreSQL names it.
	About string `json:"about,omitempty"`
}

// file is the name of the table's CSV file within an archive.
func (t Table) file() string { return tablesFolder + t.Name + ".csv" }

// Writer writes an archive.
type Writer struct {
	zip      *zip.Writer
	manifest Manifest
	sums     []string
}

// NewWriter begins an archive of a program and schema of these versions, as of
// an instant.
func NewWriter(w io.Writer, program string, schema int64, at time.Time) *Writer {
	return &Writer{zip: zip.NewWriter(w), manifest: Manifest{Format: Format, Program: program, Schema: schema, MadeAt: at.UTC()}}
}

// Table adds a table whose rows write writes as CSV, with a line of column names
// first, and counts.
func (w *Writer) Table(t Table, write func(io.Writer) (rows int64, err error)) error {
	sum, err := w.add(t.file(), func(out io.Writer) (err error) {
		t.Rows, err = write(out)
		return err
	})
	if err != nil {
		return fmt.Errorf("table %s: %w", t.Name, err)
	}
	t.SHA256 = sum
	w.manifest.Tables = append(w.manifest.Tables, t)
	return nil
}

// Close ends the archive and returns what it holds. It does not close the
// writer beneath.
func (w *Writer) Close() (Manifest, error) {
	text, err := json.MarshalIndent(w.manifest, "", "  ")
	if err != nil {
		return Manifest{}, fmt.Errorf("write manifest: %w", err)
	}
	if err := w.text(readmeName, readme(w.manifest)); err != nil {
		return Manifest{}, err
	}
	if err := w.text(manifestName, string(text)+"\n"); err != nil {
		return Manifest{}, err
	}
	slices.SortFunc(w.sums, func(a, b string) int { return cmp.Compare(a[66:], b[66:]) }) // By name, which follows the hash.
	if err := w.text(sumsName, strings.Join(w.sums, "")); err != nil {
		return Manifest{}, err
	}
	if err := w.zip.Close(); err != nil {
		return Manifest{}, fmt.Errorf("write archive: %w", err)
	}
	return w.manifest, nil
}

// text adds a small file.
func (w *Writer) text(name, content string) error {
	_, err := w.add(name, func(out io.Writer) error {
		_, err := io.WriteString(out, content)
		return err
	})
	return err
}

// add adds a file and returns its hash.
func (w *Writer) add(name string, write func(io.Writer) error) (string, error) {
	out, err := w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: w.manifest.MadeAt})
	if err != nil {
		return "", fmt.Errorf("write %s: %w", name, err)
	}
	hash := sha256.New()
	if err := write(io.MultiWriter(out, hash)); err != nil {
		return "", fmt.Errorf("write %s: %w", name, err)
	}
	sum := hex.EncodeToString(hash.Sum(nil))
	w.sums = append(w.sums, sum+"  "+name+"\n")
	return sum, nil
}

// Archive is an archive that was read to its end and is whole.
type Archive struct {
	Manifest

	files map[string]*zip.File
}

// Open reads the archive in the size bytes of r and checks every file in it
// against its hash. Errors: [ErrDamaged], [ErrFormat].
func Open(r io.ReaderAt, size int64) (*Archive, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, &DamagedError{Reason: "it is not a zip file, or was cut off"}
	}
	a := &Archive{files: map[string]*zip.File{}}
	for _, f := range z.File {
		if a.files[f.Name] != nil {
			return nil, &DamagedError{File: f.Name, Reason: "is in it twice"}
		}
		a.files[f.Name] = f
	}
	sums, err := a.sums()
	if err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(a.files)) {
		if err := a.check(name, sums); err != nil {
			return nil, err
		}
	}
	for name := range sums {
		if a.files[name] == nil {
			return nil, &DamagedError{File: name, Reason: "is missing"}
		}
	}
	return a, a.readManifest(sums)
}

// sums reads the hashes of the files by their names.
func (a *Archive) sums() (map[string]string, error) {
	text, err := a.small(sumsName)
	if err != nil {
		return nil, err
	}
	sums := map[string]string{}
	for line := range strings.Lines(string(text)) {
		sum, name, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		if !ok || len(sum) != hex.EncodedLen(sha256.Size) || sums[name] != "" {
			return nil, &DamagedError{File: sumsName, Reason: "holds a line that is no hash of a file"}
		}
		sums[name] = sum
	}
	return sums, nil
}

// check reads a file to its end.
func (a *Archive) check(name string, sums map[string]string) error {
	if name == sumsName {
		return nil
	}
	want := sums[name]
	if want == "" {
		return &DamagedError{File: name, Reason: "was not there when it was written"}
	}
	in, err := a.files[name].Open()
	if err != nil {
		return &DamagedError{File: name, Reason: "cannot be unpacked"}
	}
	defer in.Close() //nolint:errcheck // It was read to its end.
	hash := sha256.New()
	if _, err := io.Copy(hash, in); err != nil {
		return &DamagedError{File: name, Reason: "cannot be unpacked to its end"}
	}
	if hex.EncodeToString(hash.Sum(nil)) != want {
		return &DamagedError{File: name, Reason: "is not as it was written"}
	}
	return nil
}

func (a *Archive) readManifest(sums map[string]string) error {
	text, err := a.small(manifestName)
	if err != nil {
		return err
	}
	var form struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(text, &form); err != nil {
		return &DamagedError{File: manifestName, Reason: "is no JSON"}
	}
	if form.Format != Format {
		return fmt.Errorf("%w: the backup has format %d and this program knows %d: use a newer program", ErrFormat, form.Format, Format)
	}
	in := json.NewDecoder(bytes.NewReader(text))
	in.DisallowUnknownFields()
	if err := in.Decode(&a.Manifest); err != nil {
		return &DamagedError{File: manifestName, Reason: "is not of the shape it should be"}
	}
	listed := map[string]bool{readmeName: true, manifestName: true}
	for _, t := range a.Tables {
		if name := t.file(); listed[name] || sums[name] == "" || sums[name] != t.SHA256 {
			return &DamagedError{File: manifestName, Reason: "does not fit " + name}
		}
		listed[t.file()] = true
	}
	if len(listed) != len(sums) {
		return &DamagedError{File: manifestName, Reason: "does not list every table that is there"}
	}
	return nil
}

// Table opens the CSV file of a table.
func (a *Archive) Table(t Table) (io.ReadCloser, error) {
	f := a.files[t.file()]
	if f == nil {
		return nil, &DamagedError{File: t.file(), Reason: "is missing"}
	}
	in, err := f.Open()
	if err != nil {
		return nil, &DamagedError{File: t.file(), Reason: "cannot be unpacked"}
	}
	return in, nil
}

// small reads a file that is not a table.
func (a *Archive) small(name string) ([]byte, error) {
	f := a.files[name]
	if f == nil {
		return nil, &DamagedError{File: name, Reason: "is missing"}
	}
	in, err := f.Open()
	if err != nil {
		return nil, &DamagedError{File: name, Reason: "cannot be unpacked"}
	}
	defer in.Close() //nolint:errcheck // It was read.
	text, err := io.ReadAll(io.LimitReader(in, most+1))
	switch {
	case err != nil:
		return nil, &DamagedError{File: name, Reason: "cannot be unpacked to its end"}
	case len(text) > most:
		return nil, &DamagedError{File: name, Reason: "is too long"}
	}
	return text, nil
}

// readme tells a person what is in the archive.
func readme(m Manifest) string {
	var b strings.Builder
	fmt.Fprintf(&b, `Everything that ripetide had on record at %s, as open files.

To put it back: ripetide restore FILE, on an empty database. It checks every
file first, and restores all or nothing.

To read it without ripetide: each table is a CSV file in UTF-8 (RFC 4180) in the
folder tables, with a line of column names. An empty field is no value, "" is
empty text. Dates are YYYY-MM-DD, instants are in UTC, temperatures °C, weights
kg, areas m². Lists stand in braces; hashes are hexadecimal after \x. In a
spreadsheet import all columns as text: a name may begin with a sign that a
spreadsheet takes for a formula. manifest.json names every column and its type;
"sha256sum -c SHA256SUMS" checks the files.

What changed has several rows: nothing is ever overwritten, and the row with the
highest version or revision is how it stands.

Keep the file where only you can read it. It holds the names of people, mail
addresses, and what feeds sign in with. Keys and passwords are not in it, only
their hashes.

Written by ripetide %s, tables of version %d, %d rows in all.

`, m.MadeAt.Format(time.RFC3339), m.Program, m.Schema, m.Rows())
	for _, t := range m.Tables {
		fmt.Fprintf(&b, "%s (%d rows)\n", t.file(), t.Rows)
		if t.About != "" {
			fmt.Fprintf(&b, "    %s\n", t.About)
		}
		for _, c := range t.Columns {
			if c.About != "" {
				fmt.Fprintf(&b, "    %s: %s\n", c.Name, c.About)
			}
		}
	}
	return b.String()
}
