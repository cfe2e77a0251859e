package weather

// metEireann: daily data of Met Éireann.
var metEireann = format{
	name:      "met-eireann",
	recognise: func([]byte) bool { return false },
}
