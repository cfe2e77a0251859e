// Package scoring verifies probabilistic forecasts of dates: how far off they
// were, whether their ranges are honest, and whether they beat a simpler
// forecast of the same events.
//
// # The way of the data
//
// A forecast is a [Distribution] over whole days. A [Case] is one forecast and
// what came of it. [Score] turns cases into an [Accuracy], [Skill] compares the
// cases of two forecasters event by event, [PITHistogram] and [Decompose] show
// where a forecaster that scores badly goes wrong. The scores themselves, such
// as [CRPS] and [Pinball], stand alone.
//
// # Conventions
//
// Error is forecast minus actual in days: positive is late. Scores are in days
// and negatively oriented, so smaller is better and 0 is perfect; skill is
// 1 for perfect, 0 for no better than the reference. Probabilities are
// fractions. A range is closed: both of its dates belong to it. Where a date
// stands as a float64 it is in days since 1970-01-01, as in [weather.Date].
//
// The season is the unit of resampling: many plantings in one year are one
// weather, and count for little more than one.
//
// What comes from outside passes a constructor, [Score] or [Skill], which
// return errors. Kernels panic on what these exclude. No function returns NaN,
// nor an infinite number: a figure that is not defined comes with a bool that
// says so.
package scoring
