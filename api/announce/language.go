package announce

import (
	"fmt"
	"strings"
	"time"

	"ripetide/weather"
)

// Language writes dates and sentences in one language.
type Language struct {
	Tag      string // BCP 47.
	months   [12]string
	weekdays [7]string // Sunday first.
	order    string    // Of a date: {weekday}, {day} and {month}.
	first    string    // How the first of a month is written; "": 1.
	sentence map[phrase]string
	and      string
	texts    map[string]string // The program's own, by name.
}

// phrase names a sentence or a part of one.
type phrase string

const (
	beginOf   phrase = "begin of"   // {month}.
	middleOf  phrase = "middle of"  // {month}.
	endOf     phrase = "end of"     // {month}.
	inPart    phrase = "in part"    // {part}, as it stands in a sentence.
	partTo    phrase = "part to"    // {a}, {b}: parts.
	unknown   phrase = "unknown"    //
	partly    phrase = "partly"     // {part}.
	between   phrase = "between"    // {a}, {b}: days.
	week      phrase = "week"       // {a}, {b}: days.
	day       phrase = "day"        // {a}.
	soon      phrase = "soon"       // Ripe, and no day decided.
	open      phrase = "open"       //
	openUntil phrase = "open until" // {a}.
	over      phrase = "over"       //
	peak      phrase = "peak"       // {a}, {b}: days.
	ripeNow   phrase = "ripe now"   // {list}.
	next      phrase = "next"       // {list}.
	caution   phrase = "caution"    //
	untold    phrase = "untold"     // Nothing may be told ahead.
	// The same, as short as a sign wants it.
	unknownShort phrase = "unknown, short"
	soonShort    phrase = "soon, short"
	partlyShort  phrase = "partly, short"
	betweenShort phrase = "between, short"
	dayShort     phrase = "day, short"
	openShort    phrase = "open, short"
	overShort    phrase = "over, short"
)

// languages by tag.
var languages = map[string]*Language{"en-GB": &british, "en-US": &american, "de": &german, "fr": &french}

// LanguageOf returns a language; one that is not known is British English.
func LanguageOf(tag string) *Language {
	if l := languages[tag]; l != nil {
		return l
	}
	return &british
}

var englishSentences = map[phrase]string{
	beginOf: "early {month}", middleOf: "mid-{month}", endOf: "late {month}",
	inPart: "in {part}", partTo: "between {a} and {b}",
	unknown:   "It is too soon to say when our strawberries will be ripe.",
	partly:    "We expect our first strawberries {part}.",
	between:   "We expect to open between {a} and {b}.",
	week:      "We plan to open in the week from {a} to {b}.",
	day:       "We plan to open on {a}.",
	soon:      "The first strawberries are ripe, and we will tell you any day now when we open.",
	open:      "We are open for picking.",
	openUntil: "We are open for picking until {a}.",
	over:      "Our season is over. Thank you for picking with us.",
	peak:      "We expect the most fruit in the week from {a} to {b}.",
	ripeNow:   "Ripe this week: {list}.",
	next:      "Coming next: {list}.",
	untold:    "We will tell you here when we open.",
	caution:   "Dates depend on the weather: please ask or look here before you drive.",

	unknownShort: "later this season", soonShort: "any day now", partlyShort: "{part}", betweenShort: "{a} to {b}",
	dayShort: "from {a}", openShort: "open now", overShort: "over for this year",
}

var englishTexts = map[string]string{
	"sign":      "{farm}\nPick your own strawberries: {when}\n{phone}",
	"telephone": "You have reached {farm}. {opening} {ripe} {hours} {caution} This message was recorded on {today}.",
	"post":      "{opening} {ripe} {peak} {hours}\n{caution} (As of {today}.)",
	"paper":     "{farm}: pick your own strawberries. {opening} {peak} {hours} {where} {caution} {phone}",
}

var englishMonths = [12]string{"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"}

var englishWeekdays = [7]string{"Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"}

var british = Language{
	Tag: "en-GB", months: englishMonths, weekdays: englishWeekdays, order: "{weekday} {day} {month}",
	sentence: englishSentences, and: " and ", texts: englishTexts,
}

var american = Language{
	Tag: "en-US", months: englishMonths, weekdays: englishWeekdays, order: "{weekday}, {month} {day}",
	sentence: englishSentences, and: " and ", texts: englishTexts,
}

