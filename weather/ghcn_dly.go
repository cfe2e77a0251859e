package weather

// ghcnDly: the fixed-width files of the Global Historical Climatology Network, Daily.
var ghcnDly = format{
	name:      "ghcn-dly",
	recognise: func([]byte) bool { return false },
}
