package feed

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Kind is a weather service, or others that answer like it.
type Kind string

// The kinds there are.
const (
	// NWS is the US National Weather Service: outlooks for a point.
	NWS Kind = "nws"
	// OpenMeteo is Open-Meteo: past days of a model's grid and outlooks for a
	// point. An address whose path ends in /archive gives past days only.
	OpenMeteo Kind = "open-meteo"
	// ACIS is the Applied Climate Information System of the US regional climate
	// centers: observed days of a station.
	ACIS Kind = "acis"
	// NCEI is the access service of the US National Centers for Environmental
	// Information: observed days of a station, daily summaries.
	NCEI Kind = "ncei"
)

// The bounds of [Spec.Every].
const (
	MinEvery = time.Hour
	MaxEvery = 24 * time.Hour
)

// Spec is what a farm says of a feed.
type Spec struct {
	ID   string // Slug, unique within the station.
	Kind Kind
	// Address is another than the service's own, scheme://host[:port][/path],
	// or "".
	Address string
	// SourceStation is the service's own identifier of the station. ACIS and
	// NCEI need it.
	SourceStation string
	// Latitude and Longitude are the station's, degrees north and east, the
	// point for which NWS and Open-Meteo are asked.
	Latitude, Longitude float64
	Key                 Secret `json:"-"` // Of Open-Meteo's paying users; or "".
	// Contact is an e-mail or web address that services find in the User-Agent
	// when they want to complain. NWS needs it.
	Contact string
	Every   time.Duration // Between two requests, MinEvery to MaxEvery.
	Paused  bool          // It is not asked on schedule.
}

// Source is the source of the days that the feed delivers, as in
// [weather.Delivery].
func (s Spec) Source() string { return "feed " + s.ID }

// Secret is a text that does not show when it is printed.
type Secret string

// String returns a placeholder.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return "(secret)"
}

// GoString returns the same.
func (s Secret) GoString() string { return strconv.Quote(s.String()) }

// Fault says what about a spec cannot be.
type Fault struct {
	Field  string // As in JSON, such as "source_station".
	Reason string // One clause in plain words.
}

// Validate returns every fault of s. Whether its address may be reached is seen
// only when it is.
func (s Spec) Validate() []Fault {
	var faults []Fault
	add := func(field, reason string, args ...any) {
		faults = append(faults, Fault{field, fmt.Sprintf(reason, args...)})
	}
	if !validSlug(s.ID) {
		add("id", "must be 1 to 64 of a-z, 0-9, - and _, beginning with a letter or digit")
	}
	if s.Every < MinEvery || s.Every > MaxEvery {
		add("every", "must be 1 to 24 hours")
	}
	if s.Address != "" {
		switch u, reason := parseAddress(s.Address); {
		case reason != "":
			add("address", "%s", reason)
		case u.Scheme == "http" && s.Key != "":
			add("address", "must be https, for the key is sent there")
		}
	}
	if s.Contact != "" && !validContact(s.Contact) {
		add("contact", "must be an e-mail or web address of at most 200 printable ASCII characters, without ( and )")
	}
	service, known := services[s.Kind]
	if !known {
		add("kind", "must be one of nws, open-meteo, acis and ncei")
		return faults
	}
	if service.needsContact && s.Contact == "" {
		add("contact", "is needed: the service refuses requests that do not name one")
	}
	if s.Key != "" && !service.takesKey {
		add("key", "must be left out: the service takes none")
	}
	if !printable(string(s.Key), maxText) {
		add("key", "must be at most %d printable ASCII characters without blanks", maxText)
	}
	if service.byPoint {
		if !(math.Abs(s.Latitude) <= 90) {
			add("latitude", "must be within -90 to 90")
		}
		if !(math.Abs(s.Longitude) <= 180) {
			add("longitude", "must be within -180 to 180")
		}
	} else if !validSourceStation(s.SourceStation) {
		add("source_station", "must be the service's identifier of the station, such as USC00200230: 1 to 40 letters and digits")
	}
	return faults
}

