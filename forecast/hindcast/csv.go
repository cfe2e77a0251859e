package hindcast

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"ripetide/forecast/scoring"
)

// WriteCSV writes a row for every case, under a header. Dates are YYYY-MM-DD,
// errors and scores days; error_days is that of the median. The fields of a
// baseline without a forecast are empty.
func (r Result) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	header := []string{
		"season", "planting", "variety", "stage", "as_of", "lead_days", "groups", "actual",
		"p10", "p50", "p90", "error_days", "inside", "crps_days", "pinball_days",
	}
	for _, b := range Baselines() {
		column := baselineNames[b].column
		header = append(header, column+"_p50", column+"_crps_days")
	}
	if err := out.Write(header); err != nil {
		return err
	}
	for _, c := range r.Cases {
		if err := out.Write(c.fields()); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func (c Case) fields() []string {
	f := c.Forecast
	lo, mid, hi := f.Quantile(0.1), f.Median(), f.Quantile(0.9)
	fields := []string{
		strconv.Itoa(c.Season), c.Planting, c.Variety, c.Stage.String(), c.AsOf.String(), strconv.Itoa(c.Lead), c.groups.column(), c.Actual.String(),
		lo.String(), mid.String(), hi.String(), strconv.Itoa(int(mid - c.Actual)),
		strconv.FormatBool(lo <= c.Actual && c.Actual <= hi),
		score(scoring.CRPS(f, c.Actual)), score(scoring.MeanPinball(f, c.Actual)),
	}
	for _, b := range Baselines() {
		if d, why := c.Versus(b); why == "" {
			fields = append(fields, d.Median().String(), score(scoring.CRPS(d, c.Actual)))
		} else {
			fields = append(fields, "", "")
		}
	}
	return fields
}

func score(x float64) string { return strconv.FormatFloat(x, 'f', 4, 64) }

// column names the groups of a set, such as "7_days_before all_mornings".
func (s groupSet) column() string {
	var names []string
	for _, g := range Groups() {
		if s.has(g) {
			names = append(names, strings.ReplaceAll(g.String(), " ", "_"))
		}
	}
	return strings.Join(names, " ")
}
