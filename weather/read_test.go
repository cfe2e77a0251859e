package weather_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"ripetide/weather"
)

const annArborFile = "../testdata/weather/ann_arbor_1976_2018.csv"

// annArbor returns the days of the file that testdata/README.md describes.
func annArbor(tb testing.TB) []weather.Day {
	tb.Helper()
	f, err := os.Open(annArborFile)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	r, err := weather.Read(f, weather.ReadOptions{Latest: today})
	if err != nil {
		tb.Fatal(err)
	}
	return r.Days
}

func packed(tb testing.TB, body []byte) []byte {
	tb.Helper()
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestSpeed)
	if err != nil {
		tb.Fatal(err)
	}
	if _, err := z.Write(body); err != nil {
		tb.Fatal(err)
	}
	if err := z.Close(); err != nil {
		tb.Fatal(err)
	}
	return out.Bytes()
}

func TestReadAnnArbor(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile(annArborFile)
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"plain": body, "packed": packed(t, body)} {
		r, err := weather.Read(iotest.HalfReader(bytes.NewReader(b)), weather.ReadOptions{Latest: today})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		mustAddUp(t, r)
		// wc -l counts 15,580 lines with the header.
		if len(r.Days) != 15_579 || len(r.Refused) != 0 || r.Repeats != 0 || r.Unit != weather.Celsius || r.Format != "csv" {
			t.Errorf("%s: %d days, %d repeats, %v refused, unit %s, format %s", name, len(r.Days), r.Repeats, r.Refused, r.Unit, r.Format)
		}
		first, last := r.Days[0], r.Days[len(r.Days)-1]
		if want := (weather.Day{Date: weather.DateOf(1976, 1, 1), Min: -5, Max: 0.6}); first != want {
			t.Errorf("%s: first day %v, want %v", name, first, want)
		}
		if want := (weather.Day{Date: weather.DateOf(2018, 9, 25), Min: 17.8, Max: 23.9}); last != want {
			t.Errorf("%s: last day %v, want %v", name, last, want)
		}
		day := weather.DateOf(1991, 6, 8) // A minimum of -15.0 that failed its checks.
		if _, ok := slices.BinarySearchFunc(r.Days, day, func(d weather.Day, t weather.Date) int { return int(d.Date - t) }); ok {
			t.Errorf("%s: %s is there", name, day)
		}
	}
}

func TestReadRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	const row = "2026-05-01,1,2\n"
	big := "date,min_c,max_c\n" + strings.Repeat("\n", weather.MaxBytes)
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"empty", "", weather.ReadOptions{}, weather.ErrNoRows, "empty"},
		{"blank", "\uFEFF \r\n\n", weather.ReadOptions{}, weather.ErrNoRows, "empty"},
		{"header only", "date,min_c,max_c\r\n", weather.ReadOptions{}, weather.ErrNoRows, "no rows"},
		{"header and blank rows only", "date,min_c,max_c\n,,\n \n", weather.ReadOptions{}, weather.ErrNoRows, "no rows"},
		{"rows without a header", row + row, weather.ReadOptions{}, weather.ErrUnknownFormat, `begins "2026-05-01,1,2"`},
		{"prose", "Dear Sir,\nthe date", weather.ReadOptions{}, weather.ErrUnknownFormat, `begins "Dear Sir,"`},
		{"a picture", "\x89PNG\r\n\x1a\n\x00\x00", weather.ReadOptions{}, weather.ErrUnknownFormat, "PNG"},
		{"UTF-16", "\xff\xfed\x00a\x00t\x00e\x00,\x00", weather.ReadOptions{}, weather.ErrUnknownFormat, "d"},
		{"semicolons", "date;min;max\n2026-05-01;1;2\n", weather.ReadOptions{}, weather.ErrUnitUnknown, "does not tell its unit"},
		{"a name that is no format", row, weather.ReadOptions{Format: "xls"}, weather.ErrUnknownFormat, `"xls" is none of: ghcn-dly, `},
		{"no date, though said to be a CSV", "day,min,max\n" + row, weather.ReadOptions{Format: "csv"}, weather.ErrBadHeader, "no column date"},
		{"no min", "date,low,max_c\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "no column min, nor tmin"},
		{"no max", "date,tmin_c,high\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "no column max, nor tmax"},
		{"a column twice", "date,min_c,max_c,TMIN_F\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, `columns "min_c" and "TMIN_F" are the same`},
		{"date twice", "date,min_c,max_c,Date\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, `columns "date" and "Date" are the same`},
		{"two units", "date,min_c,max_f\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, `"min_c" and "max_f" do not tell the same unit`},
		{"a unit and none", "date,min_c,max\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "do not tell the same unit"},
		{"an open quote in the header", "date,\"min_c,max_c\n" + row, weather.ReadOptions{Format: "csv"}, weather.ErrBadHeader, "quote"},
		{"a header without end", "date,min,max," + strings.Repeat("x", 70_000), weather.ReadOptions{Format: "csv"}, weather.ErrBadHeader, "longer than 65536 bytes"},
		{"no unit", "date,min,max\n" + row, weather.ReadOptions{}, weather.ErrUnitUnknown, "say whether it is C or F"},
		{"a unit that is none", "date,min,max\n" + row, weather.ReadOptions{Unit: "K"}, weather.ErrUnitUnknown, `"K"`},
		{"another unit than said", "date,min_f,max_f\n" + row, weather.ReadOptions{Unit: "C"}, weather.ErrUnitConflict, "°F, the request says °C"},
		{"evidently °F", "date,min,max\n2026-05-01,50,70\n2026-05-02,51,70\n2026-05-03,52,70\n", weather.ReadOptions{Unit: "C"}, weather.ErrWrongUnit, "°F?"},
		{"too large", big, weather.ReadOptions{}, weather.ErrTooLarge, "32 MiB"},
		{"too large unpacked", string(packed(t, []byte(big))), weather.ReadOptions{}, weather.ErrTooLarge, "32 MiB"},
		{"packed, cut off", string(packed(t, []byte(strings.Repeat(row, 99)))[:40]), weather.ReadOptions{}, weather.ErrDamaged, "does not unpack"},
		{"packed, with a wrong checksum", flip(packed(t, []byte(row)), -6), weather.ReadOptions{}, weather.ErrDamaged, "does not unpack"},
		{"packed, only the beginning", "\x1f\x8b", weather.ReadOptions{}, weather.ErrDamaged, "does not unpack"},
		{"packed, nothing", string(packed(t, nil)), weather.ReadOptions{}, weather.ErrNoRows, "empty"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.opt.Latest = today
			r, err := weather.Read(strings.NewReader(tt.body), tt.opt)
			var file *weather.FileError
			if r != nil || !errors.Is(err, tt.want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), tt.says) {
				t.Fatalf("got %v, %v; want %v: … %s …", r, err, tt.want, tt.says)
			}
			if len(file.Detail()) > 400 || strings.ContainsAny(file.Detail(), "\x00\n\r") {
				t.Errorf("detail %q", file.Detail())
			}
		})
	}
}

// flip changes a byte, counted from the end.
func flip(b []byte, at int) string {
	b[len(b)+at] ^= 0xff
	return string(b)
}

// A connection that breaks is no damaged file, and its error is kept.
func TestReadKeepsTheErrorOfTheReader(t *testing.T) {
	t.Parallel()
	broken := errors.New("connection reset")
	body := []byte("date,min_c,max_c\n" + strings.Repeat("2026-05-01,1,2\n", 5000))
	for name, b := range map[string][]byte{"plain": body, "packed": packed(t, body)} {
		r := io.MultiReader(bytes.NewReader(b[:len(b)/2]), iotest.ErrReader(broken))
		_, err := weather.Read(r, weather.ReadOptions{Latest: today})
		if !errors.Is(err, broken) || errors.Is(err, weather.ErrDamaged) {
			t.Errorf("%s: got %v", name, err)
		}
	}
	_, err := weather.Read(iotest.ErrReader(broken), weather.ReadOptions{})
	if !errors.Is(err, broken) {
		t.Errorf("at once: got %v", err)
	}
	if _, err := weather.Read(zeros{}, weather.ReadOptions{}); !errors.Is(err, weather.ErrTooLarge) {
		t.Errorf("a reader without end: got %v", err)
	}
	header, emptyBlock := "\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff", []byte("\x00\x00\x00\xff\xff") // RFC 1952, RFC 1951 3.2.4.
	endless := io.MultiReader(strings.NewReader(header), &again{b: bytes.Repeat(emptyBlock, 1000)})
	if _, err := weather.Read(endless, weather.ReadOptions{}); !errors.Is(err, weather.ErrTooLarge) {
		t.Errorf("packed nothing without end: got %v", err)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// again reads b over and over.
type again struct {
	b  []byte
	at int
}

func (a *again) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		k := copy(p[n:], a.b[a.at:])
		n += k
		a.at = (a.at + k) % len(a.b)
	}
	return n, nil
}

func TestFormats(t *testing.T) {
	t.Parallel()
	got := weather.Formats()
	if !slices.Contains(got, "csv") {
		t.Errorf("formats: %v", got)
	}
	for _, name := range got {
		if _, err := weather.Read(strings.NewReader("x"), weather.ReadOptions{Format: name}); errors.Is(err, weather.ErrUnknownFormat) && name == "csv" {
			t.Errorf("%s is not known by its name", name)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("date,min_c,max_c\n2026-05-01,1.5,12\n"), "")
	f.Fuzz(func(t *testing.T, body []byte, unit string) {
		opt := weather.ReadOptions{Unit: weather.Unit(unit), Latest: today}
		r, err := weather.Read(bytes.NewReader(body), opt)
		if err != nil {
			var file *weather.FileError
			if r != nil || !errors.As(err, &file) || file.Detail() == "" {
				t.Fatalf("%v, %v", r, err)
			}
			return
		}
		mustAddUp(t, r)
		if r.Received == 0 && r.Blank == 0 {
			t.Fatal("no row and no error")
		}
		again, err := weather.Read(bytes.NewReader(packed(t, body)), opt)
		if bytes.HasPrefix(body, []byte("\x1f\x8b")) {
			return // Packed twice is not undone twice.
		}
		if err != nil || !slices.Equal(again.Days, r.Days) || !slices.Equal(again.Refused, r.Refused) {
			t.Fatalf("packed: %v, %v", again, err)
		}
		// What is good stays good when read again by itself.
		var plain strings.Builder
		plain.WriteString("max_c,date,note,min_c\r\n")
		for _, d := range r.Days {
			plain.WriteString(number(d.Max) + "," + d.Date.String() + ",\"a \"\"note\"\",\"," + number(d.Min) + "\r\n")
		}
		if len(r.Days) == 0 {
			return
		}
		back, err := weather.Read(strings.NewReader(plain.String()), weather.ReadOptions{Latest: today})
		if err != nil || !slices.Equal(back.Days, r.Days) || len(back.Refused) != 0 {
			t.Fatalf("written and read again: %v, %v", back, err)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	body, err := os.ReadFile(annArborFile)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(body)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := weather.Read(bytes.NewReader(body), weather.ReadOptions{Latest: today})
		if err != nil || len(r.Days) != 15_579 {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/15_579, "ns/row")
}
