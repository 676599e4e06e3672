package pairing

import (
	"net"
	"os"
	"slices"
	"strings"
)

// Addresses lists the machine's addresses that a phone on the same network may
// reach, the likeliest first, and the names it may be known by.
func Addresses() (ips []net.IP, names []string) {
	addrs, err := net.InterfaceAddrs()
	if err == nil {
		for _, a := range addrs {
			n, ok := a.(*net.IPNet)
			if !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast() || n.IP.IsMulticast() {
				continue
			}
			ips = append(ips, n.IP)
		}
	}
	rank := func(ip net.IP) int {
		switch {
		case ip.To4() != nil && ip.IsPrivate():
			return 0
		case ip.To4() != nil:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(ips, func(a, b net.IP) int { return rank(a) - rank(b) })
	if host, err := os.Hostname(); err == nil && host != "" && host != "localhost" {
		names = append(names, host)
		if !strings.Contains(host, ".") {
			names = append(names, host+".local")
		}
	}
	return ips, names
}
