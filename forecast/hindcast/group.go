package hindcast

import "fmt"

// Group is a set of cases by how long before the event, or when, the forecast
// was made.
type Group int

// The groups, in the order in which they are shown.
const (
	AtBloom     Group = iota // The day on which the planting's bloom was entered.
	Days21                   // 21 days before the event.
	Days14                   // 14 days before it.
	Days7                    // 7 days before it.
	Days3                    // 3 days before it.
	AllMornings              // Every few days from the farm's first bloom on.
)

// Groups returns all groups in order.
func Groups() []Group { return []Group{AtBloom, Days21, Days14, Days7, Days3, AllMornings} }

// String returns the group in words, such as "7 days before".
func (g Group) String() string {
	switch g {
	case AtBloom:
		return "at bloom"
	case AllMornings:
		return "all mornings"
	}
	if n := g.days(); n > 0 {
		return fmt.Sprintf("%d days before", n)
	}
	return fmt.Sprintf("Group(%d)", int(g))
}

// days returns the lead of the groups that have one, and else 0.
func (g Group) days() int {
	switch g {
	case Days21:
		return 21
	case Days14:
		return 14
	case Days7:
		return 7
	case Days3:
		return 3
	}
	return 0
}

// groupSet is a set of groups, a bit for each.
type groupSet uint8

func (s groupSet) has(g Group) bool { return s&(1<<g) != 0 }
