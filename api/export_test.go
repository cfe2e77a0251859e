package api

// MostSeen is how many addresses are remembered, for the tests.
const MostSeen = mostSeen

// Seen is how many are remembered now.
func (l *Tries) Seen() int { return len(l.fails) }

// MountPage is mountPage, for the tests.
func MountPage(page []byte, under string) []byte {
	return mountPage(page, (&Server{under: under}).Mounted)
}
