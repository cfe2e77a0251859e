package forecast_test

import (
	"strings"
	"testing"

	"ripetide/forecast"
)

// A text is measured as people count it, in any language.
func TestTextsAreMeasuredInCharacters(t *testing.T) {
	t.Parallel()
	text := func(n int) forecast.Announcing {
		return forecast.Announcing{Texts: map[forecast.Text]string{forecast.TextPost: strings.Repeat("ü", n)}}
	}
	if errs := text(2000).Validate(); errs != nil {
		t.Errorf("2000 characters: %v", errs)
	}
	if errs := text(2001).Validate(); len(errs) != 1 || !strings.Contains(errs[0].Error(), "at most 2000 characters") {
		t.Errorf("2001 characters: %v", errs)
	}
}
