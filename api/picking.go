package api

import (
	"cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// PickingIn is a picking as it is sent.
type PickingIn struct {
	Planting string   `json:"planting" doc:"Identifier of the planting."`
	Date     string   `json:"date" format:"date" doc:"The day, not later than today at the farm nor before the planting was planted."`
	Kg       *float64 `json:"kg" nullable:"false" minimum:"0" maximum:"100000" doc:"kg, the sum of the whole day."`
	Left     string   `json:"left,omitempty" enum:"none,some,lots" doc:"Ripe fruit left standing at the end of the day; left out: not told."`
	Closed   bool     `json:"closed,omitempty" doc:"Closed for rain or rest: nothing could be picked, and kg is 0."`
	Source   string   `json:"source,omitempty" enum:"customers,staff,all" default:"all" doc:"Whose fruit kg counts."`
	Note     string   `json:"note,omitempty" doc:"One line of at most 200 characters."`
}

// PickingsIn is the body of pickings.
type PickingsIn struct {
	Pickings []PickingIn `json:"pickings" doc:"Good ones are kept, bad ones refused one by one. The same planting and date again, in the same list too, replaces the earlier one; its history is kept."`
}

// PickingOut is a picking on record.
type PickingOut struct {
	Planting string       `json:"planting"`
	Date     weather.Date `json:"date"`
	Kg       float64      `json:"kg" doc:"kg, the sum of the whole day."`
	Left     string       `json:"left,omitempty" enum:"none,some,lots" doc:"Ripe fruit left standing at the end of the day."`
	Closed   bool         `json:"closed" doc:"Nothing could be picked, for rain or rest."`
	Source   string       `json:"source" enum:"customers,staff,all" doc:"Whose fruit kg counts."`
	Note     string       `json:"note,omitempty"`
}

// PickingsReport says what became of pickings.
type PickingsReport struct {
	Pickings []PickingOut  `json:"pickings" doc:"As they were kept, in the order they were sent."`
	Refused  []RefusedItem `json:"refused"`
}

// PickingList is a list of pickings.
type PickingList struct {
	Pickings []PickingOut `json:"pickings"`
}

// picking checks what can be checked without the database.
func (x PickingIn) picking() (forecast.Picking, itemFaults) {
	var f itemFaults
	p := forecast.Picking{
		Planting: x.Planting, Date: f.date(x.Date), Kg: f.number("kg", x.Kg), Left: forecast.Left(x.Left), Closed: x.Closed,
		Source: forecast.PickedBy(cmp.Or(x.Source, string(forecast.PickedByAll))), Note: oneLine(x.Note),
	}
	f.check(p.Validate())
	return p, f
}

func pickingsOut(ps []forecast.Picking) []PickingOut {
	out := make([]PickingOut, 0, len(ps))
	for _, p := range ps {
		out = append(out, PickingOut{p.Planting, p.Date, p.Kg, string(p.Left), p.Closed, string(p.Source), p.Note})
	}
	return out
}

func (s *Server) pickingRoutes() {
	dated[PickingsIn, PickingIn, forecast.Picking, PickingsReport, PickingList]{
		name: "picking", names: "pickings",
		record: "Record what was picked",
		about: "One sum a planting and day, by everybody who picked. A day on which the field was open and nothing was picked is kg 0; " +
			"a day on which nothing could be picked is closed. A day that nobody wrote down is neither.",
		read: PickingIn.picking,
		report: func(kept []forecast.Picking, refused []RefusedItem) PickingsReport {
			return PickingsReport{pickingsOut(kept), refused}
		},
		list: func(ps []forecast.Picking) PickingList { return PickingList{pickingsOut(ps)} },
		add:  s.store.AddPickings,
		all:  s.store.Pickings, withdraw: s.store.WithdrawPicking,
	}.serve(s)
}
