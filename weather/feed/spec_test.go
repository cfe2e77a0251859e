package feed_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"ripetide/weather/feed"
)

func TestSpecs(t *testing.T) {
	t.Parallel()
	base := map[feed.Kind]feed.Spec{
		feed.NWS: nwsSpec(""), feed.OpenMeteo: meteoSpec(""), feed.ACIS: acisSpec(""), feed.NCEI: nceiSpec(""),
	}
	for _, tt := range []struct {
		name   string
		kind   feed.Kind
		change func(*feed.Spec)
		want   string // The fields with faults.
	}{
		{"as they are", feed.NWS, func(*feed.Spec) {}, ""},
		{"as they are", feed.OpenMeteo, func(*feed.Spec) {}, ""},
		{"as they are", feed.ACIS, func(*feed.Spec) {}, ""},
		{"as they are", feed.NCEI, func(*feed.Spec) {}, ""},
		{"without an identifier", feed.NCEI, func(s *feed.Spec) { s.ID = "" }, "id"},
		{"an identifier of 64", feed.NCEI, func(s *feed.Spec) { s.ID = strings.Repeat("a", 64) }, ""},
		{"an identifier of 65", feed.NCEI, func(s *feed.Spec) { s.ID = strings.Repeat("a", 65) }, "id"},
		{"an identifier with all there may be", feed.NCEI, func(s *feed.Spec) { s.ID = "0a_-z9" }, ""},
		{"an identifier that begins with -", feed.NCEI, func(s *feed.Spec) { s.ID = "-a" }, "id"},
		{"an identifier in capitals", feed.NCEI, func(s *feed.Spec) { s.ID = "A" }, "id"},
		{"an identifier with a slash", feed.NCEI, func(s *feed.Spec) { s.ID = "a/b" }, "id"},
		{"another kind", feed.NCEI, func(s *feed.Spec) { s.Kind = "x" }, "kind"},
		{"another kind and more", feed.NCEI, func(s *feed.Spec) { *s = feed.Spec{Contact: " "} }, "id every contact kind"},
		{"every hour", feed.NCEI, func(s *feed.Spec) { s.Every = time.Hour }, ""},
		{"more often", feed.NCEI, func(s *feed.Spec) { s.Every = time.Hour - 1 }, "every"},
		{"every day", feed.NCEI, func(s *feed.Spec) { s.Every = 24 * time.Hour }, ""},
		{"more seldom", feed.NCEI, func(s *feed.Spec) { s.Every = 24*time.Hour + 1 }, "every"},
		{"no contact", feed.NWS, func(s *feed.Spec) { s.Contact = "" }, "contact"},
		{"no contact", feed.OpenMeteo, func(s *feed.Spec) { s.Contact = "" }, ""},
		{"a web page for contact", feed.NWS, func(s *feed.Spec) { s.Contact = "https://farm.example/contact" }, ""},
		{"a contact that is none", feed.NWS, func(s *feed.Spec) { s.Contact = "me" }, "contact"},
		{"a contact of lines", feed.NWS, func(s *feed.Spec) { s.Contact = "a@b.c\r\nX: y" }, "contact"},
		{"a contact in brackets", feed.NWS, func(s *feed.Spec) { s.Contact = "a@b.c(x)" }, "contact"},
		{"a contact beyond ASCII", feed.NWS, func(s *feed.Spec) { s.Contact = "jürg@b.c" }, "contact"},
		{"a contact of 200", feed.NWS, func(s *feed.Spec) { s.Contact = "@" + strings.Repeat("a", 199) }, ""},
		{"a contact of 201", feed.NWS, func(s *feed.Spec) { s.Contact = "@" + strings.Repeat("a", 200) }, "contact"},
		{"the poles", feed.NWS, func(s *feed.Spec) { s.Latitude, s.Longitude = -90, 180 }, ""},
		{"beyond them", feed.NWS, func(s *feed.Spec) { s.Latitude, s.Longitude = 90.1, -180.1 }, "latitude longitude"},
		{"no number", feed.OpenMeteo, func(s *feed.Spec) { s.Latitude, s.Longitude = math.NaN(), math.Inf(1) }, "latitude longitude"},
		{"a station needs no point", feed.ACIS, func(s *feed.Spec) { s.Latitude = math.NaN() }, ""},
		{"no station", feed.ACIS, func(s *feed.Spec) { s.SourceStation = "" }, "source_station"},
		{"no station", feed.NCEI, func(s *feed.Spec) { s.SourceStation = "" }, "source_station"},
		{"a station with its kind", feed.ACIS, func(s *feed.Spec) { s.SourceStation = "BUFthr 9" }, ""},
		{"two stations", feed.NCEI, func(s *feed.Spec) { s.SourceStation = "USC1,USC2" }, "source_station"},
		{"a station with a blank", feed.ACIS, func(s *feed.Spec) { s.SourceStation = "USC1 " }, "source_station"},
		{"a station with a query", feed.NCEI, func(s *feed.Spec) { s.SourceStation = "a&b=c" }, "source_station"},
		{"a station of 41", feed.NCEI, func(s *feed.Spec) { s.SourceStation = strings.Repeat("A", 41) }, "source_station"},
		{"a key", feed.OpenMeteo, func(s *feed.Spec) { s.Key = "k" }, ""},
		{"a key where none is taken", feed.NCEI, func(s *feed.Spec) { s.Key = "k" }, "key"},
		{"a key with a blank", feed.OpenMeteo, func(s *feed.Spec) { s.Key = "k y" }, "key"},
		{"a key of 201", feed.OpenMeteo, func(s *feed.Spec) { s.Key = feed.Secret(strings.Repeat("k", 201)) }, "key"},
		{"a key and an open address", feed.OpenMeteo, func(s *feed.Spec) { s.Key, s.Address = "k", "http://a.b" }, "address"},
		{"a key and another address", feed.OpenMeteo, func(s *feed.Spec) { s.Key, s.Address = "k", "https://a.b" }, ""},
		{"an address", feed.NWS, func(s *feed.Spec) { s.Address = "http://10.0.0.1:8080/nws" }, ""},
		{"an address of 301", feed.NWS, func(s *feed.Spec) { s.Address = "http://" + strings.Repeat("a", 294) }, "address"},
		{"no address", feed.NWS, func(s *feed.Spec) { s.Address = "api.weather.gov" }, "address"},
	} {
		s := base[tt.kind]
		tt.change(&s)
		var fields []string
		for _, f := range s.Validate() {
			fields = append(fields, f.Field)
			if f.Reason == "" || strings.HasSuffix(f.Reason, ".") {
				t.Errorf("%s: reason %q is no clause", tt.name, f.Reason)
			}
		}
		if got := strings.Join(fields, " "); got != tt.want {
			t.Errorf("%s, %s: faults of %q, want %q", tt.kind, tt.name, got, tt.want)
		}
	}
}

