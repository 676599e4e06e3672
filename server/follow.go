package main

import (
	"context"
	"net"
	"net/url"
	"slices"
	"time"

	"polewise/server/desk"
	"polewise/server/pairing"
)

const followEvery = 5 * time.Second

// everywhere tells whether an address to listen on means all of the machine's.
func everywhere(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	ip := net.ParseIP(host)
	return err != nil || host == "" || ip != nil && ip.IsUnspecified()
}

// tellPairing tells the desk the phone page's address.
func tellPairing(d *desk.Desk, phone string, own bool) error {
	qr, err := pairing.SVG(phone)
	if err != nil {
		return err
	}
	d.SetPairing(desk.Pairing{PhoneURL: phone, QR: qr, OwnCertificate: own})
	return nil
}

// followAddresses calls tell with the phone page's address whenever the one told
// last is none of the machine's any more: it has been carried to another network.
// Without any network the last one stays.
func followAddresses(ctx context.Context, every time.Duration, phone string, now func() ([]net.IP, []string), tell func(string)) {
	u, err := url.Parse(phone)
	if err != nil {
		return
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		ips, _ := now()
		if len(ips) == 0 || slices.ContainsFunc(ips, net.ParseIP(u.Hostname()).Equal) {
			continue
		}
		u.Host = net.JoinHostPort(ips[0].String(), u.Port())
		tell(u.String())
	}
}
