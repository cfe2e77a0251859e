package testdata

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Demo is the demo farm: an invented farm on a real weather record, whose
// seasons were grown by the simulator in forecast/simfarm.
type Demo struct {
	About []string     // The farm's story, one paragraph each.
	AsOf  weather.Date // The morning that the demo stands on.
	// Farm, Stations, Varieties and Plantings are what is set up once.
	Farm      forecast.Farm
	Stations  []weather.Station
	Varieties []forecast.Variety
	Plantings []forecast.Planting
	// Sightings are what the farm had written down by the morning of AsOf.
	Sightings []forecast.Sighting
	// Later is what it wrote down in the rest of that season: for a review, not
	// for the forecast.
	Later []forecast.Sighting
}

// ReadDemo reads the demo farm.
func ReadDemo() (Demo, error) {
	var setup jsonSetup
	var seen, later jsonSightings
	for name, into := range map[string]any{farmFile: &setup, sightingsFile: &seen, laterFile: &later} {
		b, err := Files.ReadFile(name)
		if err != nil {
			return Demo{}, err
		}
		d := json.NewDecoder(bytes.NewReader(b))
		d.DisallowUnknownFields()
		if err := d.Decode(into); err != nil {
			return Demo{}, fmt.Errorf("%s: %w", name, err)
		}
	}
	d, err := setup.demo()
	if err != nil {
		return Demo{}, fmt.Errorf("%s: %w", farmFile, err)
	}
	if d.Sightings, err = seen.sightings(); err != nil {
		return Demo{}, fmt.Errorf("%s: %w", sightingsFile, err)
	}
	if d.Later, err = later.sightings(); err != nil {
		return Demo{}, fmt.Errorf("%s: %w", laterFile, err)
	}
	return d, nil
}

// Inputs returns what a forecast is computed from, with the whole record of
// every station.
func (d Demo) Inputs() (forecast.Inputs, error) {
	days, err := AnnArbor()
	if err != nil {
		return forecast.Inputs{}, err
	}
	in := forecast.Inputs{Farm: d.Farm, Varieties: d.Varieties, Plantings: d.Plantings, Sightings: d.Sightings}
	for _, s := range d.Stations {
		in.Records = append(in.Records, forecast.Record{Station: s, Days: days})
	}
	return in, nil
}

// Files returns the demo as the files that [ReadDemo] reads, by path.
func (d Demo) Files() (map[string][]byte, error) {
	setup, err := d.setup()
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{farmFile: setup}
	for name, list := range map[string][]forecast.Sighting{sightingsFile: d.Sightings, laterFile: d.Later} {
		var b bytes.Buffer
		b.WriteString("{")
		if err := writeList(&b, "sightings", sightingRows(list)); err != nil {
			return nil, err
		}
		b.WriteString("\n}\n")
		files[name] = b.Bytes()
	}
	return files, nil
}

const (
	farmFile      = "demo/farm.json"
	sightingsFile = "demo/sightings.json"
	laterFile     = "demo/sightings_later.json"
)

// The files hold bodies that the service takes, with their identifiers beside
// them.
type (
	jsonSetup struct {
		About     []string       `json:"about"`
		AsOf      weather.Date   `json:"as_of"`
		Farm      jsonFarm       `json:"farm"`
		Stations  []jsonStation  `json:"stations"`
		Varieties []jsonVariety  `json:"varieties"`
		Plantings []jsonPlanting `json:"plantings"`
	}
	jsonFarm struct {
		ID             string         `json:"id"`
		Name           string         `json:"name"`
		Latitude       float64        `json:"latitude"`
		Longitude      float64        `json:"longitude"`
		TimeZone       string         `json:"time_zone"`
		Units          forecast.Units `json:"units"`
		ThinKgPerDay   float64        `json:"thin_kg_per_day"`
		GapProbability float64        `json:"gap_probability"`
		Opening        jsonOpening    `json:"opening"`
	}
	jsonOpening struct {
		ReadyKg    float64  `json:"ready_kg"`
		Confidence float64  `json:"confidence"`
		Weekdays   []string `json:"weekdays"`
		NoticeDays int      `json:"notice_days"`
	}
	jsonStation struct {
		ID         string  `json:"id"`
		Name       string  `json:"name"`
		Latitude   float64 `json:"latitude"`
		Longitude  float64 `json:"longitude"`
		ElevationM float64 `json:"elevation_m"`
	}
	jsonVariety struct {
		ID     string `json:"id"`
		Name   string `json:"name"`
		Ripens string `json:"ripens"`
	}
	jsonPlanting struct {
		ID        string        `json:"id"`
		Variety   string        `json:"variety"`
		Block     string        `json:"block"`
		Station   string        `json:"station"`
		PlantedOn weather.Date  `json:"planted_on"`
		RemovedOn *weather.Date `json:"removed_on,omitempty"`
		AreaM2    float64       `json:"area_m2"`
		KgPerM2   float64       `json:"expected_kg_per_m2"`
	}
	jsonSightings struct {
		Sightings []jsonSighting `json:"sightings"`
	}
	jsonSighting struct {
		Planting string       `json:"planting"`
		Date     weather.Date `json:"date"`
		Stage    string       `json:"stage"`
		Seen     bool         `json:"seen"`
		Note     string       `json:"note,omitempty"`
	}
)

