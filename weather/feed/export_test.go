package feed

import (
	"net/http"
	"net/netip"
)

// SetTransport puts rt in place of the network.
func (c *Client) SetTransport(rt http.RoundTripper) { c.transport = rt }

// Reachable is what the guard says of an address that a name resolved to.
func Reachable(allow []netip.Prefix, network, address string) error {
	return guard{allow}.control(network, address, nil)
}
