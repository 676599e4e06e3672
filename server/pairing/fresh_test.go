package pairing

import (
	"crypto/tls"
	"crypto/x509"
	"io"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// machine is one whose addresses a test changes.
type machine struct {
	mu     sync.Mutex
	ips    []net.IP
	looked atomic.Int64
}

func (m *machine) moveTo(ips ...net.IP) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.ips = ips
}

func (m *machine) addresses() ([]net.IP, []string) {
	m.looked.Add(1)
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]net.IP{}, m.ips...), []string{"bench.local"}
}

// serveFresh listens on every loopback address and answers one handshake after
// the other.
func serveFresh(t *testing.T, f *Fresh) string {
	t.Helper()
	ln, err := net.Listen("tcp4", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	t.Cleanup(func() { ln.Close(); <-done })
	go func() {
		defer close(done)
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			s := tls.Server(c, &tls.Config{GetCertificate: f.Certificate})
			_ = s.Handshake() // the client's side tells
			s.Close()
		}
	}()
	_, port, _ := net.SplitHostPort(ln.Addr().String())
	return port
}

// trusts dials as a phone does that trusts the authority, and nothing else.
func trusts(t *testing.T, a *Authority, host, port string) (*x509.Certificate, error) {
	t.Helper()
	roots := x509.NewCertPool()
	roots.AddCert(a.cert)
	c, err := tls.DialWithDialer(&net.Dialer{Timeout: 5 * time.Second}, "tcp", net.JoinHostPort(host, port), &tls.Config{RootCAs: roots})
	if err != nil {
		return nil, err
	}
	defer c.Close()
	return c.ConnectionState().PeerCertificates[0], nil
}

func TestCertificateFollowsTheAddresses(t *testing.T) {
	dir := t.TempDir()
	a, err := OpenAuthority(dir)
	if err != nil {
		t.Fatal(err)
	}
	m := &machine{ips: []net.IP{net.IPv4(127, 0, 0, 2)}}
	f, err := a.fresh(nil, slog.New(slog.NewTextHandler(io.Discard, nil)), m.addresses)
	if err != nil {
		t.Fatal(err)
	}
	port := serveFresh(t, f)
	first, err := trusts(t, a, "127.0.0.2", port)
	if err != nil {
		t.Fatal(err)
	}
	looked := m.looked.Load()
	for range 20 {
		if _, err := trusts(t, a, "127.0.0.2", port); err != nil {
			t.Fatal(err)
		}
	}
	if n := m.looked.Load() - looked; n != 0 {
		t.Errorf("20 handshakes that the certificate serves asked for the addresses %d times", n)
	}

	// The machine is carried to another network while the program runs.
	m.moveTo(net.IPv4(127, 0, 0, 3))
	second, err := trusts(t, a, "127.0.0.3", port)
	if err != nil {
		t.Fatalf("at its new address: %v", err)
	}
	if second.Equal(first) {
		t.Error("the certificate was not issued anew")
	}
	again, err := trusts(t, a, "127.0.0.3", port)
	if err != nil || !again.Equal(second) {
		t.Errorf("the next handshake got yet another certificate, %v", err)
	}
	// An address that the system does not list, yet a phone came in by it.
	if _, err := trusts(t, a, "127.0.0.4", port); err != nil {
		t.Errorf("at an address that only the connection tells: %v", err)
	}
	// What was issued stays for the next start.
	b, err := OpenAuthority(dir)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := b.Certificate([]string{"bench.local"}, m.ips)
	if err != nil || second.Equal(kept.Leaf) || kept.Leaf.VerifyHostname("127.0.0.4") != nil {
		t.Errorf("after a restart another certificate than the one issued last: %v", err)
	}
}

func TestForeignNamesDoNotCostALookEach(t *testing.T) {
	a, err := OpenAuthority(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	m := &machine{}
	f, err := a.fresh(nil, slog.New(slog.NewTextHandler(io.Discard, nil)), m.addresses)
	if err != nil {
		t.Fatal(err)
	}
	before := f.cert
	f.looked = time.Now().Add(-time.Hour)
	looked := m.looked.Load()
	for range 100 {
		if _, err := f.Certificate(&tls.ClientHelloInfo{ServerName: "elsewhere.example"}); err != nil {
			t.Fatal(err)
		}
	}
	if n := m.looked.Load() - looked; n != 1 {
		t.Errorf("100 handshakes for a foreign name asked for the addresses %d times, expected once", n)
	}
	if !f.cert.Leaf.Equal(before.Leaf) || f.cert.Leaf.VerifyHostname("elsewhere.example") == nil {
		t.Error("a foreign name led to another certificate")
	}
}

func TestFreshServesTheOldWhenItCannotIssue(t *testing.T) {
	a, err := OpenAuthority(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	m := &machine{}
	f, err := a.fresh([]net.IP{net.IPv4(127, 0, 0, 2)}, slog.New(slog.NewTextHandler(io.Discard, nil)), m.addresses)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.cert.Leaf.VerifyHostname("127.0.0.2"); err != nil {
		t.Error(err)
	}
	a.dir += "-gone"
	port := serveFresh(t, f)
	if _, err := trusts(t, a, "127.0.0.2", port); err != nil {
		t.Error(err)
	}
	if _, err := trusts(t, a, "127.0.0.3", port); err == nil {
		t.Error("expected the old certificate, which does not cover this address")
	}
	if _, err := trusts(t, a, "127.0.0.2", port); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

func BenchmarkHandshakeCheck(b *testing.B) {
	a, err := OpenAuthority(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	f, err := a.Fresh(nil, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		b.Fatal(err)
	}
	hello := &tls.ClientHelloInfo{ServerName: "localhost"}
	for b.Loop() {
		if _, err := f.Certificate(hello); err != nil {
			b.Fatal(err)
		}
	}
}
