package pages

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"ripetide/forecast"
)

// field is one question of a form, with what was typed and what is wrong with
// it.
type field struct {
	Name, Label string
	Value       string
	Help, Fault string
	Kind        string // text, date, select, area (of text), checks, hidden; "" is text.
	Mode        string // Of the keyboard: decimal, numeric; "" is text.
	Hint        string // Shown while it is empty.
	Optional    bool
	Rows        int
	Groups      []optionGroup // Of a select.
	Unit        string        // Behind the field, where it is fixed.
	Range       string        // What the domain's bounds are in this unit: "must be between 1 and 100".
	Units       *field        // Or to be chosen, a select.
}

// option is one answer of a select or of checks.
type option struct {
	Value, Text string
	Chosen      bool
}

// optionGroup is a part of a select's answers; Name may be empty.
type optionGroup struct {
	Name    string
	Options []option
}

// section is a part of a form.
type section struct {
	Legend string
	Text   string
	Fold   bool // Closed at first, unless there is a fault in it.
	Open   bool
	Fields []*field
}

// formPage is a page that is one form.
type formPage struct {
	Heading  string
	Intro    string
	Sections []*section
	Fault    string // That belongs to no field.
	Faults   []*field
	Submit   string
	Back     string // Where "leave it as it was" leads.
	Script   string // Of this page, under /static/; "" for none.
	Told     *toldVariety
}

// form gathers a form's answers and faults. All its methods keep what was
// typed.
type form struct {
	v      *visit
	units  forecast.Units // In which numbers are typed.
	posted bool           // Else the form is shown the first time.
	page   formPage
	fields map[string]*field
}

// newForm begins a form. posted says whether answers have come with the
// request.
func newForm(v *visit, heading, submit, back string) *form {
	v.Request().Body = http.MaxBytesReader(v.Response(), v.Request().Body, listBytes)
	return &form{
		v: v, units: v.farm.Units, posted: v.Request().Method == http.MethodPost, fields: map[string]*field{},
		page: formPage{Heading: heading, Submit: submit, Back: back},
	}
}

// section begins a part of the form.
func (f *form) section(legend, text string) *section {
	s := &section{Legend: legend, Text: text}
	f.page.Sections = append(f.page.Sections, s)
	return s
}

// add adds a question. Its value at first is that of x; then what was typed.
func (f *form) add(x field) *field {
	if len(f.page.Sections) == 0 {
		f.section("", "")
	}
	p := &x
	if f.posted {
		p.Value = strings.TrimSpace(f.v.FormValue(p.Name))
	}
	if p.Units != nil {
		f.answer(p.Units)
		f.fields[p.Units.Name] = p.Units
	}
	f.choose(p)
	f.fields[p.Name] = p
	s := f.page.Sections[len(f.page.Sections)-1]
	s.Fields = append(s.Fields, p)
	return p
}

// answer takes what was chosen for a unit.
func (f *form) answer(p *field) {
	if f.posted {
		p.Value = f.v.FormValue(p.Name)
	}
	f.choose(p)
}

// choose marks the chosen answers of a select.
func (f *form) choose(p *field) {
	if p.Kind == "checks" {
		given := f.v.Request().Form[p.Name]
		for _, g := range p.Groups {
			for i := range g.Options {
				if f.posted {
					g.Options[i].Chosen = slices.Contains(given, g.Options[i].Value)
				}
			}
		}
		return
	}
	for _, g := range p.Groups {
		for i := range g.Options {
			g.Options[i].Chosen = g.Options[i].Value == p.Value
		}
	}
}

// value returns what was typed in a field.
func (f *form) value(name string) string { return f.fields[name].Value }

// fault puts what is wrong beside a field. The first fault of a field counts.
func (f *form) fault(name, what string) {
	p := f.fields[name]
	switch {
	case what == "":
	case p == nil:
		f.page.Fault = what
	case p.Fault == "":
		p.Fault = what
	}
}

// domain puts the domain's faults beside their fields; names are fields whose
// names differ from the domain's.
func (f *form) domain(errs []error, names map[string]string) {
	for _, err := range errs {
		e, ok := errors.AsType[*forecast.FieldError](err)
		if !ok {
			f.page.Fault = err.Error()
			continue
		}
		name := e.Field
		reason := e.Reason
		if n, ok := names[name]; ok {
			name = n
		} else if list, at, ok := strings.Cut(name, "["); ok && names[list] != "" { // An entry of a list typed line by line.
			name, reason = names[list], fmt.Sprintf("has an entry that cannot be: number %s %s", entryOf(at), reason)
		}
		if p := f.fields[name]; p == nil {
			f.page.Fault = e.Error()
		} else if p.Range != "" && strings.HasPrefix(reason, "must be between") {
			reason = p.Range
		}
		f.fault(name, reason)
	}
}

// entryOf counts from 1 the entry that a domain's field names as "0].name".
func entryOf(at string) string {
	i, _, _ := strings.Cut(at, "]")
	n, err := strconv.Atoi(i)
	if err != nil {
		return i
	}
	return strconv.Itoa(n + 1)
}

// refused puts what the store says beside its field. It returns an error that
// is none of the form's.
func (f *form) refused(err error, names map[string]string) error {
	if e, ok := errors.AsType[*forecast.FieldError](err); ok {
		f.domain([]error{e}, names)
		return nil
	}
	return err
}

// number reads an optional number within the form, or puts the fault beside
// the field; an empty field is def.
func (f *form) number(name string, factor, def float64) float64 {
	text := f.value(name)
	if text == "" && f.fields[name].Optional {
		return def
	}
	x, fault := readNumber(text, f.units)
	f.fault(name, fault)
	return x * factor
}

// amount is number with a unit that was chosen. keep is the amount on record
// and was how it was shown, so that an amount that nobody changed stays exactly
// as it is.
func (f *form) amount(name string, of []unit, keep, def float64) float64 {
	p := f.fields[name]
	u, ok := unitCalled(p.Units.Value, of)
	if !ok {
		f.fault(name, "needs a unit")
		return 0
	}
	if text, was := shortest(keep, of); keep > 0 && p.Value == text && u.id == was.id {
		return keep
	}
	return f.number(name, u.factor, def)
}

// faulty reports whether something is wrong, once all is read.
func (f *form) faulty() bool {
	f.page.Faults = nil
	for _, s := range f.page.Sections {
		for _, p := range s.Fields {
			if p.Fault != "" {
				f.page.Faults = append(f.page.Faults, p)
				s.Open = true
			}
		}
	}
	return f.page.Fault != "" || len(f.page.Faults) > 0
}

// show renders the form: anew, or with its faults.
func (p *Pages) show(f *form, name, title string) error {
	status := http.StatusOK
	if f.posted && f.faulty() {
		status = http.StatusUnprocessableEntity
	}
	return p.render(f.v, status, f.v, name, title, f.page)
}

// unitChoice is the select of units beside an amount.
func unitChoice(name string, of []unit, chosen string) *field {
	x := &field{Name: name, Label: "Unit", Kind: "select", Value: chosen, Groups: []optionGroup{{}}}
	for _, u := range of {
		x.Groups[0].Options = append(x.Groups[0].Options, option{Value: u.id, Text: u.name})
	}
	return x
}

// choices makes a select of values and their texts, in turn.
func choices(pairs ...string) []optionGroup {
	g := optionGroup{}
	for i := 0; i+1 < len(pairs); i += 2 {
		g.Options = append(g.Options, option{Value: pairs[i], Text: pairs[i+1]})
	}
	return []optionGroup{g}
}
