package weather

// acis: station data of the Applied Climate Information System.
var acis = format{
	name:      "acis",
	recognise: func([]byte) bool { return false },
}
