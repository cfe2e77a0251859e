package main

import (
	"os"
	"testing"

	"ripetide/testdata"
	"ripetide/weather"
)

func TestZZLook(t *testing.T) {
	h := newHill(t, "us")
	var gone []weather.Date
	from, _ := weather.ParseDate("2018-05-01")
	for d := from; d < from+9; d++ {
		gone = append(gone, d)
	}
	x, _ := weather.ParseDate("2018-02-11")
	gone = append(gone, x, x+1)
	h.record(gone...)
	h.json(201, "PUT", "/v1/farms/hill/stations/airport", `{"name":"Airport","latitude":42.2,"longitude":-83.7,"elevation_m":250}`)
	all, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	first, _ := weather.ParseDate("2010-01-01")
	last, _ := weather.ParseDate("2018-06-10")
	var days []weather.Day
	for _, d := range all.Between(first, last) {
		if d.Date == x {
			continue
		}
		days = append(days, weather.Day{Date: d.Date, Min: d.Min + 2, Max: d.Max + 2})
	}
	h.call(200, "POST", "/v1/farms/hill/stations/airport/days", "text/csv", csvOf(days))
	h.json(200, "PUT", "/v1/farms/hill/stations/post", `{"name":"Post by the gate","latitude":42.3,"longitude":-83.7,"elevation_m":270,"stand_in":"airport"}`)
	h.json(200, "POST", "/v1/farms/hill/stations/post/days", `{"unit":"C","days":[{"date":"2018-06-05","min":-15,"max":21},{"date":"2018-03-05","min":-5,"max":31},{"date":"2017-12-01","min":5,"max":11},{"date":"2017-12-02","min":5,"max":11},{"date":"2017-12-03","min":5,"max":11},{"date":"2017-12-04","min":5,"max":11},{"date":"2017-12-05","min":5,"max":11},{"date":"2017-12-06","min":5,"max":11},{"date":"2017-12-07","min":5,"max":11},{"date":"2017-12-08","min":5,"max":11},{"date":"2017-12-09","min":5,"max":11}]}`)
	h.json(201, "PUT", "/v1/farms/hill/stations/post/feeds/nws", `{"kind":"nws","contact":"ann@hill.example","paused":true}`)
	h.json(201, "PUT", "/v1/farms/hill/stations/post/feeds/grid", `{"kind":"open-meteo","address":"https://127.0.0.1/v1"}`)
	h.post(h.owner, 303, postPath+"/feed/grid/fetch")
	h.post(h.owner, 303, postPath+"/verdict", "date", "2018-03-05", "use", "yes", "note", "A thaw; I was there")
	b := newBrowser(t, h.service)
	b.signInTo(h.service, "Noor", "owner", "hill")
	axe, err := os.ReadFile("../../testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	g := &gallery{b: b, axe: string(axe)}
	shoot := func(name string) {
		for _, dark := range []bool{false, true} {
			th := "light"
			if dark {
				th = "dark"
			}
			for _, w := range []int64{1200, 390} {
				b.size(w, 900, dark)
				b.wait(`[...document.images].every(i => i.complete)`)
				if w == 1200 {
					g.accessible(t, name+th)
				}
				b.shot("/tmp/wl/" + name + "-" + th + map[int64]string{1200: "-1200", 390: "-390"}[w] + ".png")
			}
		}
		b.size(320, 640, false)
		if w := eval[int](b, `document.scrollingElement.scrollWidth`); w > 320 {
			t.Errorf("%s: %d wide: %s", name, w, eval[string](b, widest))
		}
	}
	b.open(postPath)
	t.Log(eval[int](b, `performance.getEntriesByType("navigation")[0].encodedBodySize`))
	shoot("station")
	b.open("/f/hill/weather")
	shoot("list")
	b.open(postPath + "/day/2018-03-05")
	shoot("day")
	b.open(postPath + "/feeds/add")
	shoot("feed")
	b.open(postPath + "/file")
	b.chooseFile(t, "station.csv", askingFile)
	b.result("A question")
	shoot("ask")
	b.chooseFile(t, "mixed.csv", "date,min_c,max_c\n2018-06-01,10,20\n2018-06-02,30,20\n2018-02-30,1,2\n2018-06-04,x,2\n2018-06-05,-25,21\n2018-06-12,1,2\n")
	b.result("What is in")
	shoot("preview")
	b.click(`#result button[value=keep]`)
	b.result("Kept")
	shoot("kept")
	b.chooseFile(t, "letter.txt", "Dear all")
	b.result("Not taken")
	shoot("broken")
	if said := b.console(); len(said) > 0 {
		t.Errorf("said %q", said)
	}
}
