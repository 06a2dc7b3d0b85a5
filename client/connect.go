package client

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/resolver"
	"google.golang.org/grpc/resolver/manual"
	"google.golang.org/grpc/status"

	"knowngood.example/cases/join"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Conn is a connection to a server.
type Conn struct {
	boardv1.BoardServiceClient
	boardv1.RegisterServiceClient
	conn     *grpc.ClientConn
	patience time.Duration
}

// Dial connects to the server that the identity belongs to, on its behalf. It returns
// at once: whether somebody answers, and who, shows with the first call.
func Dial(who *Identity) (*Conn, error) { return dial(who, Patience) }

func dial(who *Identity, patience time.Duration) (*Conn, error) {
	addresses := append([]string{who.Server}, who.Others...)
	return dialTo(addresses, &trust{pin: who.Pin}, who.Token, patience)
}

// dialTo connects to the first of some addresses that answers as it must.
func dialTo(addresses []string, by *trust, token string, patience time.Duration, opts ...grpc.DialOption) (*Conn, error) {
	var at resolver.State
	for _, a := range addresses {
		if err := join.CheckAddress(a); err != nil {
			return nil, err
		}
		at.Addresses = append(at.Addresses, resolver.Address{Addr: a})
	}
	by.TransportCredentials = credentials.NewTLS(by.config())
	known := manual.NewBuilderWithScheme("knowngood")
	known.InitialState(at)
	opts = append(opts,
		grpc.WithResolvers(known), grpc.WithTransportCredentials(by), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(16<<20)))
	who := func(ctx context.Context) context.Context {
		if token == "" {
			return ctx
		}
		return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}
	opts = append(opts,
		grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, call grpc.UnaryInvoker, o ...grpc.CallOption) error {
			ctx, cancel := context.WithTimeout(who(ctx), patience)
			defer cancel()
			return by.or(call(ctx, method, req, reply, cc, o...))
		}),
		grpc.WithStreamInterceptor(func(ctx context.Context, d *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, o ...grpc.CallOption) (grpc.ClientStream, error) {
			if method == boardv1.BoardService_Watch_FullMethodName {
				s, err := open(who(ctx), d, cc, method, o...) // silence is no sign there
				return s, by.or(err)
			}
			ctx, cancel := context.WithCancelCause(who(ctx))
			s, err := open(ctx, d, cc, method, o...)
			return &watched{s, cancel, patience}, by.or(err)
		}))
	conn, err := grpc.NewClient("knowngood:///server", opts...)
	if err != nil {
		return nil, fmt.Errorf("cannot reach %s: %w", strings.Join(addresses, ", "), err)
	}
	return &Conn{boardv1.NewBoardServiceClient(conn), boardv1.NewRegisterServiceClient(conn), conn, patience}, nil
}

// watched ends a stream that is silent for too long.
type watched struct {
	grpc.ClientStream
	cancel   context.CancelCauseFunc
	patience time.Duration
}

func (w *watched) RecvMsg(m any) error {
	silence := time.AfterFunc(w.patience, func() { w.cancel(ErrOffline) })
	defer silence.Stop()
	err := w.ClientStream.RecvMsg(m)
	if err != nil && context.Cause(w.Context()) == ErrOffline { //nolint:errorlint // the very value is meant
		return ErrOffline
	}
	if err != nil {
		w.cancel(nil)
	}
	return err
}

// Close ends the connection; nil is none.
func (c *Conn) Close() error {
	if c == nil {
		return nil
	}
	return c.conn.Close()
}

// Connect dials the server this home belongs to.
func (h *Home) Connect() (*Identity, *Conn, error) { return h.ConnectWithin(Patience) }

// ConnectWithin is Connect, and the server counts as down after so long.
func (h *Home) ConnectWithin(patience time.Duration) (*Identity, *Conn, error) {
	id, err := h.Identity()
	if err != nil {
		return nil, nil, err
	}
	c, err := dial(id, patience)
	return id, c, err
}

// Patience is how long a call, or the next message of a stream, may take before
// the server counts as down; Haste the same for whoever can do without.
const (
	Patience = 10 * time.Second
	Haste    = 3 * time.Second
)

// ErrOffline: the home's server did not answer, or something else did in its place.
var ErrOffline = errors.New("the server does not answer")

// Refusal is a server's no.
type Refusal struct {
	Reason boardv1.Reason
	Text   string
}

func (r *Refusal) Error() string {
	if r.Text == "" {
		return "refused: " + ReasonName(r.Reason)
	}
	return r.Text
}

// Is lets a server that does not know this home, or not any more, be ErrOffline: it
// has nothing to say to it, and what is here stays and can be asked.
func (r *Refusal) Is(target error) bool {
	return target == ErrOffline && r.Reason == boardv1.Reason_REASON_WHO_ARE_YOU
}

// ReasonName is a reason in words: 'place taken'.
func ReasonName(r boardv1.Reason) string {
	return words(r.String(), "REASON_")
}

func words(enum, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(enum, prefix), "_", " "))
}

// Explain turns an error of a call into ErrOffline, a *Refusal, or what it was.
func Explain(err error) error {
	s, ok := status.FromError(err)
	if err == nil || !ok {
		return err
	}
	for _, d := range s.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			if n, known := boardv1.Reason_value[info.GetReason()]; known {
				return &Refusal{Reason: boardv1.Reason(n), Text: s.Message()}
			}
		}
	}
	switch s.Code() {
	case codes.Unavailable, codes.DeadlineExceeded:
		// What the transport says of it is for those who look after networks.
		return ErrOffline
	case codes.Canceled:
		return context.Canceled
	default:
		return errors.New(s.Message())
	}
}
