package announce

import (
	"fmt"
	"slices"

	"ripetide/forecast"
)

// MissingTelling names what a language lacks of [telling] that British English
// has, and placeholders that do not agree.
func MissingTelling() (out []string) {
	for _, tag := range forecast.Languages {
		for p, want := range englishTelling {
			got := telling[tag][p]
			a, b := placeholder.FindAllString(want, -1), placeholder.FindAllString(got, -1)
			slices.Sort(a)
			slices.Sort(b)
			if got == "" || !slices.Equal(a, b) {
				out = append(out, fmt.Sprintf("%s, %s: %q", tag, p, got))
			}
			if reason := Check(placeholder.ReplaceAllString(got, "")); reason != "" {
				out = append(out, fmt.Sprintf("%s, %s: %s", tag, p, reason))
			}
		}
		if len(telling[tag]) != len(englishTelling) {
			out = append(out, tag+" says more than English")
		}
	}
	return out
}
