package announce

import (
	"fmt"
	"strings"

	"ripetide/weather"
)

// What calendars, feeds and the public page say besides the sentences.
const (
	calendarName phrase = "calendar name" // {farm}.
	openingEvent phrase = "opening event" // {farm}.
	peakEvent    phrase = "peak event"    // {farm}.
	closingEvent phrase = "closing event" // {farm}.
	takenBack    phrase = "taken back"    //
	windowEvent  phrase = "window event"  // {variety}.
	windowNote   phrase = "window note"   // {a}: a day.
	firstAbout   phrase = "first about"   // {a}, {b}, {c}: days.
	firstOn      phrase = "first on"      // {a}.
	firstSeen    phrase = "first seen"    // {a}.
	lastAbout    phrase = "last about"    // {a}, {b}, {c}.
	lastOn       phrase = "last on"       // {a}.
	lastSeen     phrase = "last seen"     // {a}.

	feedTitle    phrase = "feed title" // {farm}.
	openingSet   phrase = "opening set"
	openingMoved phrase = "opening moved"
	openingBack  phrase = "opening back"
	openingNear  phrase = "opening near"
	peakSet      phrase = "peak set"
	peakMoved    phrase = "peak moved"
	peakBack     phrase = "peak back"
	closingSet   phrase = "closing set"
	closingMoved phrase = "closing moved"
	closingBack  phrase = "closing back"
	closingNear  phrase = "closing near"
	dayBack      phrase = "day back"
	weekBack     phrase = "week back"
	closeDay     phrase = "close day"  // {a}.
	closeWeek    phrase = "close week" // {a}, {b}.
	closePart    phrase = "close part" // {part}.
	closeWas     phrase = "close was"  // {a}.

	pageTitle   phrase = "page title"
	ripeHead    phrase = "ripe head"
	nextHead    phrase = "next head"
	hoursHead   phrase = "hours head"
	whereHead   phrase = "where head"
	phoneHead   phrase = "phone head"
	websiteHead phrase = "website head"
	feedHead    phrase = "feed head"
	asOf        phrase = "as of" // {a}.
	beadsMean   phrase = "beads mean"
)

var englishTelling = map[phrase]string{
	calendarName: "{farm}: strawberries",
	openingEvent: "{farm}: opening day",
	peakEvent:    "{farm}: week with the most fruit",
	closingEvent: "{farm}: last day of picking",
	takenBack:    "This was taken back: it no longer holds.",
	windowEvent:  "{variety} ripe (estimate)",
	windowNote:   "An estimate as of {a}, and no announcement.",
	firstAbout:   "First ripe fruit about {a}, probably between {b} and {c}.",
	firstOn:      "First ripe fruit probably on {a}.",
	firstSeen:    "First ripe fruit was seen on {a}.",
	lastAbout:    "Last picking about {a}, probably between {b} and {c}.",
	lastOn:       "Last picking probably on {a}.",
	lastSeen:     "Last picking was on {a}.",

	feedTitle:    "{farm}: what has changed",
	openingSet:   "When we open",
	openingMoved: "Our opening has moved",
	openingBack:  "Our opening day no longer holds",
	openingNear:  "Our opening day",
	peakSet:      "Week with the most fruit",
	peakMoved:    "The week with the most fruit has moved",
	peakBack:     "The week with the most fruit is undecided again",
	closingSet:   "When we close",
	closingMoved: "Our last day has moved",
	closingBack:  "Our last day no longer holds",
	closingNear:  "Our last day",
	dayBack:      "The day that we told no longer holds. We will tell you as soon as we know more.",
	weekBack:     "The week that we told no longer holds. We will tell you as soon as we know more.",
	closeDay:     "Our last day of picking is {a}.",
	closeWeek:    "Our last day of picking lies in the week from {a} to {b}.",
	closePart:    "We expect to close {part}.",
	closeWas:     "Our last day of picking was {a}.",

	pageTitle:   "Pick your own strawberries",
	ripeHead:    "Ripe this week",
	nextHead:    "Coming next",
	hoursHead:   "Hours",
	whereHead:   "How to find us",
	phoneHead:   "Telephone",
	websiteHead: "Website",
	feedHead:    "Follow changes (Atom feed)",
	asOf:        "As of {a}.",
	beadsMean:   "Strong red: ripe today. Soft red: expected.",
}