func (s jsonSetup) demo() (Demo, error) {
	f := s.Farm
	d := Demo{About: s.About, AsOf: s.AsOf, Farm: forecast.Farm{
		ID: f.ID, Name: f.Name, Latitude: f.Latitude, Longitude: f.Longitude,
		TimeZone: f.TimeZone, Units: f.Units,
		ThinKgPerDay: f.ThinKgPerDay, GapProbability: f.GapProbability,
		Opening: forecast.Opening{
			ReadyKg: f.Opening.ReadyKg, Confidence: f.Opening.Confidence, NoticeDays: f.Opening.NoticeDays,
		},
	}}
	for _, name := range f.Opening.Weekdays {
		i := slices.Index(weekdays, name)
		if i < 0 {
			return Demo{}, fmt.Errorf("%q is no weekday", name)
		}
		d.Farm.Opening.Weekdays = append(d.Farm.Opening.Weekdays, time.Weekday(i))
	}
	for _, x := range s.Stations {
		d.Stations = append(d.Stations, weather.Station{
			ID: x.ID, Name: x.Name, Latitude: x.Latitude, Longitude: x.Longitude, Elevation: x.ElevationM,
		})
	}
	for _, x := range s.Varieties {
		class, err := forecast.ParseClass(x.Ripens)
		if err != nil {
			return Demo{}, fmt.Errorf("variety %s: %w", x.ID, err)
		}
		d.Varieties = append(d.Varieties, forecast.Variety{ID: x.ID, Name: x.Name, Ripens: class})
	}
	for _, x := range s.Plantings {
		d.Plantings = append(d.Plantings, forecast.Planting(x))
	}
	return d, nil
}

func (s jsonSightings) sightings() (out []forecast.Sighting, err error) {
	for i, x := range s.Sightings {
		stage, err := forecast.ParseStage(x.Stage)
		if err != nil {
			return nil, fmt.Errorf("sighting %d: %w", i+1, err)
		}
		out = append(out, forecast.Sighting{Planting: x.Planting, Date: x.Date, Stage: stage, Seen: x.Seen, Note: x.Note})
	}
	return out, nil
}

func sightingRows(list []forecast.Sighting) (rows []jsonSighting) {
	for _, s := range list {
		rows = append(rows, jsonSighting{Planting: s.Planting, Date: s.Date, Stage: s.Stage.String(), Seen: s.Seen, Note: s.Note})
	}
	return rows
}

// weekdays are the names of the days of the week, from Sunday on.
var weekdays = []string{"sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday"}

// setup returns the farm file.
func (d Demo) setup() ([]byte, error) {
	farm := jsonFarm{
		ID: d.Farm.ID, Name: d.Farm.Name, Latitude: d.Farm.Latitude, Longitude: d.Farm.Longitude,
		TimeZone: d.Farm.TimeZone, Units: d.Farm.Units,
		ThinKgPerDay: d.Farm.ThinKgPerDay, GapProbability: d.Farm.GapProbability,
		Opening: jsonOpening{
			ReadyKg: d.Farm.Opening.ReadyKg, Confidence: d.Farm.Opening.Confidence, NoticeDays: d.Farm.Opening.NoticeDays,
		},
	}
	for _, w := range d.Farm.Opening.Weekdays {
		farm.Opening.Weekdays = append(farm.Opening.Weekdays, weekdays[w])
	}
	var stations []jsonStation
	for _, s := range d.Stations {
		stations = append(stations, jsonStation{ID: s.ID, Name: s.Name, Latitude: s.Latitude, Longitude: s.Longitude, ElevationM: s.Elevation})
	}
	var varieties []jsonVariety
	for _, v := range d.Varieties {
		varieties = append(varieties, jsonVariety{ID: v.ID, Name: v.Name, Ripens: v.Ripens.String()})
	}
	var plantings []jsonPlanting
	for _, p := range d.Plantings {
		plantings = append(plantings, jsonPlanting(p))
	}

	var b bytes.Buffer
	b.WriteString("{")
	if err := writeList(&b, "about", d.About); err != nil {
		return nil, err
	}
	fmt.Fprintf(&b, ",\n \"as_of\": %q", d.AsOf)
	row, err := line(farm)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(&b, ",\n \"farm\": %s,", row)
	err = writeList(&b, "stations", stations)
	if err != nil {
		return nil, err
	}
	b.WriteString(",")
	if err := writeList(&b, "varieties", varieties); err != nil {
		return nil, err
	}
	b.WriteString(",")
	if err := writeList(&b, "plantings", plantings); err != nil {
		return nil, err
	}
	b.WriteString("\n}\n")
	return b.Bytes(), nil
}

// writeList writes a named list with one element a line, so that a change
// shows as the line that it is.
func writeList[T any](b *bytes.Buffer, name string, list []T) error {
	fmt.Fprintf(b, "\n %q: [", name)
	for i, x := range list {
		if i > 0 {
			b.WriteString(",")
		}
		row, err := line(x)
		if err != nil {
			return err
		}
		b.WriteString("\n  " + row)
	}
	b.WriteString("\n ]")
	return nil
}

// line returns x as JSON on one line, with a space after each comma and colon
// that is not inside a string.
func line(x any) (string, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(x); err != nil {
		return "", err
	}
	var out strings.Builder
	inString, escaped := false, false
	for _, r := range strings.TrimSpace(b.String()) {
		out.WriteRune(r)
		switch {
		case escaped:
			escaped = false
		case inString && r == '\\':
			escaped = true
		case r == '"':
			inString = !inString
		case !inString && (r == ',' || r == ':'):
			out.WriteByte(' ')
		}
	}
	return out.String(), nil
}
