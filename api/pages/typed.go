package pages

import (
	"encoding/csv"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"ripetide/forecast"
	"ripetide/weather"
)

// slugOf makes an identifier of a name: "Hügel Farm" is hugel-farm. It returns
// "" where no letter or digit of the Latin alphabet is left.
func slugOf(name string) string {
	var b strings.Builder
	dash := false
	name = strings.NewReplacer("ß", "ss", "æ", "ae", "ø", "o", "đ", "d", "ł", "l", "&", " and ").Replace(strings.ToLower(name))
	for _, r := range norm.NFD.String(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			if dash && b.Len() > 0 {
				b.WriteByte('-')
			}
			dash = false
			b.WriteRune(r)
		case unicode.Is(unicode.Mn, r): // The accent of the letter before.
		default:
			dash = true
		}
		if b.Len() >= 56 { // Leaves room for a number.
			break
		}
	}
	return b.String()
}

// freeSlug makes an identifier of a name that is not taken yet; what is called
// it when the name has no Latin letter.
func freeSlug(name, what string, taken func(string) bool) string {
	slug := slugOf(name)
	if slug == "" {
		slug = what
	}
	if !taken(slug) {
		return slug
	}
	for n := 2; ; n++ {
		if s := slug + "-" + strconv.Itoa(n); !taken(s) {
			return s
		}
	}
}

var (
	yearOnly   = regexp.MustCompile(`^\d{4}$`)
	dotDate    = regexp.MustCompile(`^(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})$`)
	slashDate  = regexp.MustCompile(`^(\d{1,2})[/-](\d{1,2})[/-](\d{4})$`)
	wordLayout = []string{
		"2 Jan 2006", "2 January 2006", "2. Jan 2006", "2. January 2006", "Jan 2 2006", "January 2 2006", "2006 Jan 2", "2006 January 2", "2-Jan-2006",
	}
)

// readDate reads a date as people write it, always with its year. Two numbers
// that could be a day and a month either way are read as at the farm when it
// has US units, and asked about elsewhere. A weekday before it must be right.
// It returns a clause that says what is wrong, or "".
func readDate(text string, u forecast.Units) (d weather.Date, fault string) {
	t := strings.Join(strings.Fields(strings.ReplaceAll(text, ",", " ")), " ")
	var said *time.Weekday
	if first, rest, ok := strings.Cut(t, " "); ok {
		if w, is := weekdayCalled(first); is {
			said, t = &w, rest
		}
	}
	d, fault = readDateOnly(t, u)
	if fault == "" && said != nil && d.Weekday() != *said {
		return 0, fmt.Sprintf("cannot be: %s was a %s", d.Time().Format("2 Jan 2006"), d.Weekday())
	}
	return d, fault
}

func readDateOnly(t string, u forecast.Units) (d weather.Date, fault string) {
	if t == "" {
		return 0, "is needed"
	}
	iso := t
	switch m := slashDate.FindStringSubmatch(t); {
	case dotDate.MatchString(t):
		m = dotDate.FindStringSubmatch(t)
		iso = isoOf(m[3], m[2], m[1])
	case m != nil:
		a, _ := strconv.Atoi(m[1])
		b, _ := strconv.Atoi(m[2])
		switch {
		case a > 12:
			iso = isoOf(m[3], m[2], m[1])
		case b > 12, a == b, u == forecast.US:
			iso = isoOf(m[3], m[1], m[2])
		default:
			return 0, fmt.Sprintf("can be read in two ways: write %s or %s", isoOf(m[3], m[2], m[1]), isoOf(m[3], m[1], m[2]))
		}
	default:
		for _, layout := range wordLayout {
			if x, err := time.Parse(layout, t); err == nil {
				iso = x.Format(time.DateOnly)
			}
		}
	}
	d, err := weather.ParseDate(iso)
	if err != nil {
		return 0, "is not a date with its year, such as 2015-04-20 or 20 Apr 2015"
	}
	return d, ""
}

func isoOf(year, month, day string) string {
	return fmt.Sprintf("%s-%02s-%02s", year, month, day)
}

func weekdayCalled(s string) (time.Weekday, bool) {
	s = strings.ToLower(strings.TrimRight(s, "."))
	for w := time.Sunday; w <= time.Saturday; w++ {
		if name := strings.ToLower(w.String()); len(s) >= 3 && strings.HasPrefix(name, s) {
			return w, true
		}
	}
	return 0, false
}

// readDegrees reads a latitude or longitude: "-83.7", "83.7 W". plus and minus
// are the letters of the two directions.
func readDegrees(text, plus, minus string, u forecast.Units) (x float64, fault string) {
	t := strings.ToUpper(strings.TrimSpace(strings.ReplaceAll(text, "°", " ")))
	sign := 0.0
	for letter, s := range map[string]float64{plus: 1, minus: -1} {
		if rest, ok := strings.CutSuffix(t, letter); ok {
			t, sign = rest, s
		} else if rest, ok := strings.CutPrefix(t, letter); ok {
			t, sign = rest, s
		}
	}
	x, fault = readNumber(t, u)
	switch {
	case fault == "is not a number":
		return 0, "is not a number of degrees, such as 42.3 or 42.3 " + plus
	case sign != 0 && x < 0:
		return 0, "has both a minus and a letter: write one of them"
	case sign < 0:
		x = -x
	}
	return x, fault
}

