package pairing

import (
	"crypto/tls"
	"log/slog"
	"net"
	"slices"
	"sync"
	"time"
)

// lookEvery bounds how often a handshake may ask the system for the machine's
// addresses.
const lookEvery = 2 * time.Second

// Fresh serves handshakes with a certificate for the addresses that the machine
// has at that moment: a laptop that is carried to another network goes on
// without being started again. A handshake that the certificate in hand serves
// costs two comparisons.
type Fresh struct {
	authority *Authority
	always    []net.IP // those asked for by name
	addresses func() ([]net.IP, []string)
	log       *slog.Logger

	mu     sync.Mutex
	cert   *tls.Certificate
	looked time.Time
}

// Fresh issues the first certificate. It covers the given addresses at any time,
// beside those of the machine.
func (a *Authority) Fresh(always []net.IP, log *slog.Logger) (*Fresh, error) {
	return a.fresh(always, log, Addresses)
}

func (a *Authority) fresh(always []net.IP, log *slog.Logger, addresses func() ([]net.IP, []string)) (*Fresh, error) {
	f := &Fresh{authority: a, always: always, addresses: addresses, log: log, looked: time.Now()}
	cert, err := f.issue(nil)
	if err != nil {
		return nil, err
	}
	f.cert = cert
	return f, nil
}

// issue returns a certificate for the machine as it is, and the address that a
// phone has just reached it by.
func (f *Fresh) issue(reached net.IP) (*tls.Certificate, error) {
	ips, names := f.addresses()
	ips = append(ips, f.always...)
	if reached != nil && !slices.ContainsFunc(ips, reached.Equal) {
		ips = append(ips, reached)
	}
	cert, err := f.authority.Certificate(names, ips)
	return &cert, err
}

// Certificate is for tls.Config.GetCertificate.
func (f *Fresh) Certificate(hello *tls.ClientHelloInfo) (*tls.Certificate, error) {
	var reached net.IP
	if hello.Conn != nil {
		if a, ok := hello.Conn.LocalAddr().(*net.TCPAddr); ok && !a.IP.IsUnspecified() {
			reached = a.IP
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	leaf := f.cert.Leaf
	now := time.Now()
	known := reached == nil || slices.ContainsFunc(leaf.IPAddresses, reached.Equal)
	serves := known && leaf.NotAfter.Sub(now) > renew && (hello.ServerName == "" || slices.Contains(leaf.DNSNames, hello.ServerName))
	// The name is the client's word: without a bound anybody could have the
	// machine look at itself all day. An address reached is a fact.
	if serves || known && now.Sub(f.looked) < lookEvery {
		return f.cert, nil
	}
	f.looked = now
	cert, err := f.issue(reached)
	if err != nil {
		f.log.Warn("the certificate could not be issued anew; phones may be warned of the old one", "err", err)
		return f.cert, nil
	}
	if !cert.Leaf.Equal(leaf) {
		f.log.Info("certificate issued anew: the machine's addresses have changed", "for", cert.Leaf.IPAddresses)
	}
	f.cert = cert
	return f.cert, nil
}
