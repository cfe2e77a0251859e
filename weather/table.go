package weather

// table: any other delimited text with a heading: what loggers and spreadsheets export.
var table = format{
	name:      "table",
	recognise: func([]byte) bool { return false },
}
