package client

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"io"
	"math/big"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"knowngood.example/cases/join"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// authority is one for tests.
type authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
	pin         join.Pin
}

func newAuthority(t testing.TB) *authority {
	t.Helper()
	a := &authority{}
	a.certificate, a.key = a.make(t, nil, &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Unix(0, 0), NotAfter: time.Unix(1<<32, 0),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	})
	a.pin = join.PinOf(a.certificate.RawSubjectPublicKeyInfo)
	return a
}

// make makes a key and its certificate, signed by the parent or, with none, by itself.
func (a *authority) make(t testing.TB, parent *authority, template *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	by, signer := template, key
	if parent != nil {
		by, signer = parent.certificate, parent.key
	}
	der, err := x509.CreateCertificate(rand.Reader, template, by, key.Public(), signer)
	require.NoError(t, err)
	c, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	return c, key
}

// issue makes a server's certificate that is valid from a moment on for a year.
func (a *authority) issue(t testing.TB, from time.Time) (der []byte, key *ecdsa.PrivateKey) {
	c, key := a.make(t, a, &x509.Certificate{
		SerialNumber: big.NewInt(2), NotBefore: from, NotAfter: from.AddDate(1, 0, 0), DNSNames: []string{"somewhere-else.example"},
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	})
	return c.Raw, key
}

func (a *authority) serves(t testing.TB) credentials.TransportCredentials {
	der, key := a.issue(t, time.Now())
	return credentials.NewServerTLSFromCert(&tls.Certificate{Certificate: [][]byte{der, a.certificate.Raw}, PrivateKey: key})
}

// TestTrust: a connection is as good as the key of the authority behind it, whatever
// the clock, the name and the address say; and everything else is refused before a
// byte of a call is sent.
func TestTrust(t *testing.T) {
	t.Parallel()
	ours, theirs := newAuthority(t), newAuthority(t)
	now := time.Now()
	chain := func(a *authority, from time.Time, shown *authority) *tls.Certificate {
		der, key := a.issue(t, from)
		return &tls.Certificate{Certificate: [][]byte{der, shown.certificate.Raw}, PrivateKey: key}
	}
	another, anotherKey := theirs.issue(t, now)
	ourLeaf, _ := ours.issue(t, now)
	mid, midKey := ours.make(t, ours, &x509.Certificate{SerialNumber: big.NewInt(3), NotBefore: now, NotAfter: now.AddDate(1, 0, 0)})
	for name, c := range map[string]struct {
		shows *tls.Certificate
		says  string // empty: trusted
	}{
		"ours":                            {chain(ours, now, ours), ""},
		"ours, of ten years ago":          {chain(ours, now.AddDate(-10, 0, 0), ours), ""},
		"ours, of in ten years":           {chain(ours, now.AddDate(10, 0, 0), ours), ""},
		"another authority":               {chain(theirs, now, theirs), "it shows another key"},
		"another's, with ours beside it":  {chain(theirs, now, ours), "comes from no authority"},
		"another's, with both behind it":  {&tls.Certificate{Certificate: [][]byte{another, theirs.certificate.Raw, ours.certificate.Raw}, PrivateKey: anotherKey}, "comes from no authority"},
		"the authority's alone":           {&tls.Certificate{Certificate: [][]byte{ours.certificate.Raw}, PrivateKey: ours.key}, "comes from no authority"},
		"a certificate without authority": {&tls.Certificate{Certificate: [][]byte{another}, PrivateKey: anotherKey}, "comes from no authority"},
		"ours, with no purpose in it":     {&tls.Certificate{Certificate: [][]byte{mid.Raw, ours.certificate.Raw}, PrivateKey: midKey}, ""},
	} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		var asked atomic.Int32
		s := grpc.NewServer(grpc.Creds(credentials.NewServerTLSFromCert(c.shows)), grpc.UnknownServiceHandler(func(any, grpc.ServerStream) error {
			asked.Add(1)
			return nil
		}))
		go s.Serve(l) //nolint:errcheck // ends with Stop
		t.Cleanup(s.Stop)
		conn, err := dial(&Identity{Server: l.Addr().String(), Token: "secret", Pin: ours.pin}, 5*time.Second)
		require.NoError(t, err)
		_, err = conn.WhoAmI(t.Context(), &boardv1.WhoAmIRequest{})
		if c.says == "" {
			require.NotErrorIs(t, Explain(err), ErrOffline, name)
			require.EqualValues(t, 1, asked.Load(), name)
		} else {
			var other *Impostor
			require.ErrorAs(t, Explain(err), &other, name)
			require.ErrorIs(t, err, ErrOffline, "what is recorded waits")
			require.ErrorContains(t, err, c.says, name)
			require.ErrorContains(t, err, "Nothing was sent to it", name)
			require.Zero(t, asked.Load(), name)
		}
		// Streams too.
		in, err := conn.Watch(t.Context(), &boardv1.WatchRequest{})
		if err == nil {
			_, err = in.Recv()
		}
		require.Equal(t, c.says != "", err != nil && Explain(err) != nil && isImpostor(Explain(err)), name)
		require.NoError(t, conn.Close())
	}
	// Our certificate in the hands of somebody who does not have its key.
	_, stolen := theirs.issue(t, now)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close() //nolint:errcheck // the test is over
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			tls.Server(c, &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{ourLeaf, ours.certificate.Raw}, PrivateKey: stolen}}}).Handshake() //nolint:errcheck,gosec // it fails
			c.Close()                                                                                                                                           //nolint:errcheck // as well
		}
	}()
	conn, err := dial(&Identity{Server: l.Addr().String(), Token: "secret", Pin: ours.pin}, 2*time.Second)
	require.NoError(t, err)
	defer conn.Close() //nolint:errcheck // the test is over
	_, err = conn.WhoAmI(t.Context(), &boardv1.WhoAmIRequest{})
	require.ErrorIs(t, Explain(err), ErrOffline)
}