// telling by tag of a language.
var telling = map[string]map[phrase]string{
	"en-GB": englishTelling,
	"en-US": englishTelling,
	"de": {
		calendarName: "{farm}: Erdbeeren",
		openingEvent: "{farm}: Eröffnung",
		peakEvent:    "{farm}: Woche mit den meisten Früchten",
		closingEvent: "{farm}: letzter Pflücktag",
		takenBack:    "Dieser Termin wurde zurückgenommen und gilt nicht mehr.",
		windowEvent:  "{variety} reif (Schätzung)",
		windowNote:   "Eine Schätzung vom {a}, keine Ankündigung.",
		firstAbout:   "Erste reife Früchte um {a}, wahrscheinlich zwischen {b} und {c}.",
		firstOn:      "Erste reife Früchte wahrscheinlich am {a}.",
		firstSeen:    "Die ersten reifen Früchte wurden am {a} gesehen.",
		lastAbout:    "Letztes Pflücken um {a}, wahrscheinlich zwischen {b} und {c}.",
		lastOn:       "Letztes Pflücken wahrscheinlich am {a}.",
		lastSeen:     "Das letzte Pflücken war am {a}.",

		feedTitle:    "{farm}: was sich geändert hat",
		openingSet:   "Wann wir öffnen",
		openingMoved: "Unsere Eröffnung hat sich verschoben",
		openingBack:  "Unser Eröffnungstag gilt nicht mehr",
		openingNear:  "Unser Eröffnungstag",
		peakSet:      "Woche mit den meisten Früchten",
		peakMoved:    "Die Woche mit den meisten Früchten hat sich verschoben",
		peakBack:     "Die Woche mit den meisten Früchten steht nicht mehr fest",
		closingSet:   "Wann wir schließen",
		closingMoved: "Unser letzter Tag hat sich verschoben",
		closingBack:  "Unser letzter Tag gilt nicht mehr",
		closingNear:  "Unser letzter Tag",
		dayBack:      "Der angekündigte Tag gilt nicht mehr. Wir melden uns, sobald wir mehr wissen.",
		weekBack:     "Die angekündigte Woche gilt nicht mehr. Wir melden uns, sobald wir mehr wissen.",
		closeDay:     "Unser letzter Pflücktag ist {a}.",
		closeWeek:    "Unser letzter Pflücktag liegt in der Woche von {a} bis {b}.",
		closePart:    "Wir schließen voraussichtlich {part}.",
		closeWas:     "Unser letzter Pflücktag war {a}.",

		pageTitle:   "Erdbeeren selbst pflücken",
		ripeHead:    "Diese Woche reif",
		nextHead:    "Als Nächstes",
		hoursHead:   "Öffnungszeiten",
		whereHead:   "So finden Sie uns",
		phoneHead:   "Telefon",
		websiteHead: "Website",
		feedHead:    "Änderungen verfolgen (Atom-Feed)",
		asOf:        "Stand: {a}.",
		beadsMean:   "Kräftiges Rot: heute reif. Mattes Rot: erwartet.",
	},
	"fr": {
		calendarName: "{farm} : fraises",
		openingEvent: "{farm} : jour d’ouverture",
		peakEvent:    "{farm} : semaine avec le plus de fruits",
		closingEvent: "{farm} : dernier jour de cueillette",
		takenBack:    "Cette date a été retirée et ne tient plus.",
		windowEvent:  "{variety} : fruits mûrs (estimation)",
		windowNote:   "Une estimation du {a}, et non une annonce.",
		firstAbout:   "Premiers fruits mûrs vers le {a}, probablement entre le {b} et le {c}.",
		firstOn:      "Premiers fruits mûrs probablement le {a}.",
		firstSeen:    "Les premiers fruits mûrs ont été vus le {a}.",
		lastAbout:    "Dernière cueillette vers le {a}, probablement entre le {b} et le {c}.",
		lastOn:       "Dernière cueillette probablement le {a}.",
		lastSeen:     "La dernière cueillette a eu lieu le {a}.",

		feedTitle:    "{farm} : ce qui a changé",
		openingSet:   "Quand nous ouvrons",
		openingMoved: "Notre ouverture est déplacée",
		openingBack:  "Notre jour d’ouverture ne tient plus",
		openingNear:  "Notre jour d’ouverture",
		peakSet:      "Semaine avec le plus de fruits",
		peakMoved:    "La semaine avec le plus de fruits est déplacée",
		peakBack:     "La semaine avec le plus de fruits n’est plus fixée",
		closingSet:   "Quand nous fermons",
		closingMoved: "Notre dernier jour est déplacé",
		closingBack:  "Notre dernier jour ne tient plus",
		closingNear:  "Notre dernier jour",
		dayBack:      "Le jour annoncé ne tient plus. Nous vous dirons dès que nous en saurons plus.",
		weekBack:     "La semaine annoncée ne tient plus. Nous vous dirons dès que nous en saurons plus.",
		closeDay:     "Notre dernier jour de cueillette est le {a}.",
		closeWeek:    "Notre dernier jour de cueillette sera dans la semaine du {a} au {b}.",
		closePart:    "Nous pensons fermer {part}.",
		closeWas:     "Notre dernier jour de cueillette était le {a}.",

		pageTitle:   "Cueillette de fraises",
		ripeHead:    "Mûres cette semaine",
		nextHead:    "Ensuite",
		hoursHead:   "Horaires",
		whereHead:   "Pour nous trouver",
		phoneHead:   "Téléphone",
		websiteHead: "Site web",
		feedHead:    "Suivre les changements (flux Atom)",
		asOf:        "État au {a}.",
		beadsMean:   "Rouge vif : mûr aujourd’hui. Rouge doux : attendu.",
	},
}

// tell fills what is said besides the sentences; pairs are names and values.
func (l *Language) tell(p phrase, pairs ...string) string {
	for i := 0; i < len(pairs); i += 2 {
		pairs[i] = "{" + pairs[i] + "}"
	}
	return strings.NewReplacer(pairs...).Replace(telling[l.Tag][p])
}

// shortWeekday is how many letters a weekday is cut to.
var shortWeekday = map[string]int{"en-GB": 3, "en-US": 3, "de": 2, "fr": 3}

// Short writes the weekday of a date in a few letters and its day of the month.
func (l *Language) Short(d weather.Date) (weekday, number string) {
	_, _, n := d.Civil()
	return string([]rune(l.weekdays[d.Weekday()])[:shortWeekday[l.Tag]]), fmt.Sprint(n)
}

// Coming says in a sentence which varieties come next; "" of none.
func (l *Language) Coming(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return l.say(next, "list", l.list(names))
}
