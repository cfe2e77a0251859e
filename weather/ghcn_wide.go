package weather

// ghcnWide: the same record as a CSV of one station, a row a day.
var ghcnWide = format{
	name:      "ghcn-wide",
	recognise: func([]byte) bool { return false },
}
