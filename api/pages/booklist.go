package pages

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

const (
	listBytes = 512 << 10
	listLines = 1000
)

// listPage is a page on which a list is pasted or uploaded, looked at, and
// entered.
type listPage struct {
	Heading string
	Columns []string // As the list has them, in words.
	Example string
	Text    string
	Asks    []*field
	Heads   []string // Of the preview.
	Rows    []listRow
	Good    int // Rows that can be entered.
	Bad     int
	Fault   string
	Done    string // What was entered, of a list of which some lines are left.
	Back    string
	Looked  bool
	New     []string // What of the rows is new, in words, such as varieties.
}

// Span is how many columns a line with a fault takes up.
func (l listPage) Span() int { return len(l.Heads) + 1 }

// listRow is a line as it was understood, or why it was not.
type listRow struct {
	Line  int
	Cells []string
	State string // "new", "there already", "changes".
	Fault string
	Text  string // As it was typed, of one with a fault.
}

// listText takes the list from a form: a file, if one was sent, else what was
// typed.
func listText(v *visit) (text, fault string, err error) {
	r := v.Request()
	r.Body = http.MaxBytesReader(v.Response(), r.Body, listBytes)
	err = r.ParseForm() // Of a body that is no file, it tells what the next hides.
	if err == nil {
		err = r.ParseMultipartForm(listBytes)
	}
	if err != nil && !errors.Is(err, http.ErrNotMultipart) {
		if _, large := errors.AsType[*http.MaxBytesError](err); large {
			return "", "The list is too long for this page: at most 500 kB.", nil
		}
		return "", "The list could not be read to its end. Send it again.", nil
	}
	text = v.FormValue("list")
	if r.MultipartForm != nil {
		if files := r.MultipartForm.File["file"]; len(files) > 0 && files[0].Size > 0 {
			if text, err = readFile(files[0]); err != nil {
				return "", "", err
			}
		}
	}
	if strings.ContainsRune(text, 0) {
		return "", "This file is no text. Save the sheet as CSV, or copy its cells and paste them here.", nil
	}
	if strings.Count(text, "\n") > listLines {
		return text, fmt.Sprintf("The list has more than %d lines. Enter it in parts.", listLines), nil
	}
	return text, "", nil
}

// readFile reads an uploaded text in UTF-8 or, if it is none, as Windows
// writes it.
func readFile(h *multipart.FileHeader) (text string, err error) {
	file, err := h.Open()
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	b, err := io.ReadAll(io.LimitReader(file, listBytes))
	if err != nil {
		return "", err
	}
	if !utf8.Valid(b) {
		if b, err = charmap.Windows1252.NewDecoder().Bytes(b); err != nil {
			return "", err
		}
	}
	return strings.TrimPrefix(string(b), "\ufeff"), nil
}

// plantingColumns are the columns of a list of plantings in their order, and
// what else they may be called.
var (
	plantingColumns = []string{"variety", "ripens", "block", "planted", "area", "yield"}
	plantingWords   = map[string]string{
		"variety": "variety", "name": "variety", "ripens": "ripens", "ripening": "ripens", "class": "ripens", "season": "ripens",
		"block": "block", "field": "block", "patch": "block", "piece": "block",
		"planted": "planted", "planted on": "planted", "set": "planted", "year": "planted", "year planted": "planted",
		"area": "area", "size": "area", "acres": "area", "area m2": "area",
		"yield": "yield", "expected yield": "yield", "station": "station",
	}
)

