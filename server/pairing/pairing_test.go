package pairing

import (
	"crypto/x509"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestCertificateServesAndIsIssuedAnew(t *testing.T) {
	dir := t.TempDir()
	a, err := OpenAuthority(dir)
	if err != nil {
		t.Fatal(err)
	}
	lan := net.ParseIP("192.0.2.7")
	cert, err := a.Certificate([]string{"bench.local"}, []net.IP{lan})
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AddCert(a.cert)
	for _, name := range []string{"localhost", "127.0.0.1", "::1", "192.0.2.7", "bench.local"} {
		if _, err := cert.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: name}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := cert.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: "192.0.2.8"}); err == nil {
		t.Error("an address not asked for is covered")
	}
	if d := cert.Leaf.NotAfter.Sub(cert.Leaf.NotBefore); d > 398*24*time.Hour {
		t.Errorf("valid for %v; phones refuse more than 398 days", d)
	}
	// The same authority and certificate after a restart.
	b, err := OpenAuthority(dir)
	if err != nil {
		t.Fatal(err)
	}
	again, err := b.Certificate([]string{"bench.local"}, []net.IP{lan})
	if err != nil {
		t.Fatal(err)
	}
	if !again.Leaf.Equal(cert.Leaf) {
		t.Error("a certificate that still served was replaced")
	}
	// Another address: another certificate by the same authority.
	moved, err := b.Certificate(nil, []net.IP{net.ParseIP("192.0.2.9")})
	if err != nil {
		t.Fatal(err)
	}
	if moved.Leaf.Equal(cert.Leaf) {
		t.Error("the certificate was not issued anew for a new address")
	}
	if _, err := moved.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: "192.0.2.9"}); err != nil {
		t.Error(err)
	}
	info, err := os.Stat(filepath.Join(dir, caKeyFile))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the authority's key has mode %v, %v", info.Mode(), err)
	}
}

// TestCertificateBeforeItsEnd: one that has not long to go is issued anew, and the
// authority vouches for servers alone.
func TestCertificateBeforeItsEnd(t *testing.T) {
	a, err := OpenAuthority(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if !a.cert.IsCA || !a.cert.MaxPathLenZero || a.cert.MaxPathLen != 0 {
		t.Errorf("it vouches for others that vouch: %d", a.cert.MaxPathLen)
	}
	cert, err := a.Certificate(nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	leaf := *cert.Leaf
	for _, c := range []struct {
		left   time.Duration
		covers bool
	}{{renew + time.Hour, true}, {renew - time.Hour, false}, {-time.Hour, false}} {
		leaf.NotAfter = time.Now().Add(c.left)
		if got := a.covers(&leaf, []string{"localhost"}, nil); got != c.covers {
			t.Errorf("with %v to go it serves: %v", c.left, got)
		}
	}
}

func TestSpoiltAuthorityIsNotReplacedSilently(t *testing.T) {
	dir := t.TempDir()
	if _, err := OpenAuthority(dir); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, caCertFile), []byte("spoilt"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir); err == nil || !strings.Contains(err.Error(), "Remove") {
		t.Errorf("got %v; expected an error that says what to do", err)
	}
}

func TestKey(t *testing.T) {
	dir := t.TempDir()
	k, err := OpenKey(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(k) != 22 { // 128 bits in base64 without padding
		t.Errorf("key of %d letters", len(k))
	}
	again, err := OpenKey(dir)
	if err != nil || again != k {
		t.Errorf("another key after a restart: %v", err)
	}
	other, err := OpenKey(t.TempDir())
	if err != nil || other == k {
		t.Errorf("the same key in another folder: %v", err)
	}
	for given, want := range map[string]bool{string(k): true, "": false, string(k[:21]): false, string(other): false, string(k) + "x": false} {
		if k.Matches(given) != want {
			t.Errorf("Matches(%q) is %v", given, !want)
		}
	}
}

func TestQRDrawings(t *testing.T) {
	svg, err := SVG("https://192.0.2.7:8771/abc/")
	if err != nil || !strings.HasPrefix(svg, "<svg") || strings.Count(svg, "h1v1h-1z") < 200 {
		t.Errorf("%v: %.60s", err, svg)
	}
	text, err := Terminal("https://192.0.2.7:8771/abc/")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) < 12 {
		t.Errorf("%d lines", len(lines))
	}
}
