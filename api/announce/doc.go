// Package announce says what a farm may tell people about its season, and how
// sure it is, in words for the public: by what was seen in the field and by
// how far apart the possible seasons lie.
//
// No public sentence names a single day that lies more than [Near] days ahead,
// a probability or a degree-day. That rule is kept by [Language.Opening] and its
// like, and texts of a farm's own are held to it by [Check].
package announce
