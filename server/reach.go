package server

import (
	"cmp"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"

	"knowngood.example/cases/join"
)

// Pin is what this server's certificate authority is known by.
func (s *Server) Pin() join.Pin { return s.identity.authority.pin() }

// Link is what somebody needs to join with the code, over a listener at this address.
func (s *Server) Link(code string, listening net.Addr) join.Link {
	return join.Link{Code: code, Pin: s.Pin(), Addresses: s.addresses(listening)}
}

// reached is where the server can be reached, once it serves.
func (s *Server) reached() []string {
	if at := s.listening.Load(); at != nil {
		return s.addresses(*at)
	}
	return nil
}

// inLink is how many of the machine's own addresses go into a link.
const inLink = 3

// addresses at which a listener can be reached, host:port, the likeliest first: what
// whoever runs the server said, then the address it listens on, or, where that is any,
// those of the machine that other machines can reach.
func (s *Server) addresses(listening net.Addr) []string {
	out := slices.Clone(s.options.Reach)
	at, ok := listening.(*net.TCPAddr)
	switch {
	case !ok:
		return out
	case !at.IP.IsUnspecified():
		return append(out, at.String())
	}
	hosts := machineAddresses()
	// The brackets of IPv6 mean something to shells and take a QR code's larger
	// alphabet: they go in where there is nothing else.
	if at := slices.IndexFunc(hosts, func(h string) bool { return strings.Contains(h, ":") }); at > 0 {
		hosts = hosts[:at]
	}
	for _, h := range hosts[:min(inLink, len(hosts))] {
		out = append(out, net.JoinHostPort(h, strconv.Itoa(at.Port)))
	}
	if len(out) == 0 { // no network at all
		out = append(out, net.JoinHostPort("127.0.0.1", strconv.Itoa(at.Port)))
	}
	return out
}

// machineAddresses are those that other machines may reach this one at: the one that
// it goes out by first, then IPv4, in order.
func machineAddresses() []string {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var out []string
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			out = append(out, n.IP.String())
		}
	}
	by := goesOutBy()
	slices.SortFunc(out, func(a, b string) int {
		rank := func(h string) int {
			switch {
			case h == by:
				return 0
			case !strings.Contains(h, ":"):
				return 1
			}
			return 2
		}
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a, b))
	})
	return slices.Compact(out)
}

// goesOutBy is the address that packets to elsewhere would bear; none is sent. The
// other end is an address set aside for documentation (RFC 5737).
func goesOutBy() string {
	c, err := net.Dial("udp4", "192.0.2.1:9")
	if err != nil {
		return ""
	}
	defer c.Close() //nolint:errcheck // nothing was sent
	at, ok := c.LocalAddr().(*net.UDPAddr)
	if !ok {
		return ""
	}
	return at.IP.String()
}

// hosts are the names and addresses that the server's certificate is for.
func (s *Server) hosts() []string {
	out := []string{"localhost", "127.0.0.1", "::1"}
	if name, err := os.Hostname(); err == nil && name != "" && join.CheckAddress(name+":1") == nil {
		out = append(out, name)
		if !strings.Contains(name, ".") {
			out = append(out, name+".local")
		}
	}
	out = append(out, machineAddresses()...)
	for _, said := range s.options.Reach {
		if host, _, err := net.SplitHostPort(said); err == nil {
			out = append(out, host)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
