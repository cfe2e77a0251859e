package forecast

// DesignOf is [Design] with about so many members, and what it was counted from:
// by member the list before and the list after.
func DesignOf(in Inputs, season int, changes []Change, about int) (out *Designed, before, after [][]DesignMember, err error) {
	d, errs := newDesigning(in, season, changes)
	if len(errs) > 0 {
		return nil, nil, nil, errs[0]
	}
	d.c.about = about
	if err := d.run(); err != nil {
		return nil, nil, nil, err
	}
	c := d.c
	open := c.openTargets()
	springs, err := c.springDraws(open, len(d.ms.xs))
	if err != nil {
		return nil, nil, nil, err
	}
	for m, x := range d.ms.xs {
		var was, is []DesignMember
		for _, s := range d.slots {
			tg := c.targets[s.target]
			p := DesignMember{Member: Member{
				Planting: s.planting.ID, Variety: c.in.Varieties[tg.variety].ID, Need: exp3(x, s.target),
				Method: c.in.methodOf(c.in.Varieties[tg.variety]), Path: tg.ahead.paths[m/d.ms.perTrace],
				Winter: tg.spring.start,
			}, Keep: 1}
			for k, o := range open {
				if o == tg {
					p.Spring = exp1(springs[m][k])
				}
			}
			if s.before > 0 {
				p.Kg = s.before * s.planting.KgPerM2
				was = append(was, p)
			}
			if s.after > 0 {
				p.Kg = s.after * s.planting.KgPerM2
				if s.shift != nil {
					sh := s.shift.shifted(s.planting.Block, len(d.ms.xs))
					p.Shift, p.Keep = sh.days[m], sh.keep[m]
				}
				is = append(is, p)
			}
		}
		before, after = append(before, was), append(after, is)
	}
	return d.report(), before, after, nil
}

func exp1(x float64) float64 { return exp3([]float64{x, x, x}, 0)[0] }

// DesignMember is a planting of a list in one member.
type DesignMember struct {
	Member
	Shift int
	Keep  float64
}

// RedrawnMeans is redrawn.
func RedrawnMeans(xs []float64) (lo, hi float64) { return redrawn(xs) }

// ShiftsOf are the shifts of a planting in n members.
func ShiftsOf(s Shifting, block string, n int) (days []int, keep []float64) {
	x := s.shifted(block, n)
	return x.days, x.keep
}

// DesignRipened returns for the list after changes what ripens in all weeks of a
// member and its crop, kg, with about so many members.
func DesignRipened(in Inputs, season int, changes []Change, about int) (ripened, crop []float64, err error) {
	d, errs := newDesigning(in, season, changes)
	if len(errs) > 0 {
		return nil, nil, errs[0]
	}
	d.c.about = about
	if err := d.run(); err != nil {
		return nil, nil, err
	}
	var after []lot
	for _, s := range d.slots {
		if _, is := d.lots(s); is != nil {
			after = append(after, *is)
		}
	}
	x := d.count([][]lot{after})[0]
	for m := range x.members {
		kg := 0.0
		for _, row := range x.weekKg {
			if row != nil {
				kg += float64(row[m])
			}
		}
		ripened, crop = append(ripened, kg), append(crop, d.cropIn(x)(m))
	}
	return ripened, crop, nil
}

// ShiftedHeat is heat.shifted.
func ShiftedHeat(sum []float64, by int) []float64 { return heat{sum: sum}.shifted(by).sum }