// plantingList enters varieties and plantings from a list.
func (p *Pages) plantingList(v *visit) error {
	farm, units := v.farm.ID, v.farm.Units
	r, err := p.ground(v)
	if err != nil {
		return err
	}
	areas, yields := areaUnits(units), yieldUnits(units)
	example := "Annapolis; early; Home; 2022-05-03; 1200 m²; 1.1 kg/m²\nHoneoye; early mid; Hill; 2021; 0.3 ha\nCavendish; mid; Hill; 4 May 2021; 900"
	if units == forecast.US {
		example = "Annapolis; early; Home; 2022-05-03; 0.3 acres; 9000 lb/acre\nHoneoye; early mid; Hill; 2021; 13,000 sq ft\nCavendish; mid; Hill; May 4, 2021; 0.25"
	}
	page := listPage{
		Heading: "Varieties and plantings from a list", Example: example,
		Columns: []string{"variety", "ripens (early, early mid, mid, late mid, late, very late)", "block", "planted on, or only the year", "area", "expected yield, which may stay empty"},
		Heads:   []string{"Variety", "Ripens", "Block", "Planted", "Area", "Yield"}, Back: "/f/" + farm + "/setup",
	}
	f := newForm(v, "", "", "")
	var fault string
	if f.posted {
		if page.Text, fault, err = listText(v); err != nil {
			return err
		}
		page.Fault = fault
	}
	au := unitChoice("area_unit", areas, areas[0].id)
	au.Label = "Areas without a unit are in"
	yu := unitChoice("yield_unit", yields, yields[0].id)
	yu.Label = "Yields without a unit are in"
	station := field{Name: "station", Label: "Station whose warmth they are reckoned with", Kind: "select"}
	var list []string
	for _, s := range r.stations {
		list = append(list, s.ID, s.Name)
	}
	if len(list) > 0 {
		station.Value = list[0]
		station.Groups = choices(list...)
	}
	f.add(station)
	f.add(*au)
	f.add(*yu)
	page.Asks = f.page.Sections[0].Fields
	if len(r.stations) == 0 {
		page.Asks = page.Asks[1:]
	}
	if !f.posted || page.Fault != "" {
		return p.showList(v, page)
	}
	r.station = f.value("station")
	r.areaUnit, _ = unitCalled(f.value("area_unit"), areas)
	r.yieldUnit, _ = unitCalled(f.value("yield_unit"), yields)
	rows := r.read(page.Text)
	page.Looked = true
	var entered []int
	for _, x := range rows {
		if x.Fault == "" && v.FormValue("do") == "enter" {
			if x.Fault, err = p.enterPlanting(v, x); err != nil {
				return err
			}
			if x.Fault == "" {
				entered = append(entered, x.Line)
				continue
			}
			x.Text = x.raw
		}
		page.add(x.listRow)
	}
	if len(entered) == 0 {
		page.New = r.added
	}
	return p.entered(v, page, entered, len(rows), plantingColumns, plantingWords)
}

// entered answers when the lines of a list were looked at, and some of them
// perhaps entered: those that are left are shown with their faults.
func (p *Pages) entered(v *visit, page listPage, entered []int, rows int, known []string, words map[string]string) error {
	switch {
	case rows == 0:
		page.Fault = "There is no line in the list yet."
	case len(entered) > 0 && len(page.Rows) == 0:
		return v.Redirect(http.StatusSeeOther, page.Back)
	case len(entered) > 0:
		page.Done = count(len(entered), "line was", "lines were") + " entered."
		page.Text = without(page.Text, entered)
		_, rest, _ := columns(readLines(page.Text), known, words) // Their numbers are new.
		for i := range page.Rows {
			if i < len(rest) {
				page.Rows[i].Line = rest[i].number
			}
		}
	}
	return p.showList(v, page)
}

func (l *listPage) add(r listRow) {
	l.Rows = append(l.Rows, r)
	if r.Fault != "" {
		l.Bad++
	} else {
		l.Good++
	}
}

func (p *Pages) showList(v *visit, page listPage) error {
	status := http.StatusOK
	if page.Fault != "" || page.Bad > 0 && v.FormValue("do") == "enter" {
		status = http.StatusUnprocessableEntity
	}
	return p.render(v, status, v, "book-list", page.Heading, page)
}

// enterPlanting enters a row that was understood, and says why the store would
// not have it.
func (p *Pages) enterPlanting(v *visit, x plantingRow) (fault string, err error) {
	ctx, farm := v.Request().Context(), v.farm.ID
	if x.putVariety {
		if _, err := p.Store.PutVariety(ctx, farm, x.variety, v.who.By(), p.Now()); err != nil {
			return "", err
		}
	}
	if x.planting == nil {
		return "", nil
	}
	_, err = p.Store.PutPlanting(ctx, farm, *x.planting, v.who.By(), p.Now())
	if fe, ok := errors.AsType[*forecast.FieldError](err); ok {
		return fe.Reason, nil
	}
	return "", err
}

