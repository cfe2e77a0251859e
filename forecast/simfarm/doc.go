// Package simfarm grows seasons of an invented strawberry farm from real or
// invented daily weather: what flowered when, what ripened when, and what a
// person who looks now and then would have written down. Tests and the demo
// take it for the truth.
//
// # Why it is not the forecaster
//
// A forecaster tested in a world of its own making looks better than it is.
// So nothing here is degree-days: temperature is hourly (by the model of
// Parton and Logan), development answers to it by curves, flowers of three
// ranks open one after the other and every berry ripens on its own account,
// and a stage is what comes out of counting them. Nothing of the forecaster is
// called; only its words (planting, stage, sighting) are shared. No production
// package may import simfarm.
//
// # What is real and what is invented
//
// The hourly temperature, the day length and the make-up of a truss (one
// primary flower, two secondary, four tertiary, each rank with smaller
// berries) come from the literature and say so where they stand. All else,
// above all the two curves of development and every sd, is invented for the
// simulation and was set so that what comes out is plausible: about a month
// from bloom to the first ripe fruit, a week to two weeks of picking for a
// variety, three to five weeks for a farm, dates that move by two to five
// days per °C. A score reached in this world is a score in this world.
//
// # Conventions
//
// Temperatures are °C, weights kg, areas m². Hours are solar hours of the
// civil date: the difference to the clock on the wall is ignored. The same
// farm, weather and year give the same season, and the luck of a planting does
// not depend on which others the farm has.
package simfarm
