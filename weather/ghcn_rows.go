package weather

// ghcnRows: the same record by year, a row for each value, with the hour of observation.
var ghcnRows = format{
	name:      "ghcn-rows",
	recognise: func([]byte) bool { return false },
}
