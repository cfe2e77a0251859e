package weather

// dwd: daily climate observations (KL) of Deutscher Wetterdienst.
var dwd = format{
	name:      "dwd",
	recognise: func([]byte) bool { return false },
}
