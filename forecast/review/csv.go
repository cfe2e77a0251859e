package review

import (
	"encoding/csv"
	"io"
	"strconv"
)

// WriteCSV writes rows under a header. Dates are YYYY-MM-DD, errors days; what
// is not known is empty.
func WriteCSV(w io.Writer, rows []Row) error {
	out := csv.NewWriter(w)
	lines := [][]string{{
		"season", "planting", "stage", "lead", "actual", "actual_from", "actual_bound",
		"forecast", "as_of", "p10", "p50", "p90", "error_days", "inside", "why",
	}}
	for _, r := range rows {
		line := []string{
			strconv.Itoa(r.Season), r.Planting, r.Stage.String(), r.Lead.String(), r.Date.String(), string(r.From), string(r.Bound),
			"", "", "", "", "", "", "", string(r.Why),
		}
		if r.Said != nil {
			copy(line[7:], []string{r.Said.Forecast, r.Said.AsOf.String(), r.Said.P10.String(), r.Said.P50.String(), r.Said.P90.String()})
		}
		if days, ok := r.Error(); ok {
			inside, _ := r.Inside()
			line[12], line[13] = strconv.Itoa(days), strconv.FormatBool(inside)
		}
		lines = append(lines, line)
	}
	return out.WriteAll(lines) // Flushes.
}
