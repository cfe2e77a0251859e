package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// RefusedItem is an item of a list that was not kept.
type RefusedItem struct {
	Row    int    `json:"row" doc:"Counts items from 1."`
	Reason string `json:"reason"`
}

// PlantingDatePath is the part of a path that names what is on record of a
// planting for a date.
type PlantingDatePath struct {
	PlantingPath
	Date string `path:"date" format:"date" doc:"A civil date at the farm."`
}

type postDated struct {
	FarmPath
	ContentType string `header:"Content-Type" required:"false" doc:"application/json."`
	RawBody     []byte
}

type listDated struct {
	FarmPath
	Season   int       `query:"season" required:"false" minimum:"1700" maximum:"2400" doc:"Harvest year."`
	Planting string    `query:"planting" required:"false" doc:"Identifier of one planting."`
	From     string    `query:"from" format:"date" required:"false" doc:"First date, included."`
	To       string    `query:"to" format:"date" required:"false" doc:"Last date, included."`
	KnownAt  time.Time `query:"known_at" required:"false" doc:"Read what counted at this instant."`
}

// dated is how one kind of records is served of which a planting has one a
// date (pickings, frosts): posted in lists, listed, and taken back. Body is the
// list as it is sent and In one of its items, T the domain's type, Report and
// List what is answered.
type dated[Body, In, T, Report, List any] struct {
	name, names string // "picking", "pickings": in the path and in texts.
	record      string // Summary of the operation that records.
	about       string // Description of the operation that records.

	read   func(In) (T, itemFaults)
	report func(kept []T, refused []RefusedItem) Report
	list   func([]T) List

	add      func(ctx context.Context, farm string, xs []T, by string, at time.Time) (refused []error, err error)
	all      func(ctx context.Context, farm, planting string, from, to *weather.Date, knownAt *time.Time) ([]T, error)
	withdraw func(ctx context.Context, farm, planting string, day weather.Date, by string, at time.Time) error
}

// serve registers the three operations.
func (h dated[Body, In, T, Report, List]) serve(s *Server) {
	path := "/v1/farms/{farm}/" + h.names
	tags := []string{"Field"}
	add(s, Grower, huma.Operation{
		Method: http.MethodPost, Path: path, OperationID: "post-" + h.names, Tags: tags,
		Summary: h.record, Description: h.about, DefaultStatus: http.StatusOK,
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{jsonType: {Schema: schemaOf[Body](s)}}},
	}, func(ctx context.Context, in *postDated) (*got[Report], error) { return h.post(ctx, s, in) })
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "list-" + h.names, Tags: tags,
		Summary: "List current " + h.names, Description: "By planting and date.",
	}, func(ctx context.Context, in *listDated) (*got[List], error) {
		farm, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		var errs []error
		from, to := dateParam("from", in.From, &errs), dateParam("to", in.To, &errs)
		if err := invalid(errs); err != nil {
			return nil, err
		}
		if in.Season != 0 {
			first, last := forecast.SeasonBounds(in.Season, farm.Southern())
			if from == nil || *from < first {
				from = &first
			}
			if to == nil || *to > last {
				to = &last
			}
		}
		xs, err := h.all(ctx, in.Farm, in.Planting, from, to, some(in.KnownAt))
		if err != nil {
			return nil, err
		}
		return &got[List]{h.list(xs)}, nil
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodDelete, Path: path + "/{planting}/{date}", OperationID: "delete-" + h.name, Tags: tags,
		Summary: "Take back a " + h.name, Description: "It no longer counts; its history is kept.", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *PlantingDatePath) (*struct{}, error) {
		d, err := weather.ParseDate(in.Date)
		if err != nil {
			return nil, invalid([]error{&huma.ErrorDetail{Location: "path.date", Message: notADate}})
		}
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		return nil, h.withdraw(ctx, in.Farm, in.Planting, d, by(ctx), s.now())
	})
}

// post keeps the good items of a list and tells the bad ones.
func (h dated[Body, In, T, Report, List]) post(ctx context.Context, s *Server, in *postDated) (*got[Report], error) {
	kept, refused, err := h.take(ctx, s, in, func(xs []T, now time.Time) ([]error, error) {
		return h.add(ctx, in.Farm, xs, by(ctx), now)
	})
	if err != nil {
		return nil, err
	}
	return &got[Report]{h.report(kept, refused)}, nil
}

