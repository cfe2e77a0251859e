package weather

// Recognisers returns the names of all formats that would take a file, in the
// order in which they are asked; the first takes it.
func Recognisers(file string) []string {
	body, _, err := decode(file)
	if err != nil {
		return nil
	}
	head := []byte(body[:min(len(body), headBytes)])
	var names []string
	for _, f := range formats {
		if f.recognise(head) {
			names = append(names, f.name)
		}
	}
	return names
}
