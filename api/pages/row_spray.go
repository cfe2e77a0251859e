package pages

import (
	"slices"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
)

// insideInterval begins what is said of fruit that was picked on a day on which
// its block was closed throughout.
const insideInterval = "Picked inside an interval: "

// closeRow marks the blocks of the list that are closed after spraying.
func (p *Pages) closeRow(v *visit, list []rowBlock) error {
	blocks, err := p.blocksNow(v)
	if err != nil {
		return err
	}
	for i := range list {
		if b := blockCalled(blocks, list[i].Name); b.Closed != nil {
			list[i].Closed = "Closed until " + api.TellMoment(v.farm, b.Closed.Until)
		}
	}
	return nil
}

func blockCalled(blocks []forecast.Block, name string) forecast.Block {
	if i := slices.IndexFunc(blocks, func(b forecast.Block) bool { return b.Name == name }); i >= 0 {
		return blocks[i]
	}
	return forecast.Block{}
}

// warnRow tells that a planting's block is closed after spraying, and marks what
// was picked while it was. Nothing that was entered is refused for it: what has
// happened must be on record.
func (p *Pages) warnRow(v *visit, out *rowPlanting) error {
	blocks, err := p.blocksNow(v)
	if err != nil {
		return err
	}
	b := blockCalled(blocks, out.Block)
	if b.Closed != nil {
		out.Shut = "Closed until " + api.TellMoment(v.farm, b.Closed.Until) + "."
		out.Closed = append(out.Closed, api.TellClosure(v.farm, *b.Closed))
	}
	for _, c := range b.Sprayed {
		if c.InForce {
			out.Closed = append(out.Closed, api.TellInside(v.farm, c, b.First)...)
		}
		for i := range out.Record {
			r := &out.Record[i]
			begins, ends := forecast.DayStart(r.day, v.zone), forecast.DayStart(r.day+1, v.zone)
			if !r.picked || strings.HasPrefix(r.Warn, insideInterval) || !c.SprayedAt.Before(ends) || !c.Until.After(begins) {
				continue
			}
			r.Warn = "Closed for part of that day, "
			if !c.SprayedAt.After(begins) && !c.Until.Before(ends) {
				r.Warn = insideInterval + "the block was closed "
			}
			r.Warn += "from " + api.TellMoment(v.farm, *c.SprayedAt) + " until " + api.TellMoment(v.farm, c.Until) + "."
		}
	}
	return nil
}
