package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"math/big"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"rsc.io/qr"

	"knowngood.example/cases/join"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	"knowngood.example/server"
)

// falseCertificate is one with an authority behind it, as a server has one, of
// somebody who made both.
func falseCertificate(t testing.TB) tls.Certificate {
	t.Helper()
	made := func(template, parent *x509.Certificate, signer *ecdsa.PrivateKey) ([]byte, *x509.Certificate, *ecdsa.PrivateKey) {
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		require.NoError(t, err)
		if signer == nil {
			parent, signer = template, key
		}
		der, err := x509.CreateCertificate(rand.Reader, template, parent, key.Public(), signer)
		require.NoError(t, err)
		c, err := x509.ParseCertificate(der)
		require.NoError(t, err)
		return der, c, key
	}
	ends := time.Now().Add(time.Hour)
	top, authority, signer := made(&x509.Certificate{
		SerialNumber: big.NewInt(1), NotAfter: ends, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}, nil, nil)
	leaf, _, key := made(&x509.Certificate{SerialNumber: big.NewInt(2), NotAfter: ends, DNSNames: []string{"localhost"}}, authority, signer)
	return tls.Certificate{Certificate: [][]byte{leaf, top}, PrivateKey: key}
}

// between stands between a device and a server: it ends the TLS of either side and
// passes everything on, both ways, in the clear for itself.
type between struct {
	l    net.Listener
	mu   sync.Mutex
	seen []byte
	n    atomic.Int32
}

func newBetween(t testing.TB, to string) *between {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	b := &between{l: l}
	config := &tls.Config{Certificates: []tls.Certificate{falseCertificate(t)}, NextProtos: []string{"h2"}, MinVersion: tls.VersionTLS13}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			raw, err := l.Accept()
			if err != nil {
				return
			}
			all.Go(func() { b.carry(tls.Server(raw, config), to) })
		}
	})
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		all.Wait()
	})
	return b
}

func (b *between) carry(from *tls.Conn, to string) {
	defer from.Close()
	if from.Handshake() != nil {
		return
	}
	on, err := tls.Dial("tcp", to, &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2"}, MinVersion: tls.VersionTLS13}) //nolint:gosec // it passes on to whoever is there
	if err != nil {
		return
	}
	defer on.Close()
	b.n.Add(1)
	var both sync.WaitGroup
	for _, way := range [][2]*tls.Conn{{from, on}, {on, from}} {
		both.Go(func() {
			buf := make([]byte, 4096)
			for {
				n, err := way[0].Read(buf)
				b.mu.Lock()
				b.seen = append(b.seen, buf[:n]...)
				b.mu.Unlock()
				if n > 0 {
					_, err = way[1].Write(buf[:n])
				}
				if err != nil {
					from.Close()
					on.Close()
					return
				}
			}
		})
	}
	both.Wait()
}

func (b *between) saw() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return string(b.seen)
}

// TestSomebodyBetween: whoever stands between a device and the server when it joins
// by a code read aloud learns neither code nor name, and the code is not used up.
func TestSomebodyBetween(t *testing.T) {
	t.Parallel()
	s := serveShops(t, "", "Tin Kettle Garage")
	b := newBetween(t, s.address)
	code := s.shops[0].Code
	dir := t.TempDir()
	h := client.Open(dir, dir+"/settings")
	defer h.Close()
	_, err := h.Join(t.Context(), through(b.l.Addr().String(), code), "Unmistakable Mara")
	var no *client.Refusal
	require.ErrorAs(t, err, &no)
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, no.Reason)
	require.ErrorContains(t, err, "If it is right, what answers is not the server that it came from")
	require.EqualValues(t, 1, b.n.Load(), "it went through him")
	require.Greater(t, len(b.saw()), 100)
	for _, secret := range []string{code, strings.ReplaceAll(code, "-", ""), "Unmistakable"} {
		require.NotContains(t, b.saw(), secret)
	}
	// By a link he is not even spoken to.
	b = newBetween(t, s.address)
	_, err = h.Join(t.Context(), join.Link{Code: code, Pin: s.Pin(), Addresses: []string{b.l.Addr().String()}}, "Unmistakable Mara")
	require.ErrorContains(t, err, "it shows another key")
	require.Empty(t, b.saw())
	// The code still works, straight to the server; and then he is refused as well.
	id, err := h.Join(t.Context(), through(s.address, code), "Unmistakable Mara")
	require.NoError(t, err)
	require.Equal(t, s.Pin(), id.Pin)
	id.Server = b.l.Addr().String()
	conn, err := client.Dial(id)
	require.NoError(t, err)
	defer conn.Close()
	_, err = conn.WhoAmI(t.Context(), &boardv1.WhoAmIRequest{})
	require.ErrorContains(t, client.Explain(err), "it shows another key")
	require.Empty(t, b.saw())
	// The test can fail: somebody who does not look passes everything through him.
	careless, err := grpc.NewClient(b.l.Addr().String(), grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{InsecureSkipVerify: true}))) //nolint:gosec // that is the point
	require.NoError(t, err)
	defer careless.Close()
	_, err = boardv1.NewRegisterServiceClient(careless).Join(t.Context(), &boardv1.JoinRequest{Code: code, PersonName: "Careless Mara"})
	require.Error(t, err)
	require.Contains(t, b.saw(), "Careless Mara")
	require.Contains(t, b.saw(), code)
}