const maxText = 200

// validSlug is the rule for identifiers of the whole service.
func validSlug(s string) bool {
	for i := range len(s) {
		c := s[i]
		letter := 'a' <= c && c <= 'z' || '0' <= c && c <= '9'
		if !letter && (i == 0 || c != '-' && c != '_') {
			return false
		}
	}
	return 1 <= len(s) && len(s) <= 64
}

// validSourceStation: one station, for a comma would name several. ACIS takes
// an identifier followed by its kind, as in "BUFthr 9".
func validSourceStation(s string) bool {
	for i := range len(s) {
		c := s[i]
		letter := 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9'
		inside := 0 < i && i < len(s)-1 && (c == ' ' || c == '-' || c == '_' || c == ':' || c == '.')
		if !letter && !inside {
			return false
		}
	}
	return 1 <= len(s) && len(s) <= 40
}

func validContact(s string) bool {
	return printable(s, maxText) && !strings.ContainsAny(s, "()") && strings.ContainsAny(s, "@.")
}

// printable reports whether s is printable ASCII without blanks.
func printable(s string, most int) bool {
	for i := range len(s) {
		if s[i] <= ' ' || s[i] > '~' {
			return false
		}
	}
	return len(s) <= most
}

// parseAddress returns the address of a service, or why it is none in one
// clause.
func parseAddress(s string) (*url.URL, string) {
	const form = "must be http or https://host[:port][/path]"
	u, err := url.Parse(s)
	switch {
	case !printable(s, 300) || err != nil || u.Opaque != "" || u.Scheme != "http" && u.Scheme != "https":
		return nil, form
	case u.User != nil:
		return nil, "must not hold a user or password"
	case u.RawQuery != "" || u.ForceQuery || strings.Contains(s, "#"):
		return nil, "must not hold a query or fragment"
	case u.Hostname() == "" || strings.HasSuffix(u.Host, ":"):
		return nil, form
	}
	if p := u.Port(); p != "" {
		if n, err := strconv.ParseUint(p, 10, 16); err != nil || n == 0 {
			return nil, "must have a port from 1 to 65535"
		}
	}
	u.Host = strings.ToLower(u.Host)
	return u, ""
}

// base returns the address to ask: that of s or, where it names none or has no
// path, that of the service; nil if s is not valid.
func (s Spec) base() *url.URL {
	home := services[s.Kind].home
	if s.Kind == OpenMeteo && s.Key != "" {
		home = openMeteoPaid
	}
	own, reason := parseAddress(home)
	if s.Address == "" || reason != "" {
		return own
	}
	u, reason := parseAddress(s.Address)
	if reason != "" {
		return nil
	}
	if strings.Trim(u.Path, "/") == "" {
		u.Path, u.RawPath = own.Path, own.RawPath
	}
	return u
}

// fingerprint tells settings apart whose states have nothing to do with each
// other; of what else may be set, a service that refused may accept it now. The
// days of an outlook depend on the zone.
func (s Spec) fingerprint(zone *time.Location) string {
	address := ""
	if u := s.base(); u != nil {
		address = u.String()
	}
	return digest(string(s.Kind), s.Address, address, s.SourceStation, decimal(s.Latitude), decimal(s.Longitude),
		string(s.Key), s.Contact, zone.String())
}

// digest tells texts apart.
func digest(texts ...string) string {
	h := sha256.New()
	for _, t := range texts {
		fmt.Fprintf(h, "%d %s\n", len(t), t)
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// decimal writes degrees to four places, about ten metres, without zeros at the
// end: NWS redirects requests that are finer or have them.
func decimal(degrees float64) string {
	x := math.Round(degrees*1e4) / 1e4
	if x == 0 {
		return "0" // And not "-0".
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}
