package weather

// nceiCSV: daily summaries of the NCEI access service as CSV.
var nceiCSV = format{
	name:      "ncei-csv",
	recognise: func([]byte) bool { return false },
}

// nceiJSON: the same as JSON.
var nceiJSON = format{
	name:      "ncei-json",
	recognise: func([]byte) bool { return false },
}
