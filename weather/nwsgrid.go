package weather

// nwsGrid: gridpoint forecasts of the US National Weather Service.
var nwsGrid = format{
	name:      "nws-grid",
	recognise: func([]byte) bool { return false },
}
