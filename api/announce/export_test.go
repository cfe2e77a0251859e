package announce

import (
	"fmt"
	"strings"

	"ripetide/forecast"
)

// Missing names what a language lacks that British English has, and
// placeholders that do not agree.
func Missing() (out []string) {
	for _, tag := range forecast.Languages {
		l := languages[tag]
		if l == nil {
			out = append(out, tag)
			continue
		}
		for p, want := range british.sentence {
			got := l.sentence[p]
			for _, m := range placeholder.FindAllString(want, -1) {
				if !strings.Contains(got, m) {
					out = append(out, fmt.Sprintf("%s, %s: no %s", tag, p, m))
				}
			}
			if got == "" || len(placeholder.FindAllString(got, -1)) != len(placeholder.FindAllString(want, -1)) {
				out = append(out, fmt.Sprintf("%s, %s: %q", tag, p, got))
			}
		}
		for _, t := range forecast.Texts {
			if reason := Check(l.Default(t)); l.Default(t) == "" || reason != "" {
				out = append(out, fmt.Sprintf("%s, %s: %q %s", tag, t, l.Default(t), reason))
			}
		}
		for i := range l.months {
			if l.months[i] == "" || l.weekdays[i%7] == "" {
				out = append(out, fmt.Sprintf("%s: month %d", tag, i))
			}
		}
	}
	return out
}
