// Package testdata carries the demo farm and its weather in the program.
//
// The go command leaves folders of this name out of patterns such as ./...,
// but the package builds and can be imported by its path. Its one production
// user is the demo command.
package testdata

import "embed"

// Files are the daily record of Ann Arbor and the files of the demo farm,
// under their paths in this folder. README.md says where each comes from.
//
//go:embed weather/ann_arbor_1976_2018.csv demo
var Files embed.FS
