// Package weather holds daily temperature records: civil dates, days, the
// series of one station, and the readers that turn files into days.
//
// Temperatures are in °C. A day is a civil date at the station, not an
// instant. A missing day is absent; NaN never stands for one. Values are made
// by constructors that refuse what cannot be, so that code further in need
// not ask again. Beside the standard library the package only uses
// golang.org/x/text, for encodings.
package weather