// take reads a list and hands what is good in it to add, which says of each why
// it is refused, or nil. It returns what was taken and what was refused; a list
// of which nothing was taken is a [*Problem].
func (h dated[Body, In, T, Report, List]) take(
	ctx context.Context, s *Server, in *postDated, add func(xs []T, now time.Time) ([]error, error),
) (kept []T, refused []RefusedItem, err error) {
	farm, err := s.store.Farm(ctx, in.Farm)
	if err != nil {
		return nil, nil, err
	}
	if err := wantJSON(in.ContentType); err != nil {
		return nil, nil, err
	}
	m, err := readObject(in.RawBody, h.names)
	if err != nil {
		return nil, nil, err
	}
	items, err := readItems(m[h.names], h.names)
	if err != nil {
		return nil, nil, err
	}
	now := s.now()
	today, err := farm.Today(now)
	if err != nil {
		return nil, nil, err
	}
	faults := make([]itemFaults, len(items))
	good := []T{}
	var rows []int // Of good, from 0.
	for i, raw := range items {
		var x In
		if reason := readItem(raw, &x); reason != "" {
			faults[i].add("", reason)
			continue
		}
		var v T
		v, faults[i] = h.read(x)
		faults[i].after(today)
		if len(faults[i].list) == 0 {
			good, rows = append(good, v), append(rows, i)
		}
	}
	if len(good) > 0 {
		errs, err := add(good, now)
		if err != nil {
			return nil, nil, err
		}
		for i, err := range errs {
			if err == nil {
				kept = append(kept, good[i])
				continue
			}
			faults[rows[i]].addError(err)
		}
	}
	if len(kept) == 0 {
		return nil, nil, noneGood(h.names, faults)
	}
	return kept, refusedItems(faults), nil
}

// noneGood tells every fault of a list in which nothing was good.
func noneGood(names string, faults []itemFaults) *Problem {
	p := problemOf(errNoneGood)
	for i, f := range faults {
		for _, x := range f.list {
			x.Pointer = "/" + names + "/" + itoa(i) + x.Pointer
			p.Errors = append(p.Errors, x)
		}
	}
	return p
}

// refusedItems tells the bad items of a list in which some were good.
func refusedItems(faults []itemFaults) []RefusedItem {
	refused := []RefusedItem{}
	for i, f := range faults {
		if len(f.list) > 0 {
			refused = append(refused, RefusedItem{i + 1, f.reason()})
		}
	}
	return refused
}

// itemFaults gathers every fault of one item, with pointers that begin at the
// item.
type itemFaults struct {
	list []Fault
	day  weather.Date // Of the item, once read.
}

func (f *itemFaults) add(field, reason string) {
	f.list = append(f.list, Fault{Pointer: pointer(field), Detail: reason})
}

// addError adds what the domain or the store says.
func (f *itemFaults) addError(err error) {
	if joined, ok := errors.AsType[interface {
		error
		Unwrap() []error
	}](err); ok {
		for _, e := range joined.Unwrap() {
			f.addError(e)
		}
		return
	}
	if fe, ok := errors.AsType[*forecast.FieldError](err); ok {
		f.add(fe.Field, fe.Field+" "+fe.Reason)
		return
	}
	field := ""
	if errors.Is(err, forecast.ErrPlantingNotFound) {
		field = "planting"
	}
	reason, _ := reasonOf(err)
	f.add(field, reason)
}

// date reads the date of the item.
func (f *itemFaults) date(text string) weather.Date {
	d, err := weather.ParseDate(text)
	if err != nil {
		f.add("date", "date "+notADate)
		return 0
	}
	f.day = d
	return d
}

// number reads a number that must be there.
func (f *itemFaults) number(field string, x *float64) float64 {
	if x == nil {
		f.add(field, field+" is needed")
		return 0
	}
	return *x
}

// check adds what the domain finds wrong, once a field.
func (f *itemFaults) check(errs []error) {
	for _, err := range errs {
		fe, ok := errors.AsType[*forecast.FieldError](err)
		if ok && slices.ContainsFunc(f.list, func(x Fault) bool { return x.Pointer == pointer(fe.Field) }) {
			continue // It is not there, or could not be read.
		}
		f.addError(err)
	}
}

// after refuses what has not happened yet at the farm.
func (f *itemFaults) after(today weather.Date) {
	if f.day > today {
		f.add("date", "date is after today, which is "+today.String()+" at the farm")
	}
}

// reason tells all faults in one line.
func (f *itemFaults) reason() string {
	var all []string
	for _, x := range f.list {
		all = append(all, x.Detail)
	}
	return strings.Join(all, "; ")
}

// oneLine returns a note as it is kept: no break and no blank too many.
func oneLine(note string) string { return strings.Join(strings.Fields(note), " ") }
