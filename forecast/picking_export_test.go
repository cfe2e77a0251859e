package forecast

import "ripetide/weather"

// AsSeenOn is Inputs.asSeenOn.
func AsSeenOn(in Inputs, asOf weather.Date) Inputs { return in.asSeenOn(asOf) }
