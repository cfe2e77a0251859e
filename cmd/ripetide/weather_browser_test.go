package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// chooseFile chooses a file in the form for weather files, as a person would.
func (b *browser) chooseFile(t *testing.T, name, body string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(body), 0o600); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{path}))
}

// result waits until the result of a file begins with some words.
func (b *browser) result(begins string) string {
	b.t.Helper()
	b.wait(fmt.Sprintf(`(document.querySelector("#result h2")?.textContent ?? "").startsWith(%q)`, begins))
	return b.text("#result")
}

// TestAFileIsDroppedAskedAboutAndKept goes with the browser's script: the
// questions, the answers, the first days, and keeping them.
func TestAFileIsDroppedAskedAboutAndKept(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	h := newHill(t, "metric")
	h.json(201, "PUT", "/v1/farms/hill/stations/post", `{"name":"Post by the gate","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)
	b := newBrowser(t, h.service)
	b.signInTo(h.service, "Noor", "owner", "hill")
	b.open("/f/hill/weather")
	b.wait(`location.pathname === "/f/hill/weather/post"`)

	b.chooseFile(t, "station.csv", askingFile)
	if got := b.result("A question about station.csv"); !strings.Contains(got, "In which order are the dates written?") {
		t.Errorf("asked: %s", got)
	}
	if n := eval[int](b, `document.querySelectorAll("#result input[type=file]").length`); n != 0 {
		t.Error("the file is asked for again although the script has it")
	}
	// A question is not passed over.
	b.click(`#result input[name=unit][value=C]`)
	b.click(`#result button`)
	if got := eval[bool](b, `document.querySelector("#result form").checkValidity()`); got {
		t.Error("a form with an open question is sent")
	}
	b.click(`#result input[name=dates][value=dmy]`)
	b.click(`#result button`)
	got := b.result("What is in station.csv")
	for _, want := range []string{"3 days, from Tue 5 Jun 2018 to Thu 7 Jun 2018, read in °C.", "would add 3 days", "8.5 °C"} {
		if !strings.Contains(got, want) {
			t.Errorf("the preview does not say %q: %s", want, got)
		}
	}
	if n := len(h.json(200, "GET", "/v1/farms/hill/stations/post/days", "")["days"].([]any)); n != 0 {
		t.Errorf("a preview kept %d days", n)
	}
	b.click(`#result button[value=keep]`)
	if got := b.result("Kept: station.csv"); !strings.Contains(got, "3 days were added.") {
		t.Errorf("kept: %s", got)
	}
	if n := len(h.json(200, "GET", "/v1/farms/hill/stations/post/days", "")["days"].([]any)); n != 3 {
		t.Errorf("%d days are on record, want 3", n)
	}
	b.click(`#result a.button`)
	b.wait(`document.querySelector(".lead")?.textContent.includes("stops on Thu 7 Jun")`)
	b.wait(`document.querySelector(".record img").naturalWidth > 0`)
	if said := b.console(); len(said) > 0 {
		t.Errorf("the pages said %q", said)
	}
}

// TestABrokenFileSaysWhy drops files that cannot be taken, one of them onto the
// page with the mouse.
func TestABrokenFileSaysWhy(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	h := newHill(t, "us")
	h.record()
	b := newBrowser(t, h.service)
	b.signInTo(h.service, "Noor", "owner", "hill")
	b.open(postPath)
	b.chooseFile(t, "letter.txt", "Dear all,\nthe weather was fine.\n")
	if got := b.result("Not taken: letter.txt"); !strings.Contains(got, "Format not recognised") || !strings.Contains(got, "Nothing was kept.") {
		t.Errorf("a letter: %s", got)
	}

	// Onto the page: a file with rows of every kind.
	const drop = `(() => {
		const data = new DataTransfer();
		data.items.add(new File([%q], "mixed.csv", {type: "text/csv"}));
		const at = document.querySelector("h1");
		for (const kind of ["dragenter", "dragover", "drop"]) at.dispatchEvent(new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true}));
		return true;
	})()`
	eval[bool](b, fmt.Sprintf(drop, "date,min_f,max_f\n2018-06-02,90,70\n2018-06-05,-13,70\n"))
	got := b.result("What is in mixed.csv")
	for _, want := range []string{"1 row cannot be kept", "the low 90 °F is above the high 70 °F", "Days that look wrong", "Tue Jun 5, 2018"} {
		if !strings.Contains(got, want) {
			t.Errorf("the preview does not say %q: %s", want, got)
		}
	}
	b.click(`#result button[value=keep]`)
	if got := b.result("Kept: mixed.csv"); !strings.Contains(got, "1 day was corrected") || !strings.Contains(got, "1 row was refused") {
		t.Errorf("kept: %s", got)
	}

	// Too large is said at once, and no signal after a while; the file is still
	// there for another try.
	eval[bool](b, `(() => {
		const data = new DataTransfer();
		data.items.add(new File([new Uint8Array(32 * 1024 * 1024 + 1)], "large.csv"));
		document.body.dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
		return true;
	})()`)
	if got := b.result("Not taken"); !strings.Contains(got, "more than 32 MiB") {
		t.Errorf("too large: %s", got)
	}
	b.console() // The statuses of the refusals.
	b.offline(true)
	b.chooseFile(t, "again.csv", "date,min_f,max_f\n2018-06-05,50,70\n")
	b.wait(`document.querySelector("#result").textContent.includes("could not be sent")`)
	b.offline(false)
	b.chooseFile(t, "again.csv", "date,min_f,max_f\n2018-06-05,50,70\n")
	b.result("What is in again.csv")
}