// A groundReader reads lists of plantings against what a farm has.
type groundReader struct {
	units     forecast.Units
	southern  bool
	varieties []forecast.Variety
	plantings []forecast.Planting
	stations  []weather.Station
	station   string
	areaUnit  unit
	yieldUnit unit
	added     []string // Names of new varieties.
}

// ground reads what a farm has.
func (p *Pages) ground(v *visit) (r *groundReader, err error) {
	ctx, farm := v.Request().Context(), v.farm.ID
	r = &groundReader{units: v.farm.Units, southern: v.farm.Southern()}
	if r.varieties, err = p.Store.Varieties(ctx, farm); err != nil {
		return nil, err
	}
	if r.plantings, err = p.Store.Plantings(ctx, farm); err != nil {
		return nil, err
	}
	r.stations, err = p.Store.Stations(ctx, farm)
	return r, err
}

// plantingRow is a row with what it means.
type plantingRow struct {
	listRow
	raw        string
	variety    forecast.Variety
	putVariety bool
	planting   *forecast.Planting // Nil for a line with a variety alone.
}

// read reads a list. Later lines know the varieties of earlier ones.
func (r *groundReader) read(text string) []plantingRow {
	at, lines, strange := columns(readLines(text), plantingColumns, plantingWords)
	var rows []plantingRow
	seen := map[string]int{} // Plantings of this list, by the line.
	for _, l := range lines {
		x := plantingRow{raw: l.text}
		x.Line = l.number
		if len(strange) > 0 {
			x.Fault = "the header has a column that is not known: " + strings.Join(strange, ", ")
		} else {
			r.readRow(&x, l, at)
		}
		if x.Fault == "" && x.planting != nil {
			if n := seen[x.planting.ID]; n > 0 {
				x.Fault = fmt.Sprintf("says the same planting as line %d", n)
			}
			seen[x.planting.ID] = l.number
		}
		if x.Fault != "" {
			x.Text = l.text
		}
		rows = append(rows, x)
	}
	return rows
}

// readRow reads one line into x, with what is wrong with it.
func (r *groundReader) readRow(x *plantingRow, l line, at map[string]int) {
	var faults []string
	wrong := func(what, fault string) {
		if fault != "" {
			faults = append(faults, what+" "+fault)
		}
	}
	name, ripens := l.cell(at, "variety"), l.cell(at, "ripens")
	wrong("the variety", forecast.ValidName(name))
	i := slices.IndexFunc(r.varieties, func(v forecast.Variety) bool { return strings.EqualFold(v.Name, name) || v.ID == name })
	known := i >= 0
	switch {
	case known:
		x.variety = r.varieties[i]
	default:
		x.putVariety = true
		x.variety = forecast.Variety{Name: name, ID: freeSlug(name, "variety", func(s string) bool {
			return slices.ContainsFunc(r.varieties, func(v forecast.Variety) bool { return v.ID == s })
		})}
	}
	switch {
	case ripens != "":
		c, fault := readClass(ripens)
		wrong("ripens", fault)
		if known && fault == "" && c != x.variety.Ripens {
			if slices.Contains(r.added, x.variety.Name) {
				wrong("ripens", "differs from an earlier line of the same variety")
			}
			x.variety.Ripens, x.putVariety = c, true
		}
		if !known {
			x.variety.Ripens = c
		}
	case !known:
		wrong("ripens", "is needed, as the variety is new: early, early mid, mid, late mid, late or very late")
	}
	r.readGround(x, l, at, wrong)
	if len(l.cells) > len(at) {
		wrong("the line", fmt.Sprintf("has %d parts where %d are known: a comma within a number, perhaps? Part the list by semicolons then", len(l.cells), len(at)))
	}
	if len(faults) > 0 {
		x.Fault = strings.Join(faults, "; ")
		return
	}
	if !known {
		r.varieties = append(r.varieties, x.variety)
		r.added = append(r.added, x.variety.Name)
	}
	x.Cells = []string{x.variety.Name, className[x.variety.Ripens], "", "", "", ""}
	switch p := x.planting; {
	case p != nil:
		x.Cells[2], x.Cells[3] = p.Block, dayIn(r.units, p.PlantedOn)
		x.Cells[4], x.Cells[5] = area(p.AreaM2, r.units), yield(p.KgPerM2, r.units)
		x.State = "new"
		if twin := twinOf(r.plantings, *p); twin != nil {
			x.State = "there already"
			if twin.AreaM2 != p.AreaM2 || twin.KgPerM2 != p.KgPerM2 || twin.Station != p.Station {
				x.State = "changes what is there"
			}
		}
	case known && !x.putVariety:
		x.State = "there already"
	case known:
		x.State = "changes what is there"
	default:
		x.State = "new variety"
	}
}

