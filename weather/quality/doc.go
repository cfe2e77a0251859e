// Package quality tests the daily record of a station for values that cannot
// be trusted, and for the hour at which its thermometers are read.
//
// [Check] names suspects; it changes and drops nothing, for a person decides.
// Its tests need nothing but the record itself: no neighbouring station. They
// are made to leave a good record alone, at most one day in a thousand, so a
// fault that looks like weather goes through; the tests of the package print
// how often that is, by kind of fault and month.
//
// Most tests and thresholds are those of Durre, Menne, Gleason, Houston and
// Vose (2010), Journal of Applied Meteorology and Climatology 49, 1615-1633,
// by which the daily records of the United States are tested. Where a test is
// ours, its comment says how its threshold was reasoned.
package quality
