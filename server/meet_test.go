package server

import (
	"context"
	"crypto/ed25519"
	"crypto/tls"
	"encoding/base64"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/metadata"

	"knowngood.example/cases/join"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

func keyOf(t testing.TB, code string) join.Key {
	t.Helper()
	k, err := join.KeyOf(code)
	require.NoError(t, err)
	return k
}

func TestMeeting(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{Limits: Limits{JoinTries: 12}})
	ctx := t.Context()
	boss := w.shopOwner("One (invented)") // one try
	channel, other := random(join.ChannelSize), random(join.ChannelSize)
	code := func() string {
		r, err := boss.register.Invite(boss.ctx(), &boardv1.InviteRequest{Role: technician})
		require.NoError(t, err)
		return r.GetCode()
	}
	first, second := code(), code()
	meet := func(proof []byte) (*boardv1.MeetResponse, error) {
		return w.Meet(ctx, Meeting{From: "10.0.0.9", Channel: channel, Proof: proof})
	}
	for _, c := range []string{first, second, first} { // no code is used up by it
		r, err := meet(keyOf(t, c).DeviceProof(channel))
		require.NoError(t, err)
		require.Equal(t, keyOf(t, c).ServerProof(channel), r.GetProof())
	}
	// Whatever else is shown proves nothing, and nothing is proven to it.
	k := keyOf(t, first)
	for name, proof := range map[string][]byte{
		"of another code": keyOf(t, "0000-0000-0000").DeviceProof(channel), "over another connection": k.DeviceProof(other),
		"the server's own sent back": k.ServerProof(channel), "empty": {}, "cut": k.DeviceProof(channel)[:31], "the key itself": k,
	} {
		r, err := meet(proof)
		var no *Refusal
		require.ErrorAs(t, err, &no, name)
		require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, no.Reason, name)
		require.Nil(t, r)
	}
	w.clock.set(noon.Add(CodeLife))
	_, err := meet(k.DeviceProof(channel))
	require.Error(t, err, "expired")
	w.clock.set(noon)
	// With no code shown it proves itself by the log's key, and counts no try.
	for range 30 {
		r, err := meet(nil)
		require.NoError(t, err)
		require.Empty(t, r.GetProof())
		require.True(t, ed25519.Verify(w.identity.public(), join.LogClaim(channel), r.GetLogSignature()))
		require.False(t, ed25519.Verify(w.identity.public(), join.LogClaim(other), r.GetLogSignature()))
	}
	w.clock.set(noon.Add(2 * time.Second)) // the same minute as 'noon'
	var no *Refusal
	for range 13 {
		_, err = meet(k.DeviceProof(channel))
	}
	require.ErrorAs(t, err, &no)
	require.Equal(t, boardv1.Reason_REASON_LIMIT, no.Reason, "tries are counted")
	_, err = w.Meet(ctx, Meeting{From: "10.0.0.10"})
	require.ErrorAs(t, err, &no)
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, no.Reason, "no channel")
}

// TestMeetingOverTheWire: the channel is that of the very connection.
func TestMeetingOverTheWire(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	r, err := boss.register.Invite(boss.ctx(), &boardv1.InviteRequest{Role: guest})
	require.NoError(t, err)
	wrong := keyOf(t, r.GetCode()).DeviceProof(random(join.ChannelSize))
	for _, header := range []string{"Join " + base64.RawURLEncoding.EncodeToString(wrong), "Join", "Join ", "Join !!", "Bearer x"} {
		ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", header)
		got, err := boss.register.Meet(ctx, &boardv1.MeetRequest{})
		if header == "Join" || header == "Bearer x" { // no code is shown
			require.NoError(t, err, header)
			require.Empty(t, got.GetProof())
			continue
		}
		require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, reasonOf(t, err), header)
	}
}

// onTCP serves a world's server over TCP as well.
func onTCP(t testing.TB, o Options, address string) (*Server, string) {
	t.Helper()
	s, err := Open("", o)
	require.NoError(t, err)
	l := newListener(t, address)
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-served)
	})
	return s, l.Addr().String()
}

// TestNothingButTLS: plain text, and what is older than TLS 1.3, gets no answer.
func TestNothingButTLS(t *testing.T) {
	t.Parallel()
	_, address := onTCP(t, Options{}, "127.0.0.1:0")
	plain, err := net.Dial("tcp", address)
	require.NoError(t, err)
	defer plain.Close() //nolint:errcheck // the test is over
	_, err = io.WriteString(plain, "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\x00\x00\x04\x00\x00\x00\x00\x00")
	require.NoError(t, err)
	require.NoError(t, plain.SetReadDeadline(time.Now().Add(10*time.Second)))
	got, _ := io.ReadAll(plain)
	require.NotContains(t, string(got), "\x00\x00\x00\x04", "no HTTP/2 settings")
	require.LessOrEqual(t, len(got), 7, "a TLS alert at most: %q", got)

	_, err = tls.Dial("tcp", address, &tls.Config{MaxVersion: tls.VersionTLS12, InsecureSkipVerify: true}) //nolint:gosec // it must fail
	require.ErrorContains(t, err, "protocol version")
	c, err := tls.Dial("tcp", address, &tls.Config{NextProtos: []string{"h2"}, InsecureSkipVerify: true}) //nolint:gosec // only the version is looked at
	require.NoError(t, err)
	require.EqualValues(t, tls.VersionTLS13, c.ConnectionState().Version)
	require.NoError(t, c.Close())
}
