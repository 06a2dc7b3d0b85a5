package client

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Conn is a connection to a server.
type Conn struct {
	boardv1.BoardServiceClient
	boardv1.RegisterServiceClient
	conn     *grpc.ClientConn
	patience time.Duration
}

// Dial connects to host:port on behalf of the token's holder; an empty token can
// only join. It returns at once: whether somebody answers shows with the first
// call. Plain text leaves this machine never.
func Dial(server, token string) (*Conn, error) { return dial(server, token, Patience) }

func dial(server, token string, patience time.Duration) (*Conn, error) {
	if err := checkLoopback(server); err != nil {
		return nil, err
	}
	opts := []grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(16 << 20)),
	}
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
			return call(ctx, method, req, reply, cc, o...)
		}),
		grpc.WithStreamInterceptor(func(ctx context.Context, d *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, o ...grpc.CallOption) (grpc.ClientStream, error) {
			if method == boardv1.BoardService_Watch_FullMethodName {
				return open(who(ctx), d, cc, method, o...) // silence is no sign there
			}
			ctx, cancel := context.WithCancelCause(who(ctx))
			s, err := open(ctx, d, cc, method, o...)
			return &watched{s, cancel, patience}, err
		}))
	conn, err := grpc.NewClient("passthrough:///"+server, opts...)
	if err != nil {
		return nil, fmt.Errorf("cannot reach %s: %w", server, err)
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

func checkLoopback(server string) error {
	host, _, err := net.SplitHostPort(server)
	if err != nil {
		return fmt.Errorf("%q is no server address: host:port is meant, such as 127.0.0.1:7411", server)
	}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		return nil
	}
	return fmt.Errorf("%s is another machine, and what goes there would be readable by anybody on the way: reach it through a tunnel that ends on this machine", server)
}

// Join turns a join code into an identity and keeps it.
func (h *Home) Join(ctx context.Context, server, code, name string) (*Identity, error) {
	var id *Identity
	err := h.locked("push.lock", func() (err error) {
		if id, err = h.newDevice(); err != nil {
			return err
		}
		c, err := Dial(server, "")
		if err != nil {
			return err
		}
		defer c.Close() //nolint:errcheck // nothing was written that a failed close could lose
		public := id.Key[32:]
		r, err := c.Join(ctx, &boardv1.JoinRequest{Code: code, PublicKey: public, Device: id.Device, PersonName: name})
		if err != nil {
			return Explain(err)
		}
		id.Token, id.Person, id.Name = r.GetToken(), r.GetPerson(), name
		id.Shop, id.ShopName, id.Role = r.GetShop(), r.GetShopName(), roleName(r.GetRole())
		id.Server, id.LogKey, id.Currency = server, r.GetLogKey(), r.GetCurrency()
		return h.locked("lock", func() error {
			if err := h.store("identity.json", id); err != nil {
				return err
			}
			return h.adopt(context.WithoutCancel(ctx), id)
		})
	})
	return id, err
}

// Connect dials the server this home belongs to.
func (h *Home) Connect() (*Identity, *Conn, error) { return h.ConnectWithin(Patience) }

// ConnectWithin is Connect, and the server counts as down after so long.
func (h *Home) ConnectWithin(patience time.Duration) (*Identity, *Conn, error) {
	id, err := h.Identity()
	if err != nil {
		return nil, nil, err
	}
	c, err := dial(id.Server, id.Token, patience)
	return id, c, err
}

// Patience is how long a call, or the next message of a stream, may take before
// the server counts as down; Haste the same for whoever can do without.
const (
	Patience = 10 * time.Second
	Haste    = 3 * time.Second
)

// ErrOffline: no server answered.
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