// pretender answers every meeting as if it knew the code.
type pretender struct {
	boardv1.UnimplementedRegisterServiceServer
	answer func(shown []byte) []byte
	joined atomic.Int32
}

func (p *pretender) Meet(ctx context.Context, _ *boardv1.MeetRequest) (*boardv1.MeetResponse, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	shown, err := base64.RawURLEncoding.DecodeString(strings.TrimPrefix(md.Get("authorization")[0], "Join "))
	return &boardv1.MeetResponse{Proof: p.answer(shown)}, err
}

func (p *pretender) Join(context.Context, *boardv1.JoinRequest) (*boardv1.JoinResponse, error) {
	p.joined.Add(1)
	return &boardv1.JoinResponse{Token: "x"}, nil
}

// TestPretender: a server that does not know the code cannot make up what proves that
// it does, and is told nothing.
func TestPretender(t *testing.T) {
	t.Parallel()
	for name, answer := range map[string]func([]byte) []byte{
		"nothing":                  func([]byte) []byte { return nil },
		"what was shown, returned": func(shown []byte) []byte { return shown },
		"noise":                    func([]byte) []byte { return make([]byte, 32) },
	} {
		p := &pretender{answer: answer}
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		certificate := falseCertificate(t)
		g := grpc.NewServer(grpc.Creds(credentials.NewServerTLSFromCert(&certificate)))
		boardv1.RegisterRegisterServiceServer(g, p)
		go g.Serve(l) //nolint:errcheck // ends with Stop
		dir := t.TempDir()
		h := client.Open(dir, dir+"/settings")
		_, err = h.Join(t.Context(), through(l.Addr().String(), "K3QX-09ZM-7HTA"), "Mara")
		require.ErrorContains(t, err, "does not know the join code", name)
		require.ErrorContains(t, err, "Nothing was sent to it, and the code is not used up", name)
		require.Zero(t, p.joined.Load(), name)
		_, err = h.Identity()
		require.ErrorIs(t, err, client.ErrNobody, name)
		require.NoError(t, h.Close())
		g.Stop()
	}
}

