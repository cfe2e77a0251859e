package scoring_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast/scoring"
)

func TestByLead(t *testing.T) {
	t.Parallel()
	keys := make(map[int][]string)
	for lead, cases := range scoring.ByLead([]scoring.Case{{Key: "a", Lead: 7}, {Key: "b", Lead: 21}, {Key: "c", Lead: 7}}) {
		for _, c := range cases {
			keys[lead] = append(keys[lead], c.Key)
		}
	}
	if diff := cmp.Diff(map[int][]string{7: {"a", "c"}, 21: {"b"}}, keys); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
