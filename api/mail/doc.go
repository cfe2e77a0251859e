// Package mail sends the morning mail to those who asked for it, over SMTP.
//
// Each mail is sent at most once. A [Runner] records an attempt before it is
// made, so that of many instances of the service one makes it, and what came of
// it afterwards. An attempt that was cut off, or whose answer was lost after the
// text had been handed over, may have arrived: it is not made again that day,
// for a second copy of a morning is worse than none, and the page has it all.
// What surely failed for now is tried again, and what was refused is not.
package mail
