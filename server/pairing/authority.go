// Package pairing lets a phone on the same network reach this program and
// nobody else: a local certificate authority, certificates for the addresses of
// this machine, the pairing key in the phone page's address, and its QR code.
package pairing

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"time"

	"polewise/server/whole"
)

// Files in the data folder.
const (
	caCertFile   = "authority.crt"
	caKeyFile    = "authority.key"
	leafCertFile = "phone.crt"
	leafKeyFile  = "phone.key"
)

const (
	caYears  = 10
	leafDays = 390 // phones refuse server certificates valid for longer than 398 days
	renew    = 30 * 24 * time.Hour
)

// Authority is the local certificate authority of one data folder.
type Authority struct {
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// OpenAuthority loads the folder's authority, or makes one.
func OpenAuthority(dir string) (*Authority, error) {
	certPath, keyPath := filepath.Join(dir, caCertFile), filepath.Join(dir, caKeyFile)
	cert, key, err := loadPair(certPath, keyPath)
	switch {
	case err == nil && time.Until(cert.NotAfter) > renew:
		return &Authority{dir: dir, cert: cert, key: key}, nil
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("the authority in %s cannot be read: %w. Remove %s and %s to have a new one made; phones must then trust it anew", dir, err, caCertFile, caKeyFile)
	}
	key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	host, _ := os.Hostname()
	now := time.Now()
	template := &x509.Certificate{
		SerialNumber:          serial(),
		Subject:               pkix.Name{CommonName: "polewise on " + host, Organization: []string{"polewise local authority"}},
		NotBefore:             now.Add(-time.Hour),
		NotAfter:              now.AddDate(caYears, 0, 0),
		IsCA:                  true,
		BasicConstraintsValid: true,
		MaxPathLenZero:        true,
		KeyUsage:              x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return nil, err
	}
	if err := savePair(certPath, keyPath, der, key); err != nil {
		return nil, err
	}
	cert, err = x509.ParseCertificate(der)
	return &Authority{dir: dir, cert: cert, key: key}, err
}

// CertificateFile is the authority's certificate in PEM form.
func (a *Authority) CertificateFile() string { return filepath.Join(a.dir, caCertFile) }

// DER is the authority's certificate as phones install it.
func (a *Authority) DER() []byte { return a.cert.Raw }

// Certificate returns a server certificate for loopback and the given names and
// addresses. The stored one is used again while it covers them all and is not
// about to expire.
func (a *Authority) Certificate(names []string, ips []net.IP) (tls.Certificate, error) {
	certPath, keyPath := filepath.Join(a.dir, leafCertFile), filepath.Join(a.dir, leafKeyFile)
	names = append([]string{"localhost"}, names...)
	ips = append([]net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback}, ips...)
	cert, key, err := loadPair(certPath, keyPath)
	if err == nil && a.covers(cert, names, ips) {
		return tls.Certificate{Certificate: [][]byte{cert.Raw, a.cert.Raw}, PrivateKey: key, Leaf: cert}, nil
	}
	key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, err
	}
	now := time.Now()
	template := &x509.Certificate{
		SerialNumber: serial(),
		Subject:      pkix.Name{CommonName: "polewise phone page"},
		NotBefore:    now.Add(-time.Hour),
		NotAfter:     now.AddDate(0, 0, leafDays),
		KeyUsage:     x509.KeyUsageDigitalSignature,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		DNSNames:     names,
		IPAddresses:  ips,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, key.Public(), a.key)
	if err != nil {
		return tls.Certificate{}, err
	}
	if err := savePair(certPath, keyPath, der, key); err != nil {
		return tls.Certificate{}, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: leaf}, nil
}

// covers tells whether a stored certificate still serves.
func (a *Authority) covers(cert *x509.Certificate, names []string, ips []net.IP) bool {
	if time.Until(cert.NotAfter) < renew || cert.CheckSignatureFrom(a.cert) != nil {
		return false
	}
	for _, n := range names {
		if !slices.Contains(cert.DNSNames, n) {
			return false
		}
	}
	for _, ip := range ips {
		if !slices.ContainsFunc(cert.IPAddresses, ip.Equal) {
			return false
		}
	}
	return true
}

func serial() *big.Int {
	n, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		panic("pairing: no randomness: " + err.Error())
	}
	return n
}

func loadPair(certPath, keyPath string) (*x509.Certificate, *ecdsa.PrivateKey, error) {
	certPEM, err := os.ReadFile(certPath)
	if err != nil {
		return nil, nil, err
	}
	keyPEM, err := os.ReadFile(keyPath)
	if err != nil {
		return nil, nil, err
	}
	pair, err := tls.X509KeyPair(certPEM, keyPEM)
	if err != nil {
		return nil, nil, err
	}
	cert, err := x509.ParseCertificate(pair.Certificate[0])
	if err != nil {
		return nil, nil, err
	}
	key, ok := pair.PrivateKey.(*ecdsa.PrivateKey)
	if !ok {
		return nil, nil, fmt.Errorf("%s is not an ECDSA key", keyPath)
	}
	return cert, key, nil
}

func savePair(certPath, keyPath string, der []byte, key *ecdsa.PrivateKey) error {
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := whole.Write(keyPath, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600); err != nil {
		return err
	}
	return whole.Write(certPath, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o644)
}
