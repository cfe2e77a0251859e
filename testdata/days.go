package testdata

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"

	"ripetide/weather"
)

// ReadDays reads the plain form of the records in this folder: the header
// date,min_c,max_c and a row for every day, in order.
func ReadDays(r io.Reader) (weather.Series, error) {
	rows := csv.NewReader(r)
	header, err := rows.Read()
	if err != nil {
		return weather.Series{}, fmt.Errorf("read header: %w", err)
	}
	if want := []string{"date", "min_c", "max_c"}; !slices.Equal(header, want) {
		return weather.Series{}, fmt.Errorf("header is %q, want %q", header, want)
	}
	all, err := rows.ReadAll()
	if err != nil {
		return weather.Series{}, fmt.Errorf("read rows: %w", err)
	}
	days := make([]weather.Day, len(all))
	for i, row := range all {
		if days[i], err = readDay(row); err != nil {
			return weather.Series{}, fmt.Errorf("data row %d: %w", i+1, err)
		}
	}
	return weather.NewSeries(days)
}

func readDay(row []string) (weather.Day, error) {
	date, err := weather.ParseDate(row[0])
	if err != nil {
		return weather.Day{}, err
	}
	low, err := strconv.ParseFloat(row[1], 64)
	if err != nil {
		return weather.Day{}, err
	}
	high, err := strconv.ParseFloat(row[2], 64)
	if err != nil {
		return weather.Day{}, err
	}
	return weather.NewDay(date, low, high)
}

// AnnArbor returns the record of the demo's station.
func AnnArbor() (weather.Series, error) {
	f, err := Files.Open(annArborFile)
	if err != nil {
		return weather.Series{}, err
	}
	defer f.Close()
	s, err := ReadDays(f)
	if err != nil {
		return weather.Series{}, fmt.Errorf("%s: %w", annArborFile, err)
	}
	return s, nil
}

const annArborFile = "weather/ann_arbor_1976_2018.csv"
