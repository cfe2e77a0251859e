package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// titlesOfPlantings comes to what the chart that is shown says of each planting
// under the mouse and to screen readers, in order.
const titlesOfPlantings = `fetch(document.querySelector("figure picture img").currentSrc).then(r => r.text()).then(s =>
	[...new DOMParser().parseFromString(s, "image/svg+xml").querySelectorAll("title")].map(e => e.textContent).filter(t => /\): first ripe /.test(t)))`

// shownStages are the cells of the table of the season page, as read.
const shownStages = `[...document.querySelectorAll("table tbody tr")].filter(r => r.querySelector("td[data-is=Bloom]")).map(r => [
	r.querySelector("th a").innerText + " (" + r.querySelector("th .block").innerText + ")",
	...["First ripe", "Peak", "Last pick", "Picking window"].map(n => r.querySelector("td[data-is='" + n + "']").innerText.replace(/\s+/g, " ").trim()),
])`

// TestChartAndTableOfASeasonAgree puts the table of the season page in the words
// of the chart and finds them there: wide and narrow, light and dark.
func TestChartAndTableOfASeasonAgree(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	b := newBrowser(t, s)
	b.signIn(s, "Noor", "reader")
	for _, width := range []int64{1200, 390} {
		for _, dark := range []bool{false, true} {
			b.size(width, 844, dark)
			b.open("/f/lanternfen/season/2018")
			b.wait(`document.querySelector("figure picture img")?.naturalWidth > 0`)
			var want []string
			for _, row := range eval[[][]string](b, shownStages) {
				var stages []string
				for n, name := range []string{"first ripe", "peak", "last pick"} {
					day, between, ranged := strings.Cut(strings.TrimSuffix(row[n+1], ")"), " (")
					switch {
					case strings.HasPrefix(day, "seen ") && !ranged:
						stages = append(stages, name+" "+day)
					case ranged:
						stages = append(stages, fmt.Sprintf("%s about %s (8 in 10: %s)", name, day, strings.Replace(between, " to ", " – ", 1)))
					default:
						stages = append(stages, name+" about "+day)
					}
				}
				window := strings.NewReplacer(" days (", " days (8 in 10: ", " to ", "–").Replace(row[4])
				want = append(want, row[0]+": "+strings.Join(stages, ", ")+", "+window+".")
			}
			got := eval[[]string](b, titlesOfPlantings)
			if len(want) != 11 || !slices.Equal(got, want) {
				t.Errorf("%d px wide, dark %t: the chart says\n%s\nthe table\n%s", width, dark, strings.Join(got, "\n"), strings.Join(want, "\n"))
			}
		}
	}
}
