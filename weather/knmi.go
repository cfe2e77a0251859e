package weather

// knmi: daily values of KNMI.
var knmi = format{
	name:      "knmi",
	recognise: func([]byte) bool { return false },
}
