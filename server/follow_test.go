package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestPhoneAddressFollowsTheMachine(t *testing.T) {
	ip := net.ParseIP
	looks := [][]net.IP{
		{ip("192.0.2.7"), ip("198.51.100.1")}, // as it began
		{ip("198.51.100.1"), ip("192.0.2.7")}, // in another order: the phone page stays
		{},                                    // no network: it stays
		{ip("2001:db8::5")},                   // another network
		{ip("2001:db8::5"), ip("192.0.2.9")},
		{ip("192.0.2.9")},
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var told []string
	at := 0
	followAddresses(ctx, time.Millisecond, "https://192.0.2.7:8771/key/", func() ([]net.IP, []string) {
		at++
		if at > len(looks) {
			cancel()
			return nil, nil
		}
		return looks[at-1], nil
	}, func(phone string) { told = append(told, phone) })
	if want := "https://[2001:db8::5]:8771/key/ https://192.0.2.9:8771/key/"; strings.Join(told, " ") != want {
		t.Errorf("told %q, expected %q", told, want)
	}
}

// ownCertificate writes a self-signed certificate and its key.
func ownCertificate(t *testing.T) (certFile, keyFile string, cert *x509.Certificate) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(7), Subject: pkix.Name{CommonName: "the maker's own"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "own.crt"), filepath.Join(dir, "own.key")
	for path, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: der}, keyFile: {Type: "PRIVATE KEY", Bytes: keyDER}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cert, err = x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return certFile, keyFile, cert
}

// served runs bench and returns its addresses; it ends with the test.
func served(t *testing.T, more ...string) urls {
	t.Helper()
	ready := filepath.Join(t.TempDir(), "ready.json")
	args := append([]string{"bench", "--data", t.TempDir(), "--ready-file", ready, "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0"}, more...)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		run(ctx, args, strings.NewReader(""), io.Discard, io.Discard)
	}()
	t.Cleanup(func() { cancel(); <-done })
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		var u urls
		if raw, err := os.ReadFile(ready); err == nil && json.Unmarshal(raw, &u) == nil {
			return u
		}
		if time.Now().After(deadline) {
			t.Fatal("bench did not listen within 20 s")
		}
	}
}

// fetch gets an address as a phone that trusts one authority only.
func fetch(t *testing.T, trusted *x509.Certificate, address string) (status int, contentType string, body []byte) {
	t.Helper()
	roots := x509.NewCertPool()
	roots.AddCert(trusted)
	hc := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, DisableKeepAlives: true}, Timeout: 10 * time.Second}
	r, err := hc.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err = io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, r.Header.Get("Content-Type"), body
}

func TestOwnCertificateServes(t *testing.T) {
	certFile, keyFile, cert := ownCertificate(t)
	u := served(t, "--cert", certFile, "--key", keyFile)
	if u.CAFile != "" {
		t.Errorf("the ready file names the authority %q; with an own certificate there is none", u.CAFile)
	}
	status, _, body := fetch(t, cert, u.Phone+"plan.json")
	var state struct {
		Own bool `json:"own_certificate"`
	}
	if err := json.Unmarshal(body, &state); err != nil || status != http.StatusOK || !state.Own {
		t.Errorf("%d, %v: the page is not told of the own certificate", status, err)
	}
	if status, _, body := fetch(t, cert, u.Phone+"ca.crt"); status != http.StatusNotFound || !strings.Contains(string(body), "certificate of your own") {
		t.Errorf("ca.crt: %d %s", status, body)
	}
	if status, _, errs := command("", "bench", "--data", t.TempDir(), "--cert", certFile); status != exitUsage || !strings.Contains(errs, "--cert and --key go together") {
		t.Errorf("--cert alone: %d %s", status, errs)
	}
	if status, _, errs := command("", "bench", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--phone-listen", "127.0.0.1:0", "--cert", keyFile, "--key", certFile); status != exitUsage || !strings.Contains(errs, "--cert takes the chain") {
		t.Errorf("the two swapped: %d %s", status, errs)
	}
}

// TestAuthorityCanBeFetched: what the phone page hands out is the authority that
// vouches for the page, in the form and under the type that phones install.
func TestAuthorityCanBeFetched(t *testing.T) {
	t.Chdir(t.TempDir())
	u := served(t, "--data", "here") // what reads the ready file may be in another folder
	if !filepath.IsAbs(u.CAFile) {
		t.Errorf("the ready file names the authority %q", u.CAFile)
	}
	raw, err := os.ReadFile(u.CAFile)
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(raw)
	ca, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	status, contentType, der := fetch(t, ca, u.Phone+"ca.crt")
	if status != http.StatusOK || contentType != "application/x-x509-ca-cert" {
		t.Errorf("%d, type %q", status, contentType)
	}
	got, err := x509.ParseCertificate(der)
	if err != nil || !got.Equal(ca) || !got.IsCA {
		t.Errorf("not the authority in DER: %v", err)
	}
}

// A phone page at an address that no phone can reach is told so at the start.
func TestReach(t *testing.T) {
	for address, want := range map[string]string{
		"https://192.0.2.7:8771/key/":   "The phone must be on the same network.",
		"https://bench.example:8771/k/": "The phone must be on the same network.",
		"https://127.0.0.1:8771/key/":   "this computer's own",
		"https://[::1]:8771/key/":       "this computer's own",
	} {
		if got := reach(address); !strings.Contains(got, want) {
			t.Errorf("%s: %q", address, got)
		}
	}
}
