package announce

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"ripetide/forecast"
)

// Placeholders are what may stand in a text, and what each becomes.
var Placeholders = []Placeholder{
	{"farm", "The farm's name."},
	{"opening", "The sentence on when you open."},
	{"when", "The same in a few words, for a sign."},
	{"ripe", "What is ripe this week; nothing while you are closed."},
	{"next", "What comes next; nothing while you are closed."},
	{"peak", "The week with the most fruit, once it is sure enough."},
	{"caution", "That dates depend on the weather."},
	{"hours", "Your hours, as you set them."},
	{"where", "How to find you, as you set it."},
	{"phone", "Your telephone number."},
	{"website", "Your website."},
	{"today", "The date of the text."},
}

// Placeholder is a name that a text may hold in braces.
type Placeholder struct {
	Name  string
	About string
}

var placeholder = regexp.MustCompile(`\{([^{}]*)\}`)

// Check returns what is wrong with a text of a farm's own, or "": placeholders
// that are none, and what does not belong in words for the public.
func Check(text string) string {
	for _, m := range placeholder.FindAllStringSubmatch(text, -1) {
		if !slices.ContainsFunc(Placeholders, func(p Placeholder) bool { return p.Name == m[1] }) {
			var names []string
			for _, p := range Placeholders {
				names = append(names, "{"+p.Name+"}")
			}
			return fmt.Sprintf("has %s, which is none of %s", m[0], strings.Join(names, " "))
		}
	}
	if strings.Count(text, "{") != len(placeholder.FindAllString(text, -1)) || strings.Count(text, "}") != strings.Count(text, "{") {
		return "has a brace that is not part of a placeholder such as {opening}"
	}
	plain := strings.ToLower(placeholder.ReplaceAllString(text, ""))
	for _, word := range []string{"%", "percent", "per cent", "prozent", "pourcent", "pour cent", "degree-day", "degree day", "gradtag", "degré-jour", "degrés-jour", "gdd", "°f·d", "°c·d"} {
		if strings.Contains(plain, word) {
			return fmt.Sprintf("has %q: no probabilities or degree-days in words for the public", word)
		}
	}
	for _, word := range []string{"guarantee", "garantier", "garanti"} {
		if strings.Contains(plain, word) {
			return fmt.Sprintf("has %q: weather cannot be promised", word)
		}
	}
	return ""
}

// Default returns the text that comes with the program.
func (l *Language) Default(t forecast.Text) string { return l.texts[string(t)] }

var (
	spaces    = regexp.MustCompile(`[ \t]+`)
	blankEnds = regexp.MustCompile(` *\n *`)
	blankRows = regexp.MustCompile(`\n{2,}`)
)

// Fill returns a text with its placeholders filled: the farm's own, or the
// program's. What a placeholder leaves empty leaves no space behind.
func Fill(t forecast.Text, a forecast.Announcing, s State) string {
	l := LanguageOf(a.LanguageOf(s.Farm.Units))
	text := a.Texts[t]
	if text == "" {
		text = l.Default(t)
	}
	filled := strings.NewReplacer(
		"{farm}", s.Farm.Name,
		"{opening}", l.Opening(s),
		"{when}", l.When(s),
		"{ripe}", l.Ripe(s),
		"{next}", l.Next(s),
		"{peak}", l.Peak(s),
		"{caution}", l.Caution(),
		"{hours}", sentence(a.Hours),
		"{where}", sentence(a.Where),
		"{phone}", a.Phone,
		"{website}", a.Website,
		"{today}", l.Date(s.Today),
	).Replace(text)
	filled = spaces.ReplaceAllString(filled, " ")
	filled = blankEnds.ReplaceAllString(filled, "\n")
	return strings.TrimSpace(blankRows.ReplaceAllString(filled, "\n"))
}

// sentence ends a note with a full stop.
func sentence(s string) string {
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "!") {
		return s
	}
	return s + "."
}
