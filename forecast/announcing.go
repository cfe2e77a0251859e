package forecast

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// Announcing is how a farm tells people about its season. Zero values mean "not
// set".
type Announcing struct {
	Language string          // Of dates and of the texts that come with the program, one of [Languages].
	Texts    map[Text]string // The farm's own texts, with {placeholders}; others come with the program.
	Hours    string          // When it is open, in words.
	Where    string          // How to find it.
	Phone    string
	Website  string
	Public   PublicPage
	Windows  bool // Whether the calendar shows when varieties are expected.
}

// PublicPage is what everybody may see without a key.
type PublicPage struct {
	On        bool // Nothing is public otherwise.
	Varieties bool // What is ripe, by name.
	Ahead     bool // What is expected after it.
}

// Text is a text to be announced.
type Text string

// The texts, from the shortest on.
const (
	TextSign      Text = "sign"      // At the road.
	TextTelephone Text = "telephone" // Read out by the answering machine, about twenty seconds.
	TextPost      Text = "post"      // For a page or a message to many.
	TextPaper     Text = "paper"     // For print, about fifty words.
)

// Texts are all of them.
var Texts = []Text{TextSign, TextTelephone, TextPost, TextPaper}

// Languages are the languages that texts come in: BCP 47 tags.
var Languages = []string{"en-GB", "en-US", "de", "fr"}

// LanguageOf returns the language of a farm that has set none: that of its
// units.
func (a Announcing) LanguageOf(u Units) string {
	switch {
	case a.Language != "":
		return a.Language
	case u == US:
		return "en-US"
	}
	return "en-GB"
}

// mostText is the longest text of a farm, in characters.
const mostText = 2000

// Validate returns every fault of a, each a [*FieldError], but for what only
// the filling of its texts can tell.
func (a Announcing) Validate() []error {
	var v faults
	if a.Language != "" && !slices.Contains(Languages, a.Language) {
		v.add("language", "must be one of %s", strings.Join(Languages, ", "))
	}
	for t, s := range a.Texts {
		field := "texts." + string(t)
		if !slices.Contains(Texts, t) {
			v.add(field, "is no text; they are sign, telephone, post and paper")
		}
		if utf8.RuneCountInString(s) > mostText {
			v.add(field, "must be at most %d characters", mostText)
		}
		if strings.ContainsFunc(s, func(r rune) bool { return r != '\n' && hidden(r) }) {
			v.add(field, "must not hold control characters but the end of a line")
		}
	}
	v.note("hours", a.Hours)
	v.note("where", a.Where)
	v.note("phone", a.Phone)
	v.note("website", a.Website)
	if a.Website != "" && !strings.HasPrefix(a.Website, "https://") && !strings.HasPrefix(a.Website, "http://") {
		v.add("website", "must begin with https:// or http://")
	}
	return v.errs
}
