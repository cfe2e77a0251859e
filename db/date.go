package db

import (
	"errors"
	"slices"

	"github.com/jackc/pgx/v5/pgtype"

	"ripetide/weather"
)

// registerDate lets m take a weather.Date for a value of type date, in both
// directions.
func registerDate(m *pgtype.Map) {
	m.TryWrapEncodePlanFuncs = slices.Insert(m.TryWrapEncodePlanFuncs, 0, func(value any) (pgtype.WrappedEncodePlanNextSetter, any, bool) {
		d, ok := value.(weather.Date)
		return &encodeDate{}, date(d), ok
	})
	m.TryWrapScanPlanFuncs = slices.Insert(m.TryWrapScanPlanFuncs, 0, func(target any) (pgtype.WrappedScanPlanNextSetter, any, bool) {
		d, ok := target.(*weather.Date)
		return &scanDate{}, (*date)(d), ok
	})
}

// date is a weather.Date as pgx wants it.
type date weather.Date

// SkipUnderlyingTypePlan keeps pgx from taking the date for a number.
func (date) SkipUnderlyingTypePlan() {}

// DateValue implements [pgtype.DateValuer].
func (d date) DateValue() (pgtype.Date, error) {
	return pgtype.Date{Time: weather.Date(d).Time(), Valid: true}, nil
}

// ScanDate implements [pgtype.DateScanner].
func (d *date) ScanDate(v pgtype.Date) error {
	if !v.Valid || v.InfinityModifier != pgtype.Finite {
		return errors.New("not a date")
	}
	*d = date(weather.DateIn(v.Time))
	return nil
}

type encodeDate struct{ next pgtype.EncodePlan }

func (p *encodeDate) SetNext(next pgtype.EncodePlan) { p.next = next }

func (p *encodeDate) Encode(value any, buf []byte) ([]byte, error) {
	return p.next.Encode(date(value.(weather.Date)), buf)
}

type scanDate struct{ next pgtype.ScanPlan }

func (p *scanDate) SetNext(next pgtype.ScanPlan) { p.next = next }

func (p *scanDate) Scan(src []byte, target any) error {
	return p.next.Scan(src, (*date)(target.(*weather.Date)))
}