var placePair = regexp.MustCompile(`^\s*(\S+?°?\s?[NnSs]?)\s*[,;]\s+(\S+\s?[EeWw]?)\s*$`)

// pair parts a place that was pasted whole into the field of the latitude.
func pair(lat, lon string) (string, string) {
	if m := placePair.FindStringSubmatch(lat); m != nil && strings.TrimSpace(lon) == "" {
		return m[1], m[2]
	}
	return lat, lon
}

// zoneFits reports whether a time zone can be that of a longitude: clocks stray
// from the sun by less than five hours everywhere.
func zoneFits(zone *time.Location, lon float64, now time.Time) bool {
	_, offset := now.In(zone).Zone()
	return math.Abs(math.Remainder(float64(offset)/3600-lon/15, 24)) < 5
}

var classWords = map[string]forecast.Class{
	"early": forecast.Early, "earlymid": forecast.EarlyMid, "midearly": forecast.EarlyMid, "earlymidseason": forecast.EarlyMid,
	"mid": forecast.Mid, "midseason": forecast.Mid, "latemid": forecast.LateMid, "midlate": forecast.LateMid, "latemidseason": forecast.LateMid,
	"late": forecast.Late, "verylate": forecast.VeryLate,
}

// className are the classes in words.
var className = [...]string{"early", "early to mid", "mid", "mid to late", "late", "very late"}

// readClass reads when a variety ripens.
func readClass(text string) (c forecast.Class, fault string) {
	t := strings.NewReplacer(" ", "", "-", "", "_", "", "/", "", "to", "").Replace(strings.ToLower(text))
	if c, ok := classWords[t]; ok {
		return c, ""
	}
	return 0, "is not one of early, early mid, mid, late mid, late, very late"
}

var stageWords = map[string]forecast.Stage{
	"bloom10": forecast.Bloom10, "bloom": forecast.Bloom10, "10%bloom": forecast.Bloom10, "bloom10%": forecast.Bloom10,
	"bloomfull": forecast.BloomFull, "fullbloom": forecast.BloomFull,
	"firstripe": forecast.FirstRipe, "ripe": forecast.FirstRipe,
	"peak": forecast.Peak, "lastpick": forecast.LastPick, "last": forecast.LastPick,
}

// stageName are the stages in words.
var stageName = [...]string{"bloom", "full bloom", "first ripe", "peak", "last pick"}

// readStage reads a stage.
func readStage(text string) (s forecast.Stage, fault string) {
	t := strings.NewReplacer(" ", "", "-", "", "_", "").Replace(strings.ToLower(text))
	if s, ok := stageWords[t]; ok {
		return s, ""
	}
	return 0, "is not one of bloom, full bloom, first ripe, peak, last pick"
}

// line is a line of a pasted list, in its cells.
type line struct {
	number int    // In the text, from 1.
	text   string // As it was typed.
	cells  []string
}

// readLines parts a pasted list into lines and cells. The delimiter is the
// first of tab, semicolon, bar and comma that the list uses. Empty lines are
// passed over.
func readLines(text string) []line {
	var lines []line
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\ufeff", "").Replace(text)
	by := ','
	for _, d := range []rune{'\t', ';', '|'} {
		if strings.ContainsRune(text, d) {
			by = d
			break
		}
	}
	n := 0
	for t := range strings.SplitSeq(text, "\n") {
		n++
		if strings.Trim(t, " \t;,|") == "" {
			continue
		}
		r := csv.NewReader(strings.NewReader(t))
		r.Comma, r.LazyQuotes, r.FieldsPerRecord = by, true, -1
		r.TrimLeadingSpace = by != '\t'
		cells, err := r.Read()
		if err != nil {
			cells = strings.Split(t, string(by))
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		lines = append(lines, line{n, t, cells})
	}
	return lines
}

// columns finds which cell holds what. A first line that names a known column
// in its first cell is a header, and is taken off; otherwise the cells stand in
// the order of known. words are what columns may be called.
func columns(lines []line, known []string, words map[string]string) (at map[string]int, rest []line, strange []string) {
	at = map[string]int{}
	plain := func(s string) string {
		s, _, _ = strings.Cut(strings.ToLower(s), "(")
		return strings.TrimSpace(strings.NewReplacer("_", " ", "-", " ").Replace(s))
	}
	if len(lines) == 0 || words[plain(lines[0].cells[0])] == "" {
		for i, k := range known {
			at[k] = i
		}
		return at, lines, nil
	}
	for i, c := range lines[0].cells {
		k := words[plain(c)]
		switch _, twice := at[k]; {
		case k == "" && c != "", twice:
			strange = append(strange, c)
		case k != "":
			at[k] = i
		}
	}
	return at, lines[1:], strange
}

// cell returns what a line holds in a column, or "".
func (l line) cell(at map[string]int, column string) string {
	if i, ok := at[column]; ok && i < len(l.cells) {
		return l.cells[i]
	}
	return ""
}

// without returns a text of lines with some of them taken out.
func without(text string, numbers []int) string {
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
	var keep []string
	for i, l := range lines {
		if !slices.Contains(numbers, i+1) {
			keep = append(keep, l)
		}
	}
	return strings.TrimSpace(strings.Join(keep, "\n"))
}
