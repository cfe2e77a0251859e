package pages

import (
	"time"

	"ripetide/api"
	"ripetide/forecast"
)

// planDays is how long before its last safe moment a planned spray needs doing.
const planDays = 3

// morningClosed is a block that nobody may pick after spraying.
type morningClosed struct {
	Block, What string
	Loud        []string // What falls into the time it is closed for.
}

// close marks what sprays close: it is said before everything else, and again
// wherever the block is offered.
func (p *morningPage) close(farm *forecast.Farm, sprayed []forecast.Block) {
	p.Sprays = "/f/" + farm.ID + "/sprays"
	for _, b := range sprayed {
		if b.Closed == nil {
			continue
		}
		x := morningClosed{Block: b.Name}
		for _, c := range b.Sprayed {
			if c.InForce {
				x.Loud = append(x.Loud, api.TellInside(*farm, c, b.First)...)
			}
		}
		x.What = api.TellClosure(*farm, *b.Closed)
		p.Closed = append(p.Closed, x)
		for _, list := range [][]morningBlock{p.Blocks, p.Coming} {
			for i := range list {
				if list[i].Name == b.Name {
					list[i].Closed = "Closed until " + api.TellMoment(*farm, b.Closed.Until)
				}
			}
		}
	}
	if n := len(p.Closed); n > 0 {
		p.Summary = count(n, "block", "blocks") + " closed after spraying. " + p.Summary
	}
}

// sprayTasks are the planned sprays whose time is over, short or shorter than
// was known. A block whose season is over needs nothing.
func sprayTasks(farm *forecast.Farm, sprayed []forecast.Block) []morningTask {
	var out []morningTask
	for _, b := range sprayed {
		for _, n := range b.Planned {
			soon := n.LastSafe != nil && n.LastSafe.Before(n.Now.Add(planDays*24*time.Hour))
			if b.First.Over || !n.Raised && !n.Passed && !soon {
				continue
			}
			out = append(out, morningTask{
				What: "Planned spray in " + b.Name + ": " + n.Name, Why: api.TellPlan(*farm, n, b.First), Href: "/f/" + farm.ID + "/sprays", Link: "Sprays",
			})
		}
	}
	return out
}
