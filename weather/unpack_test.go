package weather_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"ripetide/weather"
)

// zipped is a file in an archive.
type zipped struct{ name, body string }

// archive makes a zip archive with archive/zip.
func archive(tb testing.TB, files ...zipped) []byte {
	tb.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, f := range files {
		w, err := z.Create(f.name)
		if err != nil {
			tb.Fatal(err)
		}
		if _, err := io.WriteString(w, f.body); err != nil {
			tb.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		tb.Fatal(err)
	}
	return out.Bytes()
}

// raw makes an archive of one file whose header says what it likes.
func raw(tb testing.TB, h *zip.FileHeader, packed []byte) []byte {
	tb.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	w, err := z.CreateRaw(h)
	if err != nil {
		tb.Fatal(err)
	}
	if _, err := w.Write(packed); err != nil {
		tb.Fatal(err)
	}
	if err := z.Close(); err != nil {
		tb.Fatal(err)
	}
	return out.Bytes()
}

const (
	tinyCSV = "date,min_c,max_c\n2026-05-01,1,2\n"
	prose   = "About this station: it has moved.\nNothing else is known.\n"
)

func TestReadZip(t *testing.T) {
	t.Parallel()
	late, knmi := string(formatFile(t, "dwd_02667_2018.txt")), string(formatFile(t, "knmi_356.txt"))
	// Named as in an archive of the German service.
	const product = "produkt_klima_tag_20181212_02667.txt"
	const taken = "the file produkt_klima_tag_20181212_02667.txt in it"
	for _, tt := range []struct {
		name   string
		files  []zipped
		opt    weather.ReadOptions
		days   int
		format string
		taken  string
	}{
		{"one file", []zipped{{"etmgeg_356.txt", knmi}}, weather.ReadOptions{}, 10, "knmi", "the file etmgeg_356.txt in it"},
		{"one file in a folder", []zipped{{"a/", ""}, {"a/b/etmgeg_356.txt", knmi}}, weather.ReadOptions{}, 10, "knmi", "the file etmgeg_356.txt in it"},
		{"hidden and empty files beside it", []zipped{
			{"__MACOSX/x.csv", tinyCSV},
			{".hidden.csv", tinyCSV},
			{"a/.hidden.csv", tinyCSV},
			{`b\.hidden.csv`, tinyCSV},
			{".git/x.csv", tinyCSV},
			{"empty.csv", ""},
			{"x.csv", tinyCSV},
		}, weather.ReadOptions{}, 1, "csv", "the file x.csv in it"},
		{"the product among descriptions", []zipped{
			{"Metadaten_Geographie_02667.txt", tinyCSV},
			{product, late},
			{"Metadaten_Parameter_02667.txt", tinyCSV},
		}, weather.ReadOptions{}, 20, "dwd", taken},
		{"the product first", []zipped{{product, late}, {"x.csv", tinyCSV}}, weather.ReadOptions{}, 20, "dwd", taken},
		{"the product in a Windows folder", []zipped{{"x.csv", tinyCSV}, {`kl\` + product, late}}, weather.ReadOptions{}, 20, "dwd", taken},
		{"the only one that is known", []zipped{{"KeyDaily.txt", prose}, {"days.csv", tinyCSV}, {"blank.txt", " \n"}}, weather.ReadOptions{}, 1, "csv", "the file days.csv in it"},
		{"the only one of the format that is said", []zipped{{"knmi.txt", knmi}, {"x.csv", tinyCSV}}, weather.ReadOptions{Format: "knmi"}, 10, "knmi", "the file knmi.txt in it"},
		{"two products, the one of the format that is said", []zipped{{product, late}, {product + "x", late}, {"x.csv", tinyCSV}}, weather.ReadOptions{Format: "csv"}, 1, "csv", "the file x.csv in it"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.opt.Latest = today
			r, err := weather.Read(iotest.HalfReader(bytes.NewReader(archive(t, tt.files...))), tt.opt)
			if err != nil {
				t.Fatal(err)
			}
			mustAddUp(t, r)
			if len(r.Days) != tt.days || r.Format != tt.format {
				t.Errorf("%d days, format %s", len(r.Days), r.Format)
			}
			finds(t, r, "archive", tt.taken)
		})
	}
	plain := readService(t, "dwd", late, weather.ReadOptions{})
	if _, ok := findingOf(plain, "archive"); ok {
		t.Error("a plain file is no archive")
	}
}

func TestUnpackZip(t *testing.T) {
	t.Parallel()
	for name, files := range map[string][]zipped{
		"one file, of no format": {{"x.json", `{"days":[]}`}},
		"the known one":          {{"x.txt", prose}, {"x.csv", `{"days":[]}`}, {"produkt_klima_tag_1.txt", `{"days":[]}`}},
	} {
		if body, err := weather.Unpack(bytes.NewReader(archive(t, files...))); err != nil || body != `{"days":[]}` {
			t.Errorf("%s: %q, %v", name, body, err)
		}
	}
}

func TestReadZipRefuses(t *testing.T) {
	t.Parallel()
	many := func(n int) []zipped {
		files := make([]zipped, n)
		for i := range files {
			files[i] = zipped{fmt.Sprintf("file_%d_%s.txt", i, strings.Repeat("é", 99)), prose}
		}
		return files
	}
	whole := archive(t, zipped{"x.csv", strings.Repeat(tinyCSV, 99)})
	wrongSum := slices.Clone(whole)
	// The checksum of the table of contents, 16 bytes into its entry.
	wrongSum[bytes.Index(wrongSum, []byte("PK\x01\x02"))+16] ^= 0xff
	wrongData := slices.Clone(whole)
	wrongData[40] ^= 0xff // Packed data, for a header of 30 bytes and a name of five stand before it.
	// A run of zeros of 40 MiB.
	bomb := archive(t, zipped{"zeros.csv", strings.Repeat("\x00", 40<<20)})
	// Zeros that are too many together only.
	half := strings.Repeat("\x00", 20<<20)
	stored := &zip.FileHeader{Name: "x.csv", Method: zip.Store, CompressedSize64: 3, UncompressedSize64: 3}
	with := func(change func(*zip.FileHeader)) []byte {
		h := *stored
		change(&h)
		return raw(t, &h, []byte("abc"))
	}
	for _, tt := range []struct {
		name string
		body []byte
		want error
		says string
	}{
		{"an empty archive", archive(t), weather.ErrNoRows, "no file in it"},
		{"hidden and empty files only", archive(t, zipped{".x", tinyCSV}, zipped{"y", ""}, zipped{"z/", ""}), weather.ErrNoRows, "no file in it"},
		{"one file of no format", archive(t, zipped{"x.txt", prose}), weather.ErrUnknownFormat, `begins "About this station`},
		{"one blank file", archive(t, zipped{"x.txt", "\n"}), weather.ErrNoRows, "empty"},
		{"none is known", archive(t, zipped{"a/x.txt", prose}, zipped{"y.txt", prose}), weather.ErrUnknownFormat, "none of the 2 files in the zip archive is a weather file of a known format: x.txt, y.txt; send one"},
		{"two are known", archive(t, zipped{"x.csv", tinyCSV}, zipped{"y.csv", tinyCSV}, zipped{"z.txt", prose}), weather.ErrUnknownFormat, "more than one of the 3 files in the zip archive is a weather file: x.csv, y.csv, z.txt; send one"},
		{"two products", archive(t, zipped{"produkt_klima_tag_1.txt", tinyCSV}, zipped{"produkt_klima_tag_2.txt", tinyCSV}), weather.ErrUnknownFormat, "produkt_klima_tag_1.txt, produkt_klima_tag_2.txt"},
		{"ten are named", archive(t, many(11)...), weather.ErrUnknownFormat, ", …; send one"},
		{"a thousand", archive(t, many(1000)...), weather.ErrUnknownFormat, "none of the 1000"},
		{"a thousand and one", archive(t, many(1001)...), weather.ErrTooLarge, "more than 1000 files"},
		{"ten thousand and one", archive(t, many(10_001)...), weather.ErrTooLarge, "more than 1000 files"},
		{"a bomb", bomb, weather.ErrTooLarge, "32 MiB"},
		{"a bomb beside a file", archive(t, zipped{"x.csv", tinyCSV}, zipped{"zeros", strings.Repeat("\x00", 40<<20)}), weather.ErrTooLarge, "32 MiB"},
		{"a bomb in two parts", archive(t, zipped{"x", half}, zipped{"y", half}), weather.ErrTooLarge, "32 MiB"},
		{"cut off", whole[:len(whole)-30], weather.ErrDamaged, "damaged or cut off"},
		{"only the beginning", []byte("PK\x03\x04"), weather.ErrDamaged, "damaged or cut off"},
		{"a wrong checksum", wrongSum, weather.ErrDamaged, `"x.csv" in the zip archive does not unpack, it is damaged`},
		{"wrong data", wrongData, weather.ErrDamaged, `"x.csv" in the zip archive does not unpack, it is damaged`},
		{"locked", with(func(h *zip.FileHeader) { h.Flags |= 1 }), weather.ErrDamaged, "password"},
		{"packed by an unknown method", with(func(h *zip.FileHeader) { h.Method = 14 }), weather.ErrDamaged, "unusual way"}, // LZMA.
		{"a folder that has data", bytes.ReplaceAll(archive(t, zipped{"a_", "abc"}), []byte("a_"), []byte("a/")), weather.ErrNoRows, "no file in it"},
		{"smaller than it says", with(func(h *zip.FileHeader) { h.UncompressedSize64 = 30 }), weather.ErrDamaged, "does not unpack"},
		{"larger than the archive", with(func(h *zip.FileHeader) { h.CompressedSize64 = 3 << 20 }), weather.ErrDamaged, "one over another"},
		{"of a size that overflows", with(func(h *zip.FileHeader) { h.CompressedSize64 = 1<<64 - 1 }), weather.ErrDamaged, "damaged"},
		{"an archive in an archive", archive(t, zipped{"x.zip", string(whole)}), weather.ErrUnknownFormat, "PK"},
		{"gzip in an archive", archive(t, zipped{"x.csv.gz", string(packed(t, []byte(tinyCSV)))}), weather.ErrUnknownFormat, "begins"},
		{"an archive in gzip", packed(t, whole), weather.ErrUnknownFormat, "PK"},
		{"a spreadsheet", archive(t, zipped{"[Content_Types].xml", "<x/>"}, zipped{"xl/workbook.xml", "<x/>"}), weather.ErrUnknownFormat, "save the sheet as CSV"},
		{"an open document", archive(t, zipped{"content.xml", "<x/>"}, zipped{"META-INF/manifest.xml", "<x/>"}), weather.ErrUnknownFormat, "save the sheet as CSV"},
		{"larger than the limit as it is sent", slices.Concat(whole, make([]byte, weather.MaxBytes)), weather.ErrTooLarge, "32 MiB"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := weather.Read(bytes.NewReader(tt.body), weather.ReadOptions{Latest: today})
			var file *weather.FileError
			if r != nil || !errors.Is(err, tt.want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), tt.says) {
				t.Fatalf("got %v, %v; want %v: … %s …", r, err, tt.want, tt.says)
			}
			if n := strings.Count(file.Detail(), "file_"); n > 10 || len([]rune(file.Detail())) > 600 || strings.ContainsAny(file.Detail(), "\x00\n\r") {
				t.Errorf("detail %q", file.Detail())
			}
		})
	}
}

// Entries that share their packed bytes unpack to far more than the archive has,
// even to nothing at great cost.
func TestReadZipWithFilesOneOverAnother(t *testing.T) {
	t.Parallel()
	var empty bytes.Buffer
	w, err := flate.NewWriter(&empty, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	for range 100_000 {
		if err := w.Flush(); err != nil { // An empty block.
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	body := raw(t, &zip.FileHeader{Name: "x", Method: zip.Deflate, CompressedSize64: uint64(empty.Len()), UncompressedSize64: 1}, empty.Bytes())
	// The table of contents says the same file 900 times.
	at := bytes.LastIndex(body, []byte("PK\x01\x02"))
	end := bytes.LastIndex(body, []byte("PK\x05\x06"))
	entry := body[at:end]
	overlaid := slices.Concat(body[:at], bytes.Repeat(entry, 900), body[end:])
	tail := overlaid[len(overlaid)-22:] // The end of the table of contents has 22 bytes, APPNOTE.TXT 4.3.16.
	binary.LittleEndian.PutUint16(tail[8:], 900)
	binary.LittleEndian.PutUint16(tail[10:], 900)
	binary.LittleEndian.PutUint32(tail[12:], uint32(900*len(entry)))
	refusedWhole(t, string(overlaid), weather.ReadOptions{}, weather.ErrDamaged, "one over another")
}

// An archive whose own count of entries is wrong by a multiple of 65,536 would
// be taken by archive/zip, entry by entry.
func TestReadZipCountsEntriesItself(t *testing.T) {
	t.Parallel()
	body := archive(t, zipped{"x.csv", tinyCSV})
	at, end := bytes.LastIndex(body, []byte("PK\x01\x02")), bytes.LastIndex(body, []byte("PK\x05\x06"))
	entry := body[at:end]
	more := slices.Concat(body[:at], bytes.Repeat(entry, 65_537), body[end:])
	binary.LittleEndian.PutUint32(more[len(more)-22+12:], uint32(65_537*len(entry)))
	if z, err := zip.NewReader(bytes.NewReader(more), int64(len(more))); err != nil || len(z.File) != 65_537 {
		t.Fatalf("the archive does not do what is tested: %v", err)
	}
	refusedWhole(t, string(more), weather.ReadOptions{}, weather.ErrTooLarge, "more than 1000 files")
}

// A connection that breaks within an archive is no damaged archive.
func TestReadZipKeepsTheErrorOfTheReader(t *testing.T) {
	t.Parallel()
	broken := errors.New("connection reset")
	body := archive(t, zipped{"x.csv", tinyCSV})
	r := io.MultiReader(bytes.NewReader(body[:len(body)/2]), iotest.ErrReader(broken))
	if _, err := weather.Read(r, weather.ReadOptions{Latest: today}); !errors.Is(err, broken) || errors.Is(err, weather.ErrDamaged) {
		t.Errorf("got %v", err)
	}
}

func FuzzUnpack(f *testing.F) {
	f.Add([]byte(tinyCSV))
	f.Add(packed(f, []byte(tinyCSV)))
	f.Add(archive(f))
	f.Add(archive(f, zipped{"x.csv", tinyCSV}))
	f.Add(archive(f, zipped{"a/", ""}, zipped{"a/x.csv", tinyCSV}, zipped{".y", tinyCSV}, zipped{"z.txt", prose}))
	f.Add(archive(f, zipped{"x.txt", prose}, zipped{"produkt_klima_tag_1.txt", tinyCSV}))
	f.Add([]byte("PK\x03\x04"))
	f.Fuzz(func(t *testing.T, body []byte) {
		text, err := weather.Unpack(bytes.NewReader(body))
		if err != nil {
			var file *weather.FileError
			if text != "" || !errors.As(err, &file) || file.Detail() == "" {
				t.Fatalf("%q, %v", text, err)
			}
			return
		}
		if len(text) > weather.MaxBytes {
			t.Fatalf("%d bytes", len(text))
		}
		// What is packed comes out as it was, and only once.
		if text == "" {
			return
		}
		for name, again := range map[string][]byte{"gzip": packed(t, []byte(text)), "zip": archive(t, zipped{"x", text})} {
			if back, err := weather.Unpack(bytes.NewReader(again)); err != nil || back != text {
				t.Fatalf("%s: %q, %v", name, back, err)
			}
		}
	})
}
