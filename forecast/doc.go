// Package forecast turns daily temperatures and field sightings into harvest
// dates with ranges.
//
// # The way of the data
//
// Days of a station become degree-days by a [Method] and prefix sums by a
// clock. Past seasons and sightings become a joint Gaussian for the log
// requirements of all plantings. A member is one complete possible season:
// one trace (the weather of a past year, replayed from the first day not yet
// observed) and one joint draw of all requirements. Every published figure is
// a count or a quantile over members, so that dates, windows, gaps and supply
// agree with each other. [Compute] is the whole of it; it is pure.
//
// Within a member the crop ripens against the clock as a two-piece normal
// through its stages. A [Frost] removes the berries of the flowers that were
// open on its night, and the stages are those of what is left. Ripe fruit
// standing is what ripened, less what spoiled and what each [Picking] on record
// took; where none is, everything ripe is picked on open days.
//
// # Conventions
//
// Temperatures are °C, sums of heat °C·d, weights kg, areas m², probabilities
// fractions. Dates are civil dates at the farm. H(d) is the heat of the days
// after bloom up to and including d. Error is forecast minus actual in days:
// positive is late. The same inputs give the same bytes.
//
// Kernels panic on what a constructor has already excluded; what comes from
// outside passes a Validate method that returns an error.
package forecast
