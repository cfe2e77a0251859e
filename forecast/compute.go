package forecast

import "ripetide/weather"

// Compute stub.
func Compute(in Inputs, asOf weather.Date) (*Forecast, error) { return nil, nil }
