package pages_test

import (
	"testing"

	"ripetide/api/pages"
)

func TestDatesOfThePublicPageAreNotBroken(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"We plan to open on Saturday 16 June.":                                 "We plan to open on Saturday\u00a016\u00a0June.",
		"We plan to open on Saturday, June 16.":                                "We plan to open on Saturday, June\u00a016.",
		"Wir wollen am Samstag, 16. Juni öffnen.":                              "Wir wollen am Samstag, 16.\u00a0Juni öffnen.",
		"Nous prévoyons d’ouvrir le vendredi 1er juin.":                        "Nous prévoyons d’ouvrir le vendredi\u00a01er\u00a0juin.",
		"We are open for picking.":                                             "We are open for picking.",
		"in der Woche von Montag, 4. Juni bis Sonntag, 10. Juni":               "in der Woche von Montag, 4.\u00a0Juni bis Sonntag, 10.\u00a0Juni",
		"We expect the most fruit in the week from Monday 18 June to Sunday 2": "We expect the most fruit in the week from Monday\u00a018\u00a0June to Sunday\u00a02",
	} {
		if got := pages.Whole(text); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestOnlyNumbersAreDialled(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"+1 (734) 555-0100": "tel:+17345550100", "07331 / 555.0100": "tel:073315550100", "555 0100": "tel:5550100",
		"": "", "12": "", "call the barn": "", "555 0100 (mornings)": "", "javascript:alert(1)": "", "++49": "", "5+550100": "",
	} {
		if got := string(pages.Dial(text)); got != want {
			t.Errorf("%q is dialled as %q, want %q", text, got, want)
		}
	}
}
