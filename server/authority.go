package server

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"math/big"
	"net"
	"slices"
	"sync"
	"time"

	"knowngood.example/cases/join"
)

// authority is the server's own certificate authority. It signs for this server and
// nobody else, and devices know it by its key. P-256, since browsers take no Ed25519.
type authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// An authority is valid from before any clock that is off to beyond all of us, so
// that its dates never fail anybody.
func authorityBegins() time.Time { return time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) }
func authorityEnds() time.Time   { return time.Date(2099, 12, 31, 0, 0, 0, 0, time.UTC) }

const (
	// A certificate is valid for so long, which is what browsers take, from a day
	// before it was made; and is made anew when it has less than renewBefore left.
	certificateLife = 397 * 24 * time.Hour
	renewBefore     = 30 * 24 * time.Hour
	// Whether the machine's addresses are other ones is looked at so often.
	lookEvery = time.Minute
)

func newAuthority(log string) (*authority, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("no key of a certificate authority could be made: %w", err)
	}
	template := &x509.Certificate{
		SerialNumber: new(big.Int).SetBytes(random(16)), Subject: pkix.Name{CommonName: "knowngood " + log},
		NotBefore: authorityBegins(), NotAfter: authorityEnds(),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return nil, fmt.Errorf("no certificate authority could be made: %w", err)
	}
	certificate, err := x509.ParseCertificate(der)
	return &authority{certificate, key}, err
}

func readAuthority(certificate, key []byte) (*authority, error) {
	a := &authority{}
	var err error
	if a.certificate, err = x509.ParseCertificate(certificate); err != nil {
		return nil, fmt.Errorf("its certificate authority cannot be read: %w", err)
	}
	any, err := x509.ParsePKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("the key of its certificate authority cannot be read: %w", err)
	}
	var ok bool
	if a.key, ok = any.(*ecdsa.PrivateKey); !ok || !a.key.PublicKey.Equal(a.certificate.PublicKey) {
		return nil, errors.New("the key of its certificate authority belongs to another one")
	}
	return a, nil
}

func (a *authority) keyBytes() ([]byte, error) {
	b, err := x509.MarshalPKCS8PrivateKey(a.key)
	if err != nil {
		return nil, fmt.Errorf("the key of the certificate authority: %w", err)
	}
	return b, nil
}

func (a *authority) pin() join.Pin { return join.PinOf(a.certificate.RawSubjectPublicKeyInfo) }

// sign makes a certificate for some names and addresses, with a key of its own.
func (a *authority) sign(hosts []string, now time.Time) (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("no key could be made for TLS: %w", err)
	}
	begins := now.Add(-24 * time.Hour)
	if begins.Before(a.certificate.NotBefore) || begins.Add(certificateLife).After(a.certificate.NotAfter) {
		begins = a.certificate.NotBefore // the clock is far off, and nobody here goes by it
	}
	template := &x509.Certificate{
		SerialNumber: new(big.Int).SetBytes(random(16)), Subject: pkix.Name{CommonName: "knowngood server"},
		NotBefore: begins, NotAfter: begins.Add(certificateLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.certificate, key.Public(), a.key)
	if err != nil {
		return nil, fmt.Errorf("no certificate could be made for TLS: %w", err)
	}
	leaf, err := x509.ParseCertificate(der)
	return &tls.Certificate{Certificate: [][]byte{der, a.certificate.Raw}, PrivateKey: key, Leaf: leaf}, err
}

// certificates hands out the server's certificate and makes a new one when it nears
// its end, the clock was put elsewhere, or the machine has other addresses. It lies in
// memory only: it costs nothing to make and nobody but a browser looks at its dates.
type certificates struct {
	from *authority
	now  func() time.Time
	// hosts are the names and addresses to certify.
	hosts func() []string

	mu     sync.Mutex
	held   *tls.Certificate
	of     []string
	looked time.Time
}

func (c *certificates) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	if c.held != nil && now.Sub(c.looked) < lookEvery && !now.Before(c.looked) {
		return c.held, nil
	}
	hosts := c.hosts()
	if c.held == nil || !slices.Equal(hosts, c.of) || now.Before(c.held.Leaf.NotBefore) || now.After(c.held.Leaf.NotAfter.Add(-renewBefore)) {
		made, err := c.from.sign(hosts, now)
		if err != nil {
			return nil, err
		}
		c.held, c.of = made, hosts
	}
	c.looked = now
	return c.held, nil
}

// config of every connection: TLS 1.3 and nothing older.
func (c *certificates) config() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS13, GetCertificate: c.get}
}