func TestAddressesSayWhatIsWrong(t *testing.T) {
	t.Parallel()
	for address, want := range map[string]string{
		"ftp://a.b": "http or https", "http:a.b": "http or https", "http://": "http or https", "http://:80": "http or https", "http://a.b:": "http or https",
		"http://ä.b": "http or https", "http://a b": "http or https", "http://u@a.b": "user or password", "http://u:p@a.b/x": "user or password",
		"http://a.b?x": "query or fragment", "http://a.b/?": "query or fragment", "http://a.b#x": "query or fragment", "http://a.b#": "query or fragment",
		"http://a.b:0": "port", "http://a.b:65536": "port", "http://a.b:x": "http or https",
	} {
		s := nceiSpec(address)
		faults := s.Validate()
		if len(faults) != 1 || faults[0].Field != "address" || !strings.Contains(faults[0].Reason, want) {
			t.Errorf("%s: %v, want a fault that says %q", address, faults, want)
		}
	}
}

func TestSourceAndSecrets(t *testing.T) {
	t.Parallel()
	s := meteoSpec("")
	if s.Source() != "feed model" {
		t.Errorf("source %q", s.Source())
	}
	if s.Key.String() != "" {
		t.Errorf("no key prints as %q", s.Key)
	}
	s.Key = "k3y"
	b, err := json.Marshal(s)
	if err != nil || strings.Contains(string(b), "k3y") {
		t.Errorf("as JSON %s, %v", b, err)
	}
}
