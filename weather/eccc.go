package weather

// eccc: daily data of Environment and Climate Change Canada.
var eccc = format{
	name:      "eccc",
	recognise: func([]byte) bool { return false },
}
