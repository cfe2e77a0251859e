package postmaster_test

import (
	"strings"
	"testing"

	"ripetide/db/postmaster"
)

func TestJudgeByCommandLine(t *testing.T) {
	t.Parallel()
	const cluster = "/var/lib/ripetide/postgres"
	name := postmaster.ClusterName(cluster)
	for _, tt := range []struct{ line, want string }{
		{"/usr/lib/postgresql/15/bin/postgres\x00-D\x00" + cluster + "\x00-c\x00fsync=on\x00", "ours"},
		{"postgres: " + name + ": checkpointer \x00\x00\x00", "ours"},
		{"postgres: " + name + ": ripetide postgres [local] SELECT\x00", "ours"},
		{"/usr/lib/postgresql/15/bin/postgres\x00-D\x00/var/lib/postgresql/15/main\x00", "foreign"},
		{"postgres: 15/main: checkpointer \x00", "foreign"},
		{"postgres: checkpointer \x00", "foreign"},
		{"postgres: " + name + "x: checkpointer \x00", "foreign"},
		{"/usr/bin/less\x00" + cluster + "/log/postgresql-Mon.log\x00", "foreign"},
		{"sleep\x001000\x00", "foreign"},
		{"", "foreign"},
		{"postgres\x00-D\x00postgres\x00", "unclear"},
		{"postgres\x00-D\x00", "unclear"},
		{"postgres\x00", "unclear"},
	} {
		if got := postmaster.JudgeLine(cluster, tt.line); got != tt.want {
			t.Errorf("%q: got %s, want %s", strings.ReplaceAll(tt.line, "\x00", " "), got, tt.want)
		}
	}
	if other := postmaster.ClusterName(cluster + "2"); other == name {
		t.Error("two clusters have one name")
	}
}
