package feed

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"syscall"
)

// guard decides what may be reached. Its control is the last step before a
// connection is made, when the name is resolved: what a name resolved to
// earlier, or a redirect said, does not matter.
type guard struct {
	allow []netip.Prefix // Networks that may be reached, on any port, whatever they are.
}

// guardError says what may not be reached, in one clause.
type guardError struct{ reason string }

func (e *guardError) Error() string { return e.reason }

// unicast6 is where public IPv6 addresses are; all else is local, multicast,
// not assigned, or stands for an IPv4 address: IPv4-mapped and NAT64.
var unicast6 = netip.MustParsePrefix("2000::/3")

// special are the addresses that are not public. From memory of the
// special-purpose registries of IANA for IPv4 and IPv6, with all multicast and
// all that is reserved.
var special = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"),       // This network, unspecified.
	netip.MustParsePrefix("10.0.0.0/8"),      // Private.
	netip.MustParsePrefix("100.64.0.0/10"),   // Carriers' address translation.
	netip.MustParsePrefix("127.0.0.0/8"),     // Loopback.
	netip.MustParsePrefix("169.254.0.0/16"),  // Link-local, where clouds tell secrets.
	netip.MustParsePrefix("172.16.0.0/12"),   // Private.
	netip.MustParsePrefix("192.0.0.0/24"),    // Protocol assignments.
	netip.MustParsePrefix("192.0.2.0/24"),    // Documentation.
	netip.MustParsePrefix("192.88.99.0/24"),  // 6to4 relays.
	netip.MustParsePrefix("192.168.0.0/16"),  // Private.
	netip.MustParsePrefix("198.18.0.0/15"),   // Benchmarking.
	netip.MustParsePrefix("198.51.100.0/24"), // Documentation.
	netip.MustParsePrefix("203.0.113.0/24"),  // Documentation.
	netip.MustParsePrefix("224.0.0.0/4"),     // Multicast.
	netip.MustParsePrefix("240.0.0.0/4"),     // Reserved, broadcast.
	netip.MustParsePrefix("2001::/23"),       // Protocol assignments, Teredo.
	netip.MustParsePrefix("2001:db8::/32"),   // Documentation.
	netip.MustParsePrefix("2002::/16"),       // 6to4: stands for an IPv4 address.
	netip.MustParsePrefix("3fff::/20"),       // Documentation.
}

// public reports whether a is an address of the public internet.
func public(a netip.Addr) bool {
	if a.Is6() && !unicast6.Contains(a) {
		return false
	}
	for _, p := range special {
		if p.Contains(a) {
			return false
		}
	}
	return a.IsValid()
}

func (g guard) allowed(a netip.Addr) bool {
	for _, p := range g.allow {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// check returns a *guardError if a connection to a may not be made.
func (g guard) check(a netip.Addr, port string) error {
	a = a.WithZone("")
	switch {
	case g.allowed(a):
		return nil
	case !public(a):
		return &guardError{fmt.Sprintf("%s is not an address of the public internet", a)}
	}
	return portFault(port)
}

func portFault(port string) error {
	if port != "80" && port != "443" {
		return &guardError{fmt.Sprintf("port %s is none of 80 and 443", port)}
	}
	return nil
}

// control is a net.Dialer's Control.
func (g guard) control(network, address string, _ syscall.RawConn) error {
	a, err := netip.ParseAddrPort(address)
	if err != nil || network != "tcp4" && network != "tcp6" {
		return &guardError{fmt.Sprintf("%s %s is not an address of the internet", network, address)}
	}
	return g.check(a.Addr(), strconv.Itoa(int(a.Port())))
}

// address looks at what can be seen before a name is resolved.
func (g guard) address(u *url.URL) error {
	switch {
	case u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.Opaque != "":
		return &guardError{"the address is not http or https"}
	case u.User != nil:
		return &guardError{"the address holds a user or password"}
	}
	port := portOf(u)
	if a, err := netip.ParseAddr(u.Hostname()); err == nil {
		return g.check(a, port)
	}
	if len(g.allow) == 0 { // Else it depends on what the name resolves to.
		return portFault(port)
	}
	return nil
}

// portOf returns the port of u, also where it is not said.
func portOf(u *url.URL) string {
	switch {
	case u.Port() != "":
		return u.Port()
	case u.Scheme == "https":
		return "443"
	}
	return "80"
}

// hostPort is what tells servers apart.
func hostPort(u *url.URL) string { return net.JoinHostPort(u.Hostname(), portOf(u)) }