var german = Language{
	Tag:      "de",
	months:   [12]string{"Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November", "Dezember"},
	weekdays: [7]string{"Sonntag", "Montag", "Dienstag", "Mittwoch", "Donnerstag", "Freitag", "Samstag"},
	order:    "{weekday}, {day}. {month}",
	and:      " und ",
	sentence: map[phrase]string{
		beginOf: "Anfang {month}", middleOf: "Mitte {month}", endOf: "Ende {month}",
		inPart: "{part}", partTo: "zwischen {a} und {b}",
		unknown:   "Wann unsere Erdbeeren reif werden, lässt sich noch nicht sagen.",
		partly:    "Die ersten Erdbeeren erwarten wir {part}.",
		between:   "Wir öffnen voraussichtlich zwischen {a} und {b}.",
		week:      "Wir wollen in der Woche von {a} bis {b} öffnen.",
		day:       "Wir wollen am {a} öffnen.",
		soon:      "Die ersten Erdbeeren sind reif; wann wir öffnen, sagen wir in den nächsten Tagen.",
		open:      "Das Feld ist zum Selbstpflücken geöffnet.",
		openUntil: "Das Feld ist zum Selbstpflücken geöffnet, bis {a}.",
		over:      "Die Saison ist zu Ende. Danke, dass Sie bei uns gepflückt haben.",
		peak:      "Die meisten Früchte erwarten wir in der Woche von {a} bis {b}.",
		ripeNow:   "Diese Woche reif: {list}.",
		next:      "Als Nächstes: {list}.",
		untold:    "Wann wir öffnen, steht dann hier.",
		caution:   "Alles hängt vom Wetter ab: Bitte fragen oder schauen Sie hier nach, bevor Sie losfahren.",

		unknownShort: "später in der Saison", soonShort: "in den nächsten Tagen", partlyShort: "{part}", betweenShort: "{a} bis {b}",
		dayShort: "ab {a}", openShort: "geöffnet", overShort: "für dieses Jahr vorbei",
	},
	texts: map[string]string{
		"sign":      "{farm}\nErdbeeren selbst pflücken: {when}\n{phone}",
		"telephone": "Hier ist {farm}. {opening} {ripe} {hours} {caution} Stand: {today}.",
		"post":      "{opening} {ripe} {peak} {hours}\n{caution} (Stand: {today}.)",
		"paper":     "{farm}: Erdbeeren zum Selbstpflücken. {opening} {peak} {hours} {where} {caution} {phone}",
	},
}

var french = Language{
	Tag:      "fr",
	months:   [12]string{"janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre", "octobre", "novembre", "décembre"},
	weekdays: [7]string{"dimanche", "lundi", "mardi", "mercredi", "jeudi", "vendredi", "samedi"},
	order:    "{weekday} {day} {month}", first: "1er",
	and: " et ",
	sentence: map[phrase]string{
		beginOf: "début {month}", middleOf: "mi-{month}", endOf: "fin {month}",
		inPart: "{part}", partTo: "entre {a} et {b}",
		unknown:   "Il est trop tôt pour dire quand nos fraises seront mûres.",
		partly:    "Nous attendons les premières fraises {part}.",
		between:   "Nous pensons ouvrir entre le {a} et le {b}.",
		week:      "Nous prévoyons d’ouvrir dans la semaine du {a} au {b}.",
		day:       "Nous prévoyons d’ouvrir le {a}.",
		soon:      "Les premières fraises sont mûres ; nous dirons dans les prochains jours quand nous ouvrons.",
		open:      "La cueillette est ouverte.",
		openUntil: "La cueillette est ouverte jusqu’au {a}.",
		over:      "La saison est finie. Merci d’être venus cueillir chez nous.",
		peak:      "Nous attendons le plus de fruits dans la semaine du {a} au {b}.",
		ripeNow:   "Mûres cette semaine : {list}.",
		next:      "Ensuite : {list}.",
		untold:    "Nous dirons ici quand nous ouvrons.",
		caution:   "Tout dépend du temps : renseignez-vous ici avant de prendre la route.",

		unknownShort: "plus tard dans la saison", soonShort: "dans les prochains jours", partlyShort: "{part}", betweenShort: "du {a} au {b}",
		dayShort: "à partir du {a}", openShort: "c’est ouvert", overShort: "fini pour cette année",
	},
	texts: map[string]string{
		"sign":      "{farm}\nCueillette de fraises : {when}\n{phone}",
		"telephone": "Vous êtes bien chez {farm}. {opening} {ripe} {hours} {caution} Message du {today}.",
		"post":      "{opening} {ripe} {peak} {hours}\n{caution} (État au {today}.)",
		"paper":     "{farm} : cueillette de fraises. {opening} {peak} {hours} {where} {caution} {phone}",
	},
}

// Date writes a date with its weekday, in words.
func (l *Language) Date(d weather.Date) string {
	_, m, n := d.Civil()
	number := fmt.Sprint(n)
	if n == 1 && l.first != "" {
		number = l.first
	}
	return strings.NewReplacer("{weekday}", l.weekdays[d.Weekday()], "{day}", number, "{month}", l.months[m-1]).Replace(l.order)
}

// say fills a sentence; pairs are names and values.
func (l *Language) say(p phrase, pairs ...string) string {
	for i := 0; i < len(pairs); i += 2 {
		pairs[i] = "{" + pairs[i] + "}"
	}
	return strings.NewReplacer(pairs...).Replace(l.sentence[p])
}

// part returns the third of its month that a date lies in.
func (l *Language) part(d weather.Date) string {
	_, m, n := d.Civil()
	p := middleOf
	switch {
	case n <= 10:
		p = beginOf
	case n > 20:
		p = endOf
	}
	return l.say(p, "month", l.months[m-1])
}

// parts names the thirds of months that lie between two dates, as they stand in
// a sentence.
func (l *Language) parts(from, to weather.Date) string {
	a, b := l.part(from), l.part(to)
	if a == b {
		return l.say(inPart, "part", a)
	}
	return l.say(partTo, "a", a, "b", b)
}

// list joins names.
func (l *Language) list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + l.and + names[last]
}

// weekOf returns the Monday and the Sunday around a date.
func weekOf(d weather.Date) (monday, sunday weather.Date) {
	monday = d - weather.Date((int(d.Weekday())-int(time.Monday)+7)%7)
	return monday, monday + 6
}
