// Package demofarm is the demo farm: its lineup of varieties, its blocks and
// beds, its story, and the sightings its people made, grown by simfarm on the
// real record of Ann Arbor.
//
// Farm, people, varieties and blocks are invented. The weather is real. The
// seed of the simulation was picked among some thousands for a season that
// tells the story plainly: a gap of two days, a Friday and a Saturday, that a
// forecast can see coming eleven days ahead. That makes the demo a good day for
// the forecast, not a measure of it. How often the same lineup leaves a gap in
// other seasons was looked at too; the tests print it.
//
// The command growdemo in the folder beside writes what [Grow] returns to
// testdata/demo; the tests of this package hold the two together.
package demofarm
