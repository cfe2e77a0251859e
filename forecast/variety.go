package forecast

// Class is how early a variety ripens among June-bearers.
type Class int

// The ripening classes.
const (
	Early Class = iota
	EarlyMid
	Mid
	LateMid
	Late
	VeryLate
)

var classNames = [...]string{"early", "early_mid", "mid", "late_mid", "late", "very_late"}

// ParseClass reads a class's name, such as "early_mid".
func ParseClass(s string) (Class, error) {
	for i, n := range classNames {
		if n == s {
			return Class(i), nil
		}
	}
	return 0, &FieldError{"ripens", `must be "early", "early_mid", "mid", "late_mid", "late" or "very_late"`}
}

// String returns the class's name in interfaces and files.
func (c Class) String() string {
	if c < 0 || int(c) >= len(classNames) {
		return "unknown"
	}
	return classNames[c]
}

// Requirement is the heat from bloom to each stage, °C·d, with the method it
// holds for: it means nothing under another.
type Requirement struct {
	FirstRipe, Peak, LastPick float64
	Method                    Method
}

// Variety is a cultivar.
type Variety struct {
	ID     string // Slug, unique within the farm.
	Name   string
	Ripens Class
	// Requirement is the farm's own belief, used as the prior instead of the
	// class's; nil: none.
	Requirement *Requirement
}

// Validate returns every fault of v, each a [*FieldError].
func (v Variety) Validate() []error {
	var f faults
	f.slug("variety", v.ID)
	f.text("name", v.Name)
	if r := v.Requirement; r != nil {
		f.within("requirement.first_ripe", r.FirstRipe, 50, 2000)
		f.within("requirement.last_pick", r.LastPick, 50, 3000)
		if !(r.FirstRipe < r.Peak && r.Peak < r.LastPick) {
			f.add("requirement.peak", "must lie between first_ripe and last_pick")
		}
		f.errs = append(f.errs, r.Method.Validate()...)
	}
	return f.errs
}