// TestClocksThatAreOff: neither a server's clock nor a device's keeps the two apart,
// joining or later; the dates of certificates are for browsers.
func TestClocksThatAreOff(t *testing.T) {
	t.Parallel()
	var years atomic.Int64
	now := func() time.Time { return time.Now().AddDate(int(years.Load()), 0, 0) }
	dir := t.TempDir()
	var mara *member
	stream := ""
	for i, off := range []int64{-10, 10, 0, -30, 200} {
		years.Store(off)
		s, err := server.Open(dir, server.Options{Now: now})
		require.NoError(t, err)
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		o, err := s.OpenShop(t.Context(), "Tin Kettle Garage", "EUR", true)
		require.NoError(t, err)
		ctx, stop := context.WithCancel(context.Background())
		served := make(chan error, 1)
		go func() { served <- s.Serve(ctx, l) }()
		at := l.Addr().String()
		if i == 0 {
			mara = &member{dir: t.TempDir()}
			mara.Home = client.Open(mara.dir, mara.dir+"/settings")
			defer mara.Close()
			mara.who, err = mara.Join(t.Context(), through(at, o.Code), "Mara")
			require.NoError(t, err)
			stream = mara.NewID()
			mara.save(t, opens(mara, stream))
		}
		// Where the server is now, as a link of it says.
		mara.who, err = mara.Join(t.Context(), join.Link{Code: "0000-0000-0000", Pin: s.Pin(), Addresses: []string{at}}, "Mara")
		require.NoError(t, err, "%d years", off)
		mara.save(t, note(stream, "a note"))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second), "%d years", off)
		require.Zero(t, mara.waits(t))
		// A clock that is put elsewhere while it serves.
		years.Store(-off)
		mara.save(t, note(stream, "another"))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second), "%d years", -off)
		_, conn, err := mara.Connect()
		require.NoError(t, err)
		r, err := conn.Invite(t.Context(), &boardv1.InviteRequest{Role: 2})
		require.NoError(t, err)
		require.NoError(t, conn.Close())
		other := t.TempDir()
		h := client.Open(other, other+"/settings")
		_, err = h.Join(t.Context(), through(at, r.GetCode()), "Timo")
		require.NoError(t, err)
		require.NoError(t, h.Close())
		stop()
		require.NoError(t, <-served)
	}
	c, err := mara.Kept(mara.who, stream)
	require.NoError(t, err)
	require.EqualValues(t, 11, c.Sent)
}

// TestQRCodes: a link goes into a code that a terminal has room for, in the smaller
// alphabet, and its three corners are where they belong.
func TestQRCodes(t *testing.T) {
	t.Parallel()
	l := join.Link{Code: "K3QX-09ZM-7HTA", Pin: join.PinOf([]byte("x")), Addresses: []string{"192.168.178.101:7411", "10.112.110.100:7411", "workshop.example:7411"}}
	lines, err := qrLines(l.String())
	require.NoError(t, err)
	require.LessOrEqual(t, len(lines), 27)
	width := len([]rune(lines[0]))
	require.LessOrEqual(t, width, 53)
	for _, line := range lines {
		require.Len(t, []rune(line), width)
		require.Equal(t, "████", string([]rune(line)[:quiet]), "it has a quiet border")
	}
	at := func(x, y int) bool { // dark
		r := []rune(lines[(y+quiet)/2])[x+quiet]
		if (y+quiet)%2 == 0 {
			return r == ' ' || r == '▄'
		}
		return r == ' ' || r == '▀'
	}
	size := width - 2*quiet
	code, err := qr.Encode(strings.ToUpper(l.String()), qr.M)
	require.NoError(t, err)
	require.Equal(t, size, code.Size)
	for y := range size {
		for x := range size {
			require.Equal(t, code.Black(x, y), at(x, y), "module %d,%d", x, y)
		}
	}
	for _, corner := range [][2]int{{0, 0}, {size - 7, 0}, {0, size - 7}} {
		for y := range 7 {
			for x := range 7 {
				ring := max(max(x, 6-x), max(y, 6-y)) - 3 // 0 in the middle, 3 at the edge
				require.Equal(t, ring != 2, at(corner[0]+x, corner[1]+y), "corner %v at %d,%d", corner, x, y)
			}
		}
	}

	// On a terminal with room for it, and nowhere else.
	for _, c := range []struct {
		style client.Style
		lines int
	}{
		{client.Style{}, 0},
		{client.Style{Terminal: true, Width: width}, len(lines)},
		{client.Style{Terminal: true, Width: width, Color: true}, len(lines)},
		{client.Style{Terminal: true, Width: width - 1}, 0},
	} {
		var out strings.Builder
		a := &app{world: world{out: &out}, show: &client.Output{W: &out, Style: c.style}}
		a.showQR(l.String())
		require.Equal(t, c.lines, strings.Count(out.String(), "\n"))
		require.Equal(t, c.style.Color, strings.Contains(out.String(), "\x1b[97;40m"))
		a.tellJoin("Somebody", l)
		require.Contains(t, out.String(), "knowngood join "+l.String()+" --name NAME")
		require.Contains(t, out.String(), "knowngood join K3QX-09ZM-7HTA --server 192.168.178.101:7411 --name NAME")
	}
	_, err = qrLines(strings.Repeat("x", 5000))
	require.ErrorContains(t, err, "no QR code can hold that")
}
