package weather

// openMeteo: daily values of Open-Meteo, of the past or the days ahead.
var openMeteo = format{
	name:      "open-meteo",
	recognise: func([]byte) bool { return false },
}