func isImpostor(err error) bool {
	_, ok := err.(*Impostor) //nolint:errorlint // Explain returns it as it is
	return ok
}

// TestWhatSpeaksNoTLS: neither another program nor a server from before is sent
// anything but the beginning of a handshake.
func TestWhatSpeaksNoTLS(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close() //nolint:errcheck // the test is over
	var mu sync.Mutex
	var got []byte
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			_, _ = io.WriteString(c, "HTTP/1.1 400 Bad Request\r\n\r\n")
			b, _ := io.ReadAll(c)
			mu.Lock()
			got = append(got, b...)
			mu.Unlock()
			c.Close() //nolint:errcheck // it was read to its end
		}
	}()
	conn, err := dial(&Identity{Server: l.Addr().String(), Token: "very secret", Pin: join.Pin{1}}, 5*time.Second)
	require.NoError(t, err)
	_, err = conn.WhoAmI(t.Context(), &boardv1.WhoAmIRequest{})
	require.ErrorIs(t, Explain(err), ErrOffline)
	require.ErrorContains(t, Explain(err), "does not speak TLS")
	require.NoError(t, conn.Close())
	mu.Lock()
	defer mu.Unlock()
	require.NotContains(t, string(got), "very secret")
}

// TestFromBeforeTLS: an identity without a pin is told what to do, and nothing is sent.
func TestFromBeforeTLS(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close() //nolint:errcheck // the test is over
	conn, err := dial(&Identity{Server: l.Addr().String(), Token: "secret"}, 5*time.Second)
	require.NoError(t, err)
	defer conn.Close() //nolint:errcheck // the test is over
	_, err = conn.WhoAmI(t.Context(), &boardv1.WhoAmIRequest{})
	require.ErrorIs(t, Explain(err), ErrOffline)
	require.ErrorContains(t, Explain(err), "joined before connections were encrypted")
	require.ErrorContains(t, Explain(err), "what waits here stays")
}

// TestSeveralAddresses: the first that leads to the server is taken, however the
// others fail.
func TestSeveralAddresses(t *testing.T) {
	t.Parallel()
	ours := newAuthority(t)
	serve := func(a *authority) string {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		s := grpc.NewServer(grpc.Creds(a.serves(t)))
		boardv1.RegisterBoardServiceServer(s, &dull{})
		go s.Serve(l) //nolint:errcheck // ends with Stop
		t.Cleanup(s.Stop)
		return l.Addr().String()
	}
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, gone.Close())
	silent, err := net.Listen("tcp", "127.0.0.1:0") // takes connections and says nothing
	require.NoError(t, err)
	defer silent.Close() //nolint:errcheck // the test is over
	right := serve(ours)
	for _, first := range []string{gone.Addr().String(), serve(newAuthority(t)), silent.Addr().String()} {
		conn, err := dial(&Identity{Server: first, Others: []string{right}, Pin: ours.pin}, 8*time.Second)
		require.NoError(t, err)
		in, err := conn.Entries(t.Context(), &boardv1.EntriesRequest{})
		require.NoError(t, err)
		_, err = in.Recv()
		require.ErrorIs(t, err, io.EOF, first)
		require.NoError(t, conn.Close())
	}
}
