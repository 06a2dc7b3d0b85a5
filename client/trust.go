package client

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"sync/atomic"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	"knowngood.example/cases/join"
)

// trust is TLS that goes by the pin of the server's authority: by no name, since a
// shop's server has whatever address it has that day, and by no date, since a device
// whose clock is off is to work. doc.go has what is checked.
type trust struct {
	credentials.TransportCredentials
	pin join.Pin
	// meeting takes whatever authority there is: who it is is proven afterwards.
	meeting bool
	// why is what the last connection was refused for, nil when it was not.
	why atomic.Pointer[Impostor]
}

// Impostor: something answers where this home's server should, and it is not that
// server. It counts as no server answering: what is recorded waits.
type Impostor struct{ text string }

func (i *Impostor) Error() string { return i.text }

// Is lets an impostor be ErrOffline.
func (i *Impostor) Is(target error) bool { return target == ErrOffline }

func impostor(format string, args ...any) *Impostor { return &Impostor{fmt.Sprintf(format, args...)} }

func (t *trust) config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13,
		// No name is asked for, and the chain is looked at below.
		ServerName: "knowngood", InsecureSkipVerify: true, //nolint:gosec // VerifyConnection does it
		VerifyConnection: func(cs tls.ConnectionState) error {
			pin, err := pinOf(cs)
			if err == nil && !t.meeting && pin != t.pin {
				err = errOtherKey
			}
			return err
		},
	}
}

var (
	errOtherKey = errors.New("it shows another key")
	errNoChain  = errors.New("its certificate comes from no authority that it shows")
)

// pinOf is the pin of the authority that the connection rests on. The other side has
// shown that it has the key of its certificate; that certificate must come from the
// authority it sent along. Dates are held against each other only, not against the
// clock.
func pinOf(cs tls.ConnectionState) (join.Pin, error) {
	n := len(cs.PeerCertificates)
	if n < 2 {
		return join.Pin{}, errNoChain
	}
	leaf, authority := cs.PeerCertificates[0], cs.PeerCertificates[n-1]
	roots := x509.NewCertPool()
	roots.AddCert(authority)
	if _, err := leaf.Verify(x509.VerifyOptions{Roots: roots, CurrentTime: leaf.NotBefore}); err != nil {
		return join.Pin{}, errNoChain
	}
	return join.PinOf(authority.RawSubjectPublicKeyInfo), nil
}

// ClientHandshake remembers why the other side was refused: gRPC passes on words only.
func (t *trust) ClientHandshake(ctx context.Context, name string, raw net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if t.pin.IsZero() && !t.meeting {
		t.why.Store(impostor("this home joined before connections were encrypted, and cannot tell the server from another: ask the owner for a join code and run 'knowngood join' here as if for the first time; you stay who you are, and what waits here stays"))
		return nil, nil, t.why.Load()
	}
	conn, info, err := t.TransportCredentials.ClientHandshake(ctx, name, raw)
	var plain tls.RecordHeaderError
	switch at := raw.RemoteAddr(); {
	case errors.Is(err, errOtherKey), errors.Is(err, errNoChain):
		t.why.Store(impostor("what answers at %s is not the server that this home joined: %v. Nothing was sent to it. Ask whoever runs the server; if it was set up anew, a new join code is needed", at, err))
	case errors.As(err, &plain):
		t.why.Store(impostor("what answers at %s is not the server that this home joined: it does not speak TLS. Nothing was sent to it. It is another program, or a server from before connections were encrypted", at))
	default:
		t.why.Store(nil)
	}
	return conn, info, err
}

// Clone is the same: what it remembers is for whoever dialled.
func (t *trust) Clone() credentials.TransportCredentials { return t }

// or puts why the other side was refused in the place of an error that says only that
// there was no connection.
func (t *trust) or(err error) error {
	if why := t.why.Load(); why != nil && status.Code(err) == codes.Unavailable {
		return why
	}
	return err
}
