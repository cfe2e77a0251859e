// Package review compares what was said of a season with what came of it.
//
// Only what was issued on its morning counts: forecasts made afterwards knew
// more than anybody did. An error is forecast minus actual in days, so positive
// is late. The package is pure: it reads frozen dates and dates as they came.
package review
