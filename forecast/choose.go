package forecast

// NewMethod returns the method of the given parts, where upper is nil without a
// cutoff, or every fault of them, each a [*FieldError] that names its field as
// [Method.Validate] does.
func NewMethod(kind Kind, base float64, upper *float64, cutoff Cutoff) (Method, []error) {
	m := Method{Kind: kind, Base: base, Cutoff: cutoff}
	if upper != nil {
		m.Upper = *upper
	}
	var f faults
	switch cutoff {
	case NoCutoff:
		if upper != nil {
			f.add("upper_c", `must be left out when cutoff is "none"`)
		}
	case Horizontal, Intermediate, Vertical:
		if upper == nil {
			f.add("upper_c", `is needed, unless cutoff is "none"`)
			m.Cutoff = NoCutoff // So that nothing else is said of it.
		}
	}
	f.errs = append(m.Validate(), f.errs...)
	if len(f.errs) > 0 {
		return Method{}, f.errs
	}
	return m, nil
}