// readGround reads the planting of a line, if it has one.
func (r *groundReader) readGround(x *plantingRow, l line, at map[string]int, wrong func(what, fault string)) {
	block, planted, size, crop := l.cell(at, "block"), l.cell(at, "planted"), l.cell(at, "area"), l.cell(at, "yield")
	if block+planted+size+crop == "" {
		return // A variety alone.
	}
	p := forecast.Planting{Variety: x.variety.ID, Block: block, Station: r.station, KgPerM2: forecast.DefaultKgPerM2}
	if s := l.cell(at, "station"); s != "" {
		i := slices.IndexFunc(r.stations, func(o weather.Station) bool { return o.ID == s || strings.EqualFold(o.Name, s) })
		if i < 0 {
			wrong("the station", "is not one of the farm's")
		} else {
			p.Station = r.stations[i].ID
		}
	}
	if p.Station == "" {
		wrong("the planting", "needs a station, and the farm has none yet: add it first")
	}
	wrong("the block", forecast.ValidName(block))
	var fault string
	if yearOnly.MatchString(planted) {
		planted += "-01-01"
	}
	p.PlantedOn, fault = readDate(planted, r.units)
	wrong("the day of planting", fault)
	if size == "" {
		wrong("the area", "is needed")
	} else {
		p.AreaM2, fault = readAmount(size, allAreaUnits, r.areaUnit, r.units)
		if fault == "" && !(0.1 <= p.AreaM2 && p.AreaM2 <= 1e7) {
			fault = "must be between " + area(0.1, r.units) + " and " + area(1e7, r.units)
		}
		wrong("the area", fault)
	}
	if crop != "" {
		p.KgPerM2, fault = readAmount(crop, allYieldUnits, r.yieldUnit, r.units)
		if fault == "" && !(0.001 <= p.KgPerM2 && p.KgPerM2 <= 20) {
			fault = "must be between " + yield(0.001, r.units) + " and " + yield(20, r.units)
		}
		wrong("the yield", fault)
	}
	if twin := twinOf(r.plantings, p); twin != nil {
		p.ID, p.RemovedOn = twin.ID, twin.RemovedOn
		if crop == "" {
			p.KgPerM2 = twin.KgPerM2
		}
	} else {
		p.ID = freeSlug(x.variety.Name+" "+block, "planting", func(s string) bool {
			return slices.ContainsFunc(r.plantings, func(o forecast.Planting) bool { return o.ID == s })
		})
	}
	x.planting = &p
}

// dayIn is DayYear for a system of units.
func dayIn(u forecast.Units, d weather.Date) string {
	return DayYear(&forecast.Farm{Units: u}, d)
}

// stageColumns are the columns of a list of past stages.
var (
	stageColumns = []string{"planting", "stage", "date"}
	stageHeaders = map[string]string{
		"planting": "planting", "variety": "planting", "block": "block", "stage": "stage", "what": "stage", "date": "date", "day": "date", "seen": "date", "seen on": "date",
	}
)

