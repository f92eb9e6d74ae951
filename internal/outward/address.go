package outward

import (
	"fmt"
	"net/netip"
	"strings"
)

// special are the blocks that are not globally reachable, and those that carry an IPv4 address inside.
// Source: IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890), from memory; a test compares them with an
// independent library that is made from the registries.
var special = prefixes(
	"0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.0.0/24", "192.0.2.0/24",
	"192.88.99.0/24", "192.168.0.0/16", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24",
	"224.0.0.0/4", "240.0.0.0/4",
	"2001::/23",     // IETF protocol assignments, Teredo among them
	"2001:db8::/32", // documentation
	"2002::/16",     // 6to4: an IPv4 address inside
	"3fff::/20",     // documentation
)

// global is all of IPv6 that is handed out to networks (RFC 4291, section 2.4, and IANA's registry). What is outside,
// such as loopback, unique local, link-local, multicast and the translation of IPv4 (64:ff9b::/96), is never called.
var global = netip.MustParsePrefix("2000::/3")

func prefixes(texts ...string) []netip.Prefix {
	out := make([]netip.Prefix, len(texts))
	for i, text := range texts {
		out[i] = netip.MustParsePrefix(text)
	}
	return out
}

// Public says whether an address is one of the public internet.
func Public(a netip.Addr) bool {
	a = a.Unmap()
	if !a.IsValid() || a.Zone() != "" || (a.Is6() && !global.Contains(a)) {
		return false
	}
	return !within(special, a)
}

func within(list []netip.Prefix, a netip.Addr) bool {
	for _, p := range list {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// Networks reads networks with commas between, such as "10.20.0.0/16,127.0.0.1/32"; "" is none.
func Networks(text string) ([]netip.Prefix, error) {
	var out []netip.Prefix
	for part := range strings.SplitSeq(text, ",") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		p, err := netip.ParsePrefix(part)
		if err != nil {
			return nil, fmt.Errorf("%q is not a network such as 10.20.0.0/16", part)
		}
		out = append(out, p.Masked())
	}
	return out, nil
}
