package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestTheUnitIsHardened has systemd judge the unit: 0 is locked away, 10 may do
// all; its own "OK" ends at 5.
func TestTheUnitIsHardened(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	w := &world{Getenv: func(string) string { return "" }, Stdout: &out, Stderr: io.Discard, Now: time.Now}
	if err := run(t.Context(), w, []string{"unit", "--user", "nobody"}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"User=nobody\n", "NoNewPrivileges=yes\n", "RIPETIDE_DATA=/var/lib/ripetide\n"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd is not installed")
	}
	name := filepath.Join(t.TempDir(), "ripetide.service")
	if err := os.WriteFile(name, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	judged, err := exec.CommandContext(t.Context(), analyze, "security", "--offline=true", "--no-pager", name).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, judged)
	}
	m := regexp.MustCompile(`exposure level for \S+: ([\d.]+)`).FindSubmatch(judged)
	if m == nil {
		t.Fatalf("systemd says\n%s", judged)
	}
	level, err := strconv.ParseFloat(string(m[1]), 64)
	if err != nil || level > 2.5 {
		t.Errorf("exposure level %v, %v\n%s", level, err, judged)
	}
	t.Logf("exposure level %v", level)
}