// seenList enters stages of past seasons from a list.
func (p *Pages) seenList(v *visit) error {
	farm := v.farm.ID
	r, err := p.ground(v)
	if err != nil {
		return err
	}
	page := listPage{
		Heading: "Past seasons from a list",
		Columns: []string{"planting: its variety, with its block where there are several", "stage (bloom, full bloom, first ripe, peak, last pick)", "date with its year"},
		Heads:   []string{"Planting", "Stage", "First seen on"}, Back: "/f/" + farm + "/book#seasons",
	}
	page.Example = r.exampleStages(v.farm)
	if v.Request().Method != http.MethodPost {
		return p.showList(v, page)
	}
	if page.Text, page.Fault, err = listText(v); err != nil {
		return err
	}
	if page.Fault != "" {
		return p.showList(v, page)
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	rows := r.readStages(page.Text, today)
	page.Looked = true
	var entered []int
	if v.FormValue("do") == "enter" {
		var list []forecast.Sighting
		for _, x := range rows {
			if x.Fault == "" {
				list = append(list, x.sighting)
			}
		}
		faults, err := p.addSightings(v, list)
		if err != nil {
			return err
		}
		i := 0
		for n := range rows {
			if rows[n].Fault != "" {
				continue
			}
			if rows[n].Fault = faults[i]; faults[i] == "" {
				entered = append(entered, rows[n].Line)
			} else {
				rows[n].Text = rows[n].raw
			}
			i++
		}
	}
	for _, x := range rows {
		if !slices.Contains(entered, x.Line) {
			page.add(x.listRow)
		}
	}
	return p.entered(v, page, entered, len(rows), stageColumns, stageHeaders)
}

// exampleStages shows how a list is written, with the farm's own plantings.
func (r *groundReader) exampleStages(f forecast.Farm) string {
	year := 2020
	name := "Annapolis, Home"
	for _, x := range r.plantings {
		name = varietyName(r.varieties, x.Variety) + ", " + x.Block
		year = max(x.PlantedOn.Year()+1, 2000)
		break
	}
	name = strings.ReplaceAll(name, ";", " ")
	if f.Units == forecast.US {
		return fmt.Sprintf("%s; bloom; May 12, %d\n%s; first ripe; %d-06-10", name, year, name, year)
	}
	return fmt.Sprintf("%s; bloom; 12 May %d\n%s; first ripe; %d-06-10", name, year, name, year)
}

type stageRow struct {
	listRow
	raw      string
	sighting forecast.Sighting
}

// readStages reads a list of stages.
func (r *groundReader) readStages(text string, today weather.Date) []stageRow {
	lines := readLines(text)
	at, lines, strange := columns(lines, stageColumns, stageHeaders)
	var rows []stageRow
	for _, l := range lines {
		x := stageRow{raw: l.text}
		x.Line = l.number
		var faults []string
		wrong := func(what, fault string) {
			if fault != "" {
				faults = append(faults, what+" "+fault)
			}
		}
		if len(strange) > 0 {
			wrong("the header", "has a column that is not known: "+strings.Join(strange, ", "))
		}
		if len(l.cells) == 4 && len(at) == 3 { // Variety and block parted like the rest.
			l.cells = append([]string{l.cells[0] + ", " + l.cells[1]}, l.cells[2:]...)
		}
		name := l.cell(at, "planting")
		if block := l.cell(at, "block"); block != "" {
			name += ", " + block
		}
		d, fault := readDate(l.cell(at, "date"), r.units)
		if fault == "" && d > today {
			fault = "is after today"
		}
		wrong("the date", fault)
		pl, fault := r.plantingCalled(name, d)
		wrong("the planting", fault)
		stage, fault := readStage(l.cell(at, "stage"))
		wrong("the stage", fault)
		if len(l.cells) > len(at) {
			wrong("the line", fmt.Sprintf("has %d parts where %d are known. Part the list by semicolons", len(l.cells), len(at)))
		}
		if x.Fault = strings.Join(faults, "; "); x.Fault != "" {
			x.Text = l.text
		} else {
			x.sighting = forecast.Sighting{Planting: pl.ID, Date: d, Stage: stage, Seen: true}
			x.Cells = []string{r.plantingName(pl), stageName[stage], dayIn(r.units, d)}
		}
		rows = append(rows, x)
	}
	return rows
}

// plantingName is a planting's variety and block.
func (r *groundReader) plantingName(x forecast.Planting) string {
	return varietyName(r.varieties, x.Variety) + ", " + x.Block
}

// plantingCalled finds the planting that people call by a name: its
// identifier, its variety and block, or its variety alone where one planting
// of it bore on the day.
func (r *groundReader) plantingCalled(name string, d weather.Date) (x forecast.Planting, fault string) {
	plain := func(s string) string {
		return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" ,()/-–", r) }), " ")
	}
	if strings.TrimSpace(name) == "" {
		return x, "is needed"
	}
	want := plain(name)
	var found []forecast.Planting
	for _, p := range r.plantings {
		variety := varietyName(r.varieties, p.Variety)
		stood := d == 0 || p.PlantedOn <= d && (p.RemovedOn == nil || d < *p.RemovedOn)
		switch {
		case p.ID == strings.TrimSpace(name):
			return p, ""
		case !stood:
		case plain(variety+" "+p.Block) == want, plain(p.Block+" "+variety) == want,
			plain(variety) == want && (d == 0 || p.Bears(forecast.SeasonOf(d, r.southern), d)):
			found = append(found, p)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], ""
	case len(found) == 0:
		return x, "is not one that stood then: write its variety and block as in the Book"
	}
	var names []string
	for _, p := range found {
		names = append(names, "“"+r.plantingName(p)+"”")
	}
	if slices.ContainsFunc(names[1:], func(n string) bool { return n == names[0] }) {
		names = nil
		for _, p := range found {
			names = append(names, "“"+p.ID+"”")
		}
	}
	return x, "could be " + strings.Join(names, " or ")
}

