package forecast_test

import (
	"strings"
	"testing"

	"ripetide/forecast"
)

func TestAddressesOfMailboxes(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("a", 64) + "@" + strings.Repeat(strings.Repeat("b", 45)+".", 4) + "example"
	for _, good := range []string{
		"ann@farm.example", "ann.lee+morning@mail.farm.example", "o'neil@farm.example", "a@b.co", "ANN@Farm.Example", long[:len(long)-2],
	} {
		if reason := forecast.ValidAddress(good); reason != "" {
			t.Errorf("%s: %s", good, reason)
		}
	}
	for _, bad := range []string{
		"", " ", "ann", "ann@", "@farm.example", "ann@farm", "ann@@farm.example", "a b@farm.example", "ann@farm..example", ".ann@farm.example",
		"ann.@farm.example", "a..b@farm.example", "ann@-farm.example", "ann@farm-.example", "ann@[127.0.0.1]", `"ann"@farm.example`, "Ann <ann@farm.example>",
		"<ann@farm.example>", "ann@farm.example, bob@farm.example", "ann@farm.example\r\nBcc: bob@farm.example", "ann@farm.example\n", "änn@farm.example",
		"ann@färm.example", "ann@farm.example\x00", "ann(c)@farm.example", strings.Repeat("a", 65) + "@farm.example", long + "x",
	} {
		if reason := forecast.ValidAddress(bad); reason == "" {
			t.Errorf("%q passes", bad)
		}
	}
}
