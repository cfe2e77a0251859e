package main

import (
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// press presses keys, as somebody without a mouse.
func (b *browser) press(keys string) {
	b.t.Helper()
	b.do(chromedp.KeyEvent(keys))
}

// focused is what has the focus.
type focused struct {
	Name  string `json:"name"`  // What it is and says.
	Fault string `json:"fault"` // What a person could not see of it.
	End   bool   `json:"end"`   // The page has been walked through.
}

// focusScript looks at what has the focus: whether it is seen, and stands after
// what had it before. Of what is larger than the window, part is enough (WCAG 2.2,
// 2.4.11: not entirely hidden). The parts of a date are gone through one by one.
const focusScript = `(() => {
	const e = document.activeElement;
	if (e === document.body) return {end: true};
	const shown = e.type === "radio" || e.type === "checkbox" ? [e, e.closest("label")].filter(Boolean) : [e];
	const name = e.tagName.toLowerCase() + " " + (e.innerText || e.getAttribute("aria-label") || e.labels?.[0]?.innerText || e.name || e.id).replace(/\s+/g, " ").trim().slice(0, 60);
	const faults = [];
	const ringed = shown.some(x => { const s = getComputedStyle(x); return s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2; });
	if (!ringed) faults.push("no ring");
	const spots = shown.flatMap(x => [...x.getClientRects()]).filter(r => r.width > 0 && r.height > 0);
	const inSight = spots.some(r => {
		const left = Math.max(r.left, 0), right = Math.min(r.right, innerWidth), top = Math.max(r.top, 0), bottom = Math.min(r.bottom, innerHeight);
		if (right - left < Math.min(r.width, 8) || bottom - top < Math.min(r.height, 8)) return false;
		const at = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
		return at && shown.some(x => x.contains(at) || at.contains(x));
	});
	if (!inSight) faults.push("out of sight");
	if (window.walked && window.walked !== e && !(window.walked.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING)) faults.push("before what had the focus before");
	window.walked = e;
	e.setAttribute("data-walked", "");
	return {name, fault: faults.join(", "), end: false};
})()`

// unwalked comes to what can be used and was not reached. Of radio buttons of a
// name the keyboard reaches one.
const unwalked = `[...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']")]
	.filter(e => e.checkVisibility() && !e.disabled && !("walked" in e.dataset))
	.filter(e => e.type !== "radio" || !document.querySelector("input[type=radio][data-walked][name='" + e.name + "']"))
	.map(e => e.outerHTML.slice(0, 120))`

// tab goes on to the next element and looks at it.
func (b *browser) tab() focused {
	b.t.Helper()
	b.press(kb.Tab)
	f := eval[focused](b, focusScript)
	if f.Fault != "" {
		b.t.Errorf("%s: the focus on %q is faulty: %s", eval[string](b, "location.pathname"), f.Name, f.Fault)
	}
	return f
}

// tabTo goes on to the first element that says some words, and fails at the end
// of the page.
func (b *browser) tabTo(says string) {
	b.t.Helper()
	var passed []string
	for {
		f := b.tab()
		if f.End {
			b.t.Fatalf("the keyboard does not reach %q, but %q", says, passed)
		}
		if _, words, _ := strings.Cut(f.Name, " "); strings.HasPrefix(words, says) {
			return
		}
		passed = append(passed, f.Name)
	}
}

// walk goes through the whole page by the Tab key: everything that can be used is
// reached, in the order in which it is read, and is seen when it has the focus.
func (b *browser) walk(path string) []string {
	b.t.Helper()
	b.open(path)
	b.wait(`document.readyState === "complete"`)
	var names []string
	for f := b.tab(); !f.End; f = b.tab() {
		if names = append(names, f.Name); len(names) > 500 {
			b.t.Fatalf("%s: the focus goes round and round: %q", path, names[:20])
		}
	}
	if left := eval[[]string](b, unwalked); len(left) > 0 {
		b.t.Errorf("%s: the keyboard does not reach %q", path, left)
	}
	if len(names) < 8 || !slices.Equal(names[:2], []string{"a Skip to the page", "a Morning"}) {
		b.t.Errorf("%s: the walk begins with %.8q", path, names)
	}
	return names
}

// TestEveryPageByKeyboard does a morning's work without a mouse.
func TestEveryPageByKeyboard(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	b := newBrowser(t, s)
	b.size(1200, 900, false)
	b.signIn(s, "Noor", "owner")
	for _, path := range []string{"/f/lanternfen", "/f/lanternfen/row", rowPath, "/f/lanternfen/season/2018", "/f/lanternfen/book"} {
		b.walk(path)
	}
	b.size(390, 844, true)
	for _, path := range []string{"/f/lanternfen", rowPath, "/f/lanternfen/season/2018", "/f/lanternfen/book"} {
		b.walk(path)
	}
}

// TestAMorningsWorkByKeyboard does a morning's work without a mouse: from signing
// in to a planting of the book.
func TestAMorningsWorkByKeyboard(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	b := newBrowser(t, s)
	b.size(1200, 900, false)
	link, err := url.Parse(strings.TrimSpace(s.command("link", "--name", "Noor", "--role", "owner", "--farm", "lanternfen")))
	if err != nil {
		t.Fatal(err)
	}
	b.open(link.Path)
	b.tabTo("Sign in as Noor")
	b.press(kb.Enter)
	b.wait(`location.pathname === "/f/lanternfen" && document.readyState === "complete"`)

	// Past the links on top, and to a planting.
	b.tabTo("Skip to the page")
	b.press(kb.Enter)
	if first := b.tab(); strings.Contains(first.Name, "Morning") {
		t.Errorf("after skipping the focus is on %q", first.Name)
	}
	b.open("/f/lanternfen")
	b.tabTo("Marrowby")
	b.press(kb.Enter)
	b.wait(`location.search === "?planting=` + rowPlanting + `" && document.readyState === "complete"`)
	b.tabTo("Looked: not yet")
	b.press(" ")
	b.says("#last", "peak not yet, Mon Jun 11: sent ")
	if got := s.current("peak"); !slices.Equal(got, []string{"not yet 2018-06-11"}) {
		t.Errorf("on record is %v", got)
	}
	if at := eval[string](b, `document.activeElement.dataset.say ?? ""`); at != "not_yet" {
		t.Error("the focus is lost when a button is pressed")
	}
	b.tabTo("Another day")
	b.press(kb.Enter)
	b.tabTo("Day")
	b.press("06092018")
	b.tabTo("Not yet that day")
	b.press(kb.Enter)
	b.says("#last", "peak not yet, Sat Jun 9: sent ")
	b.tabTo("Weight, lb")
	b.press("120")
	b.tabTo("None")
	b.press(kb.ArrowDown) // "Some".
	b.tabTo("Record picking")
	b.press(" ")
	b.says("#last", "picked 120 lb, Mon Jun 11: sent ")
	b.tabTo("Undo")
	for !eval[bool](b, `document.activeElement.closest("#last") !== null`) {
		b.tabTo("Undo")
	}
	b.press(kb.Enter)
	b.says("#last", "taken back ")
	if at := eval[string](b, `document.activeElement.id`); at != "last" {
		t.Errorf("the focus is at %q once the button is gone", at)
	}
	if got := listed(s.json(200, "GET", "/v1/farms/lanternfen/pickings", ""), "pickings"); got != "" {
		t.Errorf("picked is %s, although it was taken back", got)
	}

	// The season in words, a planting's story, and the book.
	b.open("/f/lanternfen")
	b.tabTo("Season")
	b.press(kb.Enter)
	b.wait(`location.pathname === "/f/lanternfen/season/2018" && document.readyState === "complete"`)
	b.tabTo("The chart in words")
	b.press(" ")
	b.wait(`document.activeElement.parentElement.open`)
	b.tabTo("Candlemere")
	b.press(kb.Enter)
	b.wait(`location.pathname.includes("/planting/") && document.readyState === "complete"`)
	b.tabTo("Book")
	b.press(kb.Enter)
	b.wait(`location.pathname === "/f/lanternfen/book" && document.readyState === "complete"`)
	b.tabTo("Candlemere")
	b.press(kb.Enter)
	b.wait(`location.pathname.includes("/book/planting/candlemere") && document.readyState === "complete"`)
	b.tabTo("Area")
	b.press("1500") // In m², as it is on record. What is there is selected, so this takes its place.
	b.press(kb.Enter)
	b.wait(`location.pathname === "/f/lanternfen/book" && document.readyState === "complete"`)
	if got := s.json(200, "GET", "/v1/farms/lanternfen/plantings/candlemere-windbreak", "")["area_m2"]; got != 1500.0 {
		t.Errorf("the area is %v m², want 1500", got)
	}
}
