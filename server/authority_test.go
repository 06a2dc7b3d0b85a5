package server

import (
	"context"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/json"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// verified holds a certificate against an authority as a browser does.
func verified(a *authority, c *certificates, name string, at time.Time) error {
	roots := x509.NewCertPool()
	roots.AddCert(a.certificate)
	held, err := c.get(nil)
	if err != nil {
		return err
	}
	_, err = held.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: name, CurrentTime: at})
	return err
}

func TestCertificates(t *testing.T) {
	t.Parallel()
	a, err := newAuthority("log")
	require.NoError(t, err)
	at, hosts := noon, []string{"192.168.1.20", "counter", "counter.local"}
	c := &certificates{from: a, now: func() time.Time { return at }, hosts: func() []string { return hosts }}
	serial := func() string {
		held, err := c.get(nil)
		require.NoError(t, err)
		require.Len(t, held.Certificate, 2, "with the authority behind it")
		return held.Leaf.SerialNumber.String()
	}
	first := serial()
	for _, name := range hosts {
		require.NoError(t, verified(a, c, name, at))
	}
	require.Error(t, verified(a, c, "elsewhere.example", at))

	at = at.Add(100 * 24 * time.Hour)
	require.Equal(t, first, serial(), "the same as long as nothing changes")
	hosts = append(hosts, "10.0.0.7")
	require.Equal(t, first, serial(), "looked at again after a minute")
	at = at.Add(lookEvery)
	second := serial()
	require.NotEqual(t, first, second, "another address")
	require.NoError(t, verified(a, c, "10.0.0.7", at))

	at = at.Add(certificateLife - renewBefore - 25*time.Hour)
	require.Equal(t, second, serial())
	at = at.Add(2 * 24 * time.Hour)
	third := serial()
	require.NotEqual(t, second, third, "it nears its end")

	// A clock that is off makes a certificate all the same, and one that browsers take
	// again as soon as the clock is right.
	for _, off := range []time.Time{{}, time.Unix(0, 0), noon.AddDate(-10, 0, 0), noon.AddDate(10, 0, 0), noon.AddDate(500, 0, 0), noon} {
		at = off
		held, err := c.get(nil)
		require.NoError(t, err, off)
		require.NoError(t, verified(a, c, "counter", held.Leaf.NotBefore), off)
		require.False(t, held.Leaf.NotBefore.Before(a.certificate.NotBefore))
		require.False(t, held.Leaf.NotAfter.After(a.certificate.NotAfter))
	}
	require.NoError(t, verified(a, c, "counter", noon))
}

func TestAuthorityIsKept(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	pin := s.Pin()
	require.NoError(t, s.Stop(context.Background()))
	s, err = Open(dir, Options{})
	require.NoError(t, err)
	require.Equal(t, pin, s.Pin())
	require.NoError(t, s.Stop(context.Background()))
	info, err := os.Stat(keyPath(dir))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	read := func() (f identityFile) {
		b, err := os.ReadFile(keyPath(dir))
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(b, &f))
		return f
	}
	write := func(f identityFile) {
		b, err := json.Marshal(f)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(keyPath(dir), b, 0o600))
	}
	// A folder from before TLS gets an authority and keeps it, and all else.
	before := read()
	old := before
	old.Authority, old.AuthorityKey = nil, nil
	write(old)
	s, err = Open(dir, Options{})
	require.NoError(t, err)
	made := s.Pin()
	require.NotEqual(t, pin, made)
	require.Equal(t, ed25519.NewKeyFromSeed(before.Seed), s.identity.key)
	require.NoError(t, s.Stop(context.Background()))
	s, err = Open(dir, Options{})
	require.NoError(t, err)
	require.Equal(t, made, s.Pin())
	require.NoError(t, s.Stop(context.Background()))

	// One that is harmed is refused, never made anew: every device would take it for an
	// impostor's.
	whole := read()
	other, err := newAuthority("other")
	require.NoError(t, err)
	otherKey, err := other.keyBytes()
	require.NoError(t, err)
	for says, f := range map[string]identityFile{
		"authority cannot be read":                {Authority: whole.Authority[:100], AuthorityKey: whole.AuthorityKey},
		"key of its certificate authority cannot": {Authority: whole.Authority},
		"belongs to another":                      {Authority: whole.Authority, AuthorityKey: otherKey},
		"its certificate authority cannot":        {AuthorityKey: whole.AuthorityKey},
	} {
		f.Log, f.Device, f.Seed = whole.Log, whole.Device, whole.Seed
		write(f)
		_, err := Open(dir, Options{})
		require.ErrorContains(t, err, says)
		require.ErrorContains(t, err, "restore it from a backup")
	}
}

func TestAddresses(t *testing.T) {
	t.Parallel()
	s, err := Open("", Options{Reach: []string{"shop.example:443"}})
	require.NoError(t, err)
	defer s.Stop(context.Background()) //nolint:errcheck // nothing was served
	at := func(ip string) []string { return s.addresses(&net.TCPAddr{IP: net.ParseIP(ip), Port: 7411}) }
	require.Equal(t, []string{"shop.example:443", "10.0.0.5:7411"}, at("10.0.0.5"))
	require.Equal(t, []string{"shop.example:443", "[fd00::1]:7411"}, at("fd00::1"))
	for _, any := range []string{"0.0.0.0", "::"} {
		got := at(any)
		require.Equal(t, "shop.example:443", got[0])
		require.LessOrEqual(t, len(got), 1+inLink)
		for _, a := range got[1:] {
			require.True(t, strings.HasSuffix(a, ":7411"), a)
		}
	}
	require.Contains(t, s.hosts(), "shop.example")
	require.Contains(t, s.hosts(), "localhost")
	l := s.Link("K3QX-09ZM-7HTA", &net.TCPAddr{IP: net.ParseIP("10.0.0.5"), Port: 7411})
	require.Equal(t, s.Pin(), l.Pin)
	require.Len(t, l.Addresses, 2)
}
