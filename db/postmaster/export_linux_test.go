package postmaster

// JudgeLine says what a process with this command line is to a cluster.
func JudgeLine(cluster, line string) string {
	return [...]string{"gone", "foreign", "ours", "unclear"}[testCluster(cluster).judgeLine(line)]
}
