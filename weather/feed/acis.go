package feed

import (
	"context"
	"encoding/json"

	"ripetide/weather"
)

// acis asks for a station's days by POST. The reader is told the order of the
// two elements, for the answer does not name them.
var acis = service{
	home:   "https://data.rcc-acis.org/StnData",
	accept: "application/json",
}

func (f *fetch) askACIS(ctx context.Context) (*answer, error) {
	type element struct {
		Name string `json:"name"`
		Add  string `json:"add"` // Flag and hour of observation beside the value.
	}
	question, err := json.Marshal(struct {
		Station  string    `json:"sid"`
		First    string    `json:"sdate"`
		Last     string    `json:"edate"`
		Elements []element `json:"elems"`
		Meta     []string  `json:"meta"`
	}{
		f.spec.SourceStation, f.first.String(), (f.today - 1).String(),
		[]element{{"maxt", "f,t"}, {"mint", "f,t"}}, []string{"name", "sids"},
	})
	if err != nil {
		return nil, fail(Failed, err, "the question cannot be written")
	}
	a, err := f.send(ctx, request{url: f.spec.base(), post: question})
	if err != nil {
		return nil, err
	}
	a.days = true
	a.opt = weather.ReadOptions{Format: "acis", Column: "max first", Station: f.spec.SourceStation}
	return a, nil
}
