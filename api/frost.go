package api

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// FrostIn is a frost as it is sent.
type FrostIn struct {
	Planting  string   `json:"planting" doc:"Identifier of the planting."`
	Date      string   `json:"date" format:"date" doc:"The morning after the night, not later than today at the farm nor before the planting was planted."`
	ShareLost *float64 `json:"share_lost" nullable:"false" exclusiveMinimum:"0" maximum:"1" doc:"Share of the flowers open that night that it killed, as counted afterwards."`
	LowC      *float64 `json:"low_c,omitempty" minimum:"-40" maximum:"10" doc:"Lowest temperature at the plants, °C."`
	Note      string   `json:"note,omitempty" doc:"One line of at most 200 characters."`
}

// FrostsIn is the body of frosts.
type FrostsIn struct {
	Frosts []FrostIn `json:"frosts" doc:"Good ones are kept, bad ones refused one by one. The same planting and date again, in the same list too, replaces the earlier one; its history is kept."`
}

// FrostOut is a frost on record.
type FrostOut struct {
	Planting  string       `json:"planting"`
	Date      weather.Date `json:"date" doc:"The morning after the night."`
	ShareLost float64      `json:"share_lost" doc:"Of the flowers that were open that night."`
	LowC      *float64     `json:"low_c,omitempty" doc:"Lowest temperature at the plants, °C."`
	Note      string       `json:"note,omitempty"`
}

// FrostsReport says what became of frosts.
type FrostsReport struct {
	Frosts  []FrostOut    `json:"frosts" doc:"As they were kept, in the order they were sent."`
	Refused []RefusedItem `json:"refused"`
}

// FrostList is a list of frosts.
type FrostList struct {
	Frosts []FrostOut `json:"frosts"`
}

// frost checks what can be checked without the database.
func (x FrostIn) frost() (forecast.Frost, itemFaults) {
	var f itemFaults
	frost := forecast.Frost{
		Planting: x.Planting, Date: f.date(x.Date), ShareLost: f.number("share_lost", x.ShareLost), LowC: x.LowC, Note: oneLine(x.Note),
	}
	f.check(frost.Validate())
	return frost, f
}

func frostsOut(fs []forecast.Frost) []FrostOut {
	out := make([]FrostOut, 0, len(fs))
	for _, f := range fs {
		out = append(out, FrostOut(f))
	}
	return out
}

func (s *Server) frostRoutes() {
	dated[FrostsIn, FrostIn, forecast.Frost, FrostsReport, FrostList]{
		name: "frost", names: "frosts",
		record: "Record what a frost cost",
		about: "What a night killed of the flowers that were open, counted afterwards; every berry was a flower. " +
			"This is a record and no frost alarm: which temperatures harm, and how to protect, are for a thermometer at the plants and local advice.",
		read: FrostIn.frost,
		report: func(kept []forecast.Frost, refused []RefusedItem) FrostsReport {
			return FrostsReport{frostsOut(kept), refused}
		},
		list: func(fs []forecast.Frost) FrostList { return FrostList{frostsOut(fs)} },
		add:  s.store.AddFrosts,
		all:  s.store.Frosts, withdraw: s.store.WithdrawFrost,
	}.serve(s)
}
