// Package feed keeps the record and the outlook of a station fresh: it asks
// weather services for observed and predicted days on a schedule.
//
// A [Spec] is what a farm says of a feed. A [Client] asks the service once and
// says, by a [Result] and the [State] to remember, what came of it and when to
// ask again; package weather reads the answers. A [Runner] does so for all
// feeds of a [Store] when they are due.
//
// Feeds are polite: they name a contact, send conditional requests, wait as
// long as they are told to and back off after failures. They trust nobody: an
// address, or what a name or a redirect leads to, must not be in a private
// network, and answers are bounded in size and time.
package feed
