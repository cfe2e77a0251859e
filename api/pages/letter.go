package pages

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	html "html/template"
	"strings"
	"text/template"
	"time"

	"ripetide/api"
	"ripetide/api/mail"
	"ripetide/forecast"
)

// Letters writes mails in the words of the pages.
type Letters struct {
	Store    api.Store
	Forecast *forecast.Service
	Public   string // Address of the pages, for links; "" for none.
}

var _ mail.Writer = (*Letters)(nil)

//go:embed letter
var letterFiles embed.FS

// Each letter has a text and an HTML of the same name.
var (
	letterTexts = template.Must(template.New("").Funcs(template.FuncMap{"upper": strings.ToUpper, "sentence": sentence, "capital": capital}).ParseFS(letterFiles, "letter/*.txt"))
	letterPages = html.Must(html.New("").Funcs(html.FuncMap{"sentence": sentence, "capital": capital}).ParseFS(letterFiles, "letter/*.html"))
)

const (
	mostLetterRows  = 60 // Plantings that a letter names.
	mostLetterTasks = 20
)

// letterPage is what a letter says.
type letterPage struct {
	Subject string
	Farm    string
	Page    string // Address of the page; "" for no link.
	Link    string // By which the reader confirms or leaves.
	Until   string // When the link is of no use any more.

	Morning  morningPage
	More     string // What is left out of a very long letter.
	Opening  openingPage
	Undecide bool // The opening's state is told with how sure it is.
}

// write fills a letter's templates.
func (l letterPage) write(name string) (mail.Letter, error) {
	var text, page bytes.Buffer
	if err := letterTexts.ExecuteTemplate(&text, name+".txt", l); err != nil {
		return mail.Letter{}, fmt.Errorf("write letter: %w", err)
	}
	if err := letterPages.ExecuteTemplate(&page, name+".html", l); err != nil {
		return mail.Letter{}, fmt.Errorf("write letter: %w", err)
	}
	return mail.Letter{Subject: l.Subject, Text: text.String(), HTML: page.String()}, nil
}

// Ask implements [mail.Writer].
func (l *Letters) Ask(farm forecast.Farm, link string) (mail.Letter, error) {
	return letterPage{
		Subject: "Do you want the morning mail of " + farm.Name + "?", Farm: farm.Name, Link: link,
		Until: count(int(mail.AskTime/(24*time.Hour)), "day", "days"),
	}.write("ask")
}

// Test implements [mail.Writer].
func (l *Letters) Test(farm forecast.Farm) (mail.Letter, error) {
	return letterPage{Subject: "A test of the mail of " + farm.Name, Farm: farm.Name, Page: l.page(&farm)}.write("test")
}

func (l *Letters) page(farm *forecast.Farm) string {
	if l.Public == "" {
		return ""
	}
	return l.Public + "/f/" + farm.ID
}

// Morning implements [mail.Writer]. There is none before the first forecast of a
// season, and none of an old forecast once the season is over.
func (l *Letters) Morning(ctx context.Context, farm forecast.Farm, at time.Time, late bool) (mail.Morning, bool, error) {
	z, err := l.Store.LatestForecast(ctx, farm.ID)
	if errors.Is(err, forecast.ErrForecastNotFound) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	today, err := farm.Today(at)
	if err != nil {
		return nil, false, err
	}
	if z.AsOf < today && !late || z.Season != forecast.SeasonOf(today, farm.Southern()) {
		return nil, false, nil
	}
	now := func() time.Time { return at }
	p, err := readMorning(ctx, api.SprayBook{Store: l.Store, Forecast: l.Forecast, Now: now}, &farm, false, false)
	if err != nil {
		return nil, false, err
	}
	if p.Nothing || p.before || p.over && p.asOf < today {
		return nil, false, nil
	}
	o, err := api.ReadOpening(ctx, l.Store, l.Forecast, farm.ID, "", at)
	if err != nil {
		return nil, false, err
	}
	return morningLetter{newMorningLetter(&farm, p, o, l.page(&farm))}, true, nil
}

// morningLetter is the letter of a morning, for all its readers.
type morningLetter struct{ letterPage }

// Letter implements [mail.Morning].
func (m morningLetter) Letter(leave string) (mail.Letter, error) {
	m.Link = leave
	return m.write("morning")
}

// newMorningLetter says what the morning page says, with the opening's state.
func newMorningLetter(farm *forecast.Farm, p morningPage, o *api.Opening, page string) letterPage {
	l := letterPage{Farm: farm.Name, Page: page, Morning: p}
	l.Subject = Day(farm, o.Today) + ". " + p.Summary
	if p.asOf < o.Today {
		l.Subject = Day(farm, o.Today) + ", by the forecast of " + Day(farm, p.asOf) + ". " + p.Summary
	}
	l.Morning.Blocks, l.More = shorten(p.Blocks)
	l.Morning.Coming, _ = shorten(p.Coming)
	if n := len(p.Tasks) - mostLetterTasks; n > 0 {
		l.Morning.Tasks = append(p.Tasks[:mostLetterTasks:mostLetterTasks], morningTask{What: count(n, "more thing", "more things") + " on the page"})
	}
	l.Opening.answer(o)
	if !o.IsOpen() && !o.IsOver() {
		l.Undecide = true
		l.Opening.Says = api.CertaintyWords[o.Certainty()]
		l.Opening.Channels = channelLines(o)
	}
	return l
}

// shorten leaves out the last of very many plantings.
func shorten(blocks []morningBlock) (out []morningBlock, more string) {
	left, n := mostLetterRows, 0
	for _, b := range blocks {
		if k := max(0, len(b.Rows)-left); k > 0 {
			n += k
			b.Rows = b.Rows[:len(b.Rows)-k]
		}
		left -= len(b.Rows)
		if len(b.Rows) > 0 {
			out = append(out, b)
		}
	}
	if n > 0 {
		more = "and " + count(n, "more planting", "more plantings")
	}
	return out, more
}