// addSightings records sightings in whatever order fits, and returns a fault
// for each that was refused, "" for the others.
func (p *Pages) addSightings(v *visit, list []forecast.Sighting) (faults []string, err error) {
	faults = make([]string, len(list))
	left := make([]int, len(list))
	for i := range list {
		left[i] = i
	}
	// A season whose dates all move may pass through an order that cannot be;
	// what is refused is tried again as long as something else gets in.
	for len(left) > 0 {
		batch := make([]forecast.Sighting, len(left))
		for i, n := range left {
			batch[i] = list[n]
		}
		results, err := p.Store.AddSightings(v.Request().Context(), v.farm.ID, batch, v.who.By(), p.Now())
		if err != nil {
			return nil, err
		}
		var again []int
		for i, r := range results {
			faults[left[i]] = ""
			if r.Err != nil {
				if faults[left[i]], err = p.sightingFault(v, r); err != nil {
					return nil, err
				}
				again = append(again, left[i])
			}
		}
		if len(again) == len(left) {
			break
		}
		left = again
	}
	return faults, nil
}

// sightingFault says in the farm's words why a sighting was refused.
func (p *Pages) sightingFault(v *visit, r api.SightingResult) (string, error) {
	if o, ok := errors.AsType[*forecast.OrderError](r.Err); ok {
		other, how := o.Other, "was seen"
		if !other.Seen {
			how = "had not come yet"
		}
		return fmt.Sprintf("does not fit: %s %s on %s, and %s cannot be on %s then", stageName[other.Stage], how,
			DayYear(&v.farm, other.Date), stageName[o.Sighting.Stage], DayYear(&v.farm, o.Sighting.Date)), nil
	}
	if e, ok := errors.AsType[*forecast.FieldError](r.Err); ok {
		return e.Field + " " + e.Reason, nil
	}
	if errors.Is(r.Err, forecast.ErrPlantingNotFound) {
		return "is of a planting that the farm does not have", nil
	}
	return "", r.Err
}

