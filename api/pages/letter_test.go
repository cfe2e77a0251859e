package pages_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ripetide/api"
	"ripetide/api/announce"
	"ripetide/api/mail"
	"ripetide/api/pages"
	"ripetide/forecast"
	"ripetide/weather"
)

// letter writes the letter of a forecast on mon11.
func letter(t *testing.T, farm forecast.Farm, f *forecast.Forecast, names map[string]string, blocks []forecast.Block, page, leave string) mail.Letter {
	t.Helper()
	var vs []forecast.Variety
	for id, n := range names {
		vs = append(vs, forecast.Variety{ID: id, Name: n})
	}
	o := &api.Opening{State: announce.State{Farm: farm, Forecast: f, Varieties: names, Today: mon11}}
	l, err := pages.MorningLetter(&farm, pages.NewMorning(&farm, mon11, f, vs, nil, blocks, false), o, page, leave)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func says(t *testing.T, l mail.Letter, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(l.Text, w) {
			t.Errorf("the text does not say %q:\n%s", w, l.Text)
		}
	}
}

func TestAMorningsLetterSaysWhatIsClosed(t *testing.T) {
	t.Parallel()
	until := time.Date(2018, 6, 11, 22, 0, 0, 0, time.UTC)
	then := until.Add(-12 * time.Hour)
	closed := forecast.Closure{Spray: forecast.Spray{Name: "Fungus", SprayedAt: &then}, EnterAgain: until, PickAgain: until, Until: until}
	blocks := []forecast.Block{{Name: "Sandbar", Closed: &closed}, {Name: "Creek"}}
	f := thisMorning(dated("w1", "w", "Sandbar", mon11-4, mon11+4), dated("c12", "c", "Creek", mon11+2, mon11+9))
	l := letter(t, patch(), f, map[string]string{"w": "Wrenlight", "c": "Corduroy"}, blocks, "https://x.example/f/hill", "https://x.example/mail/leave/abc")
	says(t, l, "CLOSED AFTER SPRAYING\n\n- Sandbar: Closed until Mon 11 Jun", "Sandbar (Closed until Mon 11 Jun", "  Wrenlight: ripe, until Fri 15 Jun (Thu 14 to Sat 16 Jun)\n",
		"  Corduroy: coming, from Wed 13 Jun (Tue 12 to Thu 14 Jun)\n", "OPENING\n\nNo day to advise yet\n", "All of it: https://x.example/f/hill\n", "To get no more of these mails: https://x.example/mail/leave/abc\n")
	if want := "Mon 11 Jun. 1 block closed after spraying. Ripe: 1 planting in 1 block, 1 coming within 7 days; nothing needs doing."; l.Subject != want {
		t.Errorf("the subject is %q", l.Subject)
	}
	for _, w := range []string{`<span class="shut">Closed until`, "<b>Sandbar</b> Closed until", `<a href="https://x.example/mail/leave/abc">`} {
		if !strings.Contains(l.HTML, w) {
			t.Errorf("the HTML does not hold %q:\n%s", w, l.HTML)
		}
	}
	// Without an address there is no link.
	l = letter(t, patch(), f, map[string]string{"w": "Wrenlight"}, nil, "", "")
	if strings.Contains(l.Text+l.HTML, "href=") || strings.Contains(l.Text, "http") {
		t.Errorf("a link without an address:\n%s", l.Text)
	}
}

func TestALetterIsInTheFarmsUnitsAndEscaped(t *testing.T) {
	t.Parallel()
	farm := patch()
	farm.Units, farm.Name = forecast.US, `Hill & <script>alert("x")</script>`
	f := thisMorning(dated("w1", "w", `A"<b>`, mon11-4, mon11+4))
	l := letter(t, farm, f, map[string]string{"w": `<img src=x onerror=alert(1)>`}, nil, "https://x.example/f/hill", "https://x.example/mail/leave/abc")
	says(t, l, "Morning of Mon Jun 11, Hill & <script>", "until Fri Jun 15 (Thu Jun 14 to Sat 16)")
	for _, bad := range []string{"<script", "<img", "A\"<b>"} {
		if strings.Contains(l.HTML, bad) {
			t.Errorf("the HTML holds %q:\n%s", bad, l.HTML)
		}
	}
}

func TestAVeryLongMorningMakesAShortLetter(t *testing.T) {
	t.Parallel()
	f := thisMorning()
	for i := range 500 {
		f.Plantings = append(f.Plantings, dated(fmt.Sprint("p", i), "w", fmt.Sprint("Block ", i/10), mon11-3, mon11+weather.Date(3+i%5)))
	}
	l := letter(t, patch(), f, map[string]string{"w": strings.Repeat("Wrenlight ", 10)}, nil, "", "")
	if len(l.Text) > 20_000 || len(l.HTML) > 30_000 || strings.Count(l.Text, ": ripe, ") != 60 {
		t.Errorf("%d and %d bytes, %d plantings", len(l.Text), len(l.HTML), strings.Count(l.Text, ": ripe, "))
	}
	says(t, l, "and 440 more plantings")
}
