package client

import (
	"context"
	"errors"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// dull is a server that answers slowly or not at all.
type dull struct {
	boardv1.UnimplementedBoardServiceServer
	pauses []time.Duration
	append func(context.Context) error
}

func (d *dull) Append(ctx context.Context, _ *boardv1.AppendRequest) (*boardv1.AppendResponse, error) {
	return &boardv1.AppendResponse{}, d.append(ctx)
}

func (d *dull) Entries(_ *boardv1.EntriesRequest, s grpc.ServerStreamingServer[boardv1.EntriesResponse]) error {
	for _, p := range d.pauses {
		select {
		case <-s.Context().Done():
			return s.Context().Err()
		case <-time.After(p):
		}
		if err := s.Send(&boardv1.EntriesResponse{}); err != nil {
			return err
		}
	}
	return nil
}

func (d *dull) dial(t *testing.T, patience time.Duration) *Conn {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	a := newAuthority(t)
	s := grpc.NewServer(grpc.Creds(a.serves(t)))
	boardv1.RegisterBoardServiceServer(s, d)
	go s.Serve(l) //nolint:errcheck // ends with Stop
	t.Cleanup(s.Stop)
	c, err := dial(&Identity{Server: l.Addr().String(), Token: "secret", Pin: a.pin}, patience)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.Close()) })
	return c
}

// TestPatience: a stream may take as long as it likes as a whole; only silence
// counts.
func TestPatience(t *testing.T) {
	t.Parallel()
	const patience = 500 * time.Millisecond
	read := func(pauses ...time.Duration) (n int, err error) {
		c := (&dull{pauses: pauses}).dial(t, patience)
		in, err := c.Entries(t.Context(), &boardv1.EntriesRequest{})
		for err == nil {
			if _, err = in.Recv(); err == nil {
				n++
			}
		}
		return n, err
	}
	steady := make([]time.Duration, 12)
	for i := range steady {
		steady[i] = patience / 8
	}
	n, err := read(steady...)
	require.ErrorIs(t, err, io.EOF)
	require.Len(t, steady, n)
	n, err = read(0, 0, time.Minute)
	require.ErrorIs(t, err, ErrOffline)
	require.Equal(t, 2, n)

	c := (&dull{append: func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }}).dial(t, 100*time.Millisecond)
	_, err = c.Append(t.Context(), &boardv1.AppendRequest{})
	require.ErrorIs(t, Explain(err), ErrOffline)
}

func TestTokenGoesWithEachCall(t *testing.T) {
	t.Parallel()
	var got []string
	c := (&dull{append: func(ctx context.Context) error {
		md, _ := metadata.FromIncomingContext(ctx)
		got = md.Get("authorization")
		return nil
	}}).dial(t, time.Minute)
	_, err := c.Append(t.Context(), &boardv1.AppendRequest{})
	require.NoError(t, err)
	require.Equal(t, []string{"Bearer secret"}, got)
}

func TestExplain(t *testing.T) {
	t.Parallel()
	require.ErrorIs(t, Explain(status.Error(codes.Unavailable, "x")), ErrOffline)
	require.ErrorIs(t, Explain(status.Error(codes.DeadlineExceeded, "x")), ErrOffline)
	require.ErrorIs(t, Explain(status.Error(codes.Canceled, "x")), context.Canceled)
	plain := errors.New("plain")
	require.Equal(t, plain, Explain(plain))
	require.NoError(t, Explain(nil))

	s, err := status.New(codes.NotFound, "nothing here by that name").WithDetails(&errdetails.ErrorInfo{Reason: "REASON_NOT_FOUND"})
	require.NoError(t, err)
	var no *Refusal
	require.ErrorAs(t, Explain(s.Err()), &no)
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, no.Reason)
	require.EqualError(t, no, "nothing here by that name")
	require.EqualError(t, &Refusal{Reason: boardv1.Reason_REASON_NO_ROOM}, "refused: no room")
}