// seenTable asks for the stages of all plantings of one season.
func (p *Pages) seenTable(v *visit) error {
	ctx, farm := v.Request().Context(), v.farm.ID
	year, err := strconv.Atoi(v.Param("year"))
	if err != nil || year < 1700 || year > 2400 {
		return errNoPage
	}
	r, err := p.ground(v)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	now := forecast.SeasonOf(today, v.farm.Southern())
	sightings, err := p.Store.Sightings(ctx, farm, &year, "")
	if err != nil {
		return err
	}
	page := seenPage{Year: year, Stages: stageName[:], Today: today.String(), Text: DayYear(&v.farm, today)}
	for y := now; y > now-12; y-- {
		page.Years = append(page.Years, yearLink{y, y == year})
	}
	first, last := forecast.SeasonBounds(year, v.farm.Southern())
	page.From, page.To = first.String(), min(last, today).String()
	posted := v.Request().Method == http.MethodPost
	v.Request().Body = http.MaxBytesReader(v.Response(), v.Request().Body, listBytes)
	var list []forecast.Sighting
	var cells []*seenCell
	var gone []string
	for _, x := range r.plantings {
		if !(x.PlantedOn <= last) || year <= x.PlantedOn.Year() && !slices.ContainsFunc(sightings, func(s forecast.Sighting) bool { return s.Planting == x.ID }) ||
			x.RemovedOn != nil && *x.RemovedOn <= first {
			continue
		}
		row := seenRow{Name: r.plantingName(x)}
		for stage := range forecast.LastPick + 1 {
			c := &seenCell{Name: x.ID + "." + stage.String(), Label: stageName[stage], For: row.Name + ": " + stageName[stage]}
			was, id := "", ""
			for _, s := range sightings {
				if s.Planting == x.ID && s.Stage == stage && s.Seen {
					was, id = s.Date.String(), s.ID
				}
			}
			c.Was, c.Value = was, was
			if posted {
				c.Value = strings.TrimSpace(v.FormValue(c.Name))
				// Only what was changed on the page is changed: somebody else may
				// have entered another date meanwhile.
				switch shown := v.FormValue("was." + c.Name); {
				case c.Value == shown:
				case c.Value == "" && id != "":
					gone = append(gone, id)
				case c.Value != "":
					d, fault := readDate(c.Value, v.farm.Units)
					switch {
					case fault != "":
					case d > today:
						fault = "is after today"
					case forecast.SeasonOf(d, v.farm.Southern()) != year:
						fault = fmt.Sprintf("is not in the season of %d", year)
					default:
						list = append(list, forecast.Sighting{Planting: x.ID, Date: d, Stage: stage, Seen: true})
						cells = append(cells, c)
					}
					c.Fault = fault
				}
			}
			row.Cells = append(row.Cells, c)
		}
		page.Rows = append(page.Rows, row)
	}
	if posted {
		if err := p.enterSeen(v, &page, list, cells, gone); err != nil {
			return err
		}
		if page.Faults == 0 {
			return v.Redirect(http.StatusSeeOther, "/f/"+farm+"/book/seen/"+strconv.Itoa(year)+"?saved=1")
		}
	}
	page.Saved = v.QueryParam("saved") != "" && !posted
	status := http.StatusOK
	if page.Faults > 0 {
		status = http.StatusUnprocessableEntity
	}
	return p.render(v, status, v, "book-seen", fmt.Sprintf("The season %d", year), page)
}

// enterSeen enters what was changed in a table; what is good is kept.
func (p *Pages) enterSeen(v *visit, page *seenPage, list []forecast.Sighting, cells []*seenCell, gone []string) error {
	ctx := v.Request().Context()
	for _, id := range gone {
		if err := p.Store.WithdrawSighting(ctx, v.farm.ID, id, v.who.By(), p.Now()); err != nil && !errors.Is(err, forecast.ErrSightingNotFound) {
			return err
		}
	}
	faults, err := p.addSightings(v, list)
	if err != nil {
		return err
	}
	for i, fault := range faults {
		if cells[i].Fault = fault; fault == "" {
			cells[i].Was = cells[i].Value
		}
	}
	for _, row := range page.Rows {
		for _, c := range row.Cells {
			if c.Fault != "" {
				page.Faults++
			} else {
				c.Was = c.Value
			}
		}
	}
	return nil
}

type seenPage struct {
	Year   int
	Years  []yearLink
	Stages []string
	Rows   []seenRow
	Faults int
	Saved  bool
	From   string
	To     string
	Today  string
	Text   string
}

type yearLink struct {
	Year int
	Here bool
}

type seenRow struct {
	Name  string
	Cells []*seenCell
}

type seenCell struct {
	Name, Label, For  string
	Value, Was, Fault string
}
