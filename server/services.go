package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/net/netutil"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

const (
	// A request is at most what Append takes, and a little.
	maxRequest = MaxBytes + 64<<10
	// An answer holds at most a long timeline.
	maxAnswer = 16 << 20
	// Calls at once on one connection.
	maxStreams = 256
)

// services makes the gRPC server: it translates, and decides nothing.
func (s *Server) services() *grpc.Server {
	opts := []grpc.ServerOption{
		grpc.MaxRecvMsgSize(maxRequest), grpc.MaxSendMsgSize(maxAnswer), grpc.MaxConcurrentStreams(maxStreams), grpc.MaxHeaderListSize(16 << 10),
		grpc.ConnectionTimeout(20 * time.Second),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 20 * time.Second, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: time.Minute, Timeout: 20 * time.Second}),
		grpc.ChainUnaryInterceptor(s.unary), grpc.ChainStreamInterceptor(s.stream),
		grpc.Creds(credentials.NewTLS(s.secure.config())), grpc.ForceServerCodecV2(newCodec()),
	}
	g := grpc.NewServer(opts...)
	boardv1.RegisterBoardServiceServer(g, boardService{s: s, encoded: &encoded{}})
	boardv1.RegisterRegisterServiceServer(g, registerService{s: s})
	boardv1.RegisterFileServiceServer(g, fileService{s: s})
	healthv1.RegisterHealthServer(g, s.health)
	for name := range g.GetServiceInfo() {
		s.health.SetServingStatus(name, healthv1.HealthCheckResponse_SERVING)
	}
	return g
}

// unwell says that appends have stopped.
func (s *Server) unwell() {
	for _, name := range []string{"", boardv1.BoardService_ServiceDesc.ServiceName, boardv1.RegisterService_ServiceDesc.ServiceName, boardv1.FileService_ServiceDesc.ServiceName} {
		s.health.SetServingStatus(name, healthv1.HealthCheckResponse_NOT_SERVING)
	}
}

// Serve answers on the listener until ctx ends or Stop is called, and returns
// what Stop does.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	at := l.Addr()
	s.listening.Store(&at)
	ended := make(chan struct{})
	defer close(ended)
	go func() {
		select {
		case <-ctx.Done():
			within, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.options.StopWithin)
			defer cancel()
			s.Stop(within) //nolint:errcheck // returned below
		case <-ended:
		}
	}()
	fair := &fairListener{netutil.LimitListener(l, s.options.Connections), newAtOnce(s.options.Limits.FromAddress), func(from string) {
		s.logger.Info("too many connections from one address: one more was closed", "address", from)
	}}
	if err := s.grpc.Serve(fair); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serving on %s: %w", l.Addr(), err)
	}
	// Serve returns when stopping begins; what it left is waited for.
	within, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.options.StopWithin)
	defer cancel()
	return s.Stop(within)
}

func (s *Server) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (out any, err error) {
	defer s.tell(ctx, info.FullMethod, s.now(), &err)
	return handle(ctx, req)
}

func (s *Server) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) (err error) {
	defer s.tell(ss.Context(), info.FullMethod, s.now(), &err)
	return handle(srv, ss)
}

// tell logs the call, with no names, no contents and no token, and turns its
// error, or a panic, into what goes over the wire.
func (s *Server) tell(ctx context.Context, method string, began time.Time, err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("panic: %v", p)
		s.logger.Error("a call panicked", "method", method, "panic", p, "stack", string(debug.Stack()))
	}
	inside := *err
	*err = wire(inside)
	level, code := slog.LevelDebug, status.Code(*err)
	attrs := []slog.Attr{slog.String("method", method), slog.String("code", code.String()), slog.Duration("took", s.now().Sub(began))}
	var r *Refusal
	switch {
	case errors.As(inside, &r):
		level = slog.LevelInfo
		attrs = append(attrs, slog.String("reason", r.Reason.String()))
	case code == codes.Internal:
		level = slog.LevelError
		attrs = append(attrs, slog.Any("error", inside))
	}
	s.logger.LogAttrs(ctx, level, "call", attrs...)
}

// who is the caller whose token came with the call. The call is counted: for the
// device, or, where nobody is known by the token, for the address.
func (s *Server) who(ctx context.Context, req any) (Caller, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	var token string
	if v := md.Get("authorization"); len(v) == 1 {
		token, _ = strings.CutPrefix(v[0], "Bearer ")
	}
	size := 0
	if m, ok := req.(proto.Message); ok {
		size = proto.Size(m)
	}
	return s.Known(ctx, token, address(ctx), size)
}

// address of the other side, without its port.
func address(ctx context.Context) string {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return ""
	}
	return hostOf(p.Addr)
}

// call finds the caller and asks a method that gives one answer.
func call[Q, A any](ctx context.Context, s *Server, req Q, ask func(context.Context, Caller, Q) (A, error)) (A, error) {
	c, err := s.who(ctx, req)
	if err != nil {
		var none A
		return none, err
	}
	return ask(ctx, c, req)
}

// flow finds the caller and runs a method that sends many.
func flow[Q, A any](ss grpc.ServerStreamingServer[A], s *Server, req Q, run func(context.Context, Caller, Q, func(*A) error) error) error {
	c, leave, err := s.enter(ss.Context(), req)
	if err != nil {
		return err
	}
	defer leave()
	return run(ss.Context(), c, req, ss.Send)
}

// enter finds the caller who opens a stream; leave ends it.
func (s *Server) enter(ctx context.Context, req any) (c Caller, leave func(), err error) {
	if c, err = s.who(ctx, req); err != nil {
		return c, nil, err
	}
	leave, err = s.begin(c)
	return c, leave, err
}

// begin counts one more stream of a device; leave ends it.
func (s *Server) begin(c Caller) (leave func(), err error) {
	leave, ok := s.limits.streams.enter(c.Device)
	if !ok {
		return nil, refuse(boardv1.Reason_REASON_LIMIT, "this device has %d streams open, which is the most; end one first", s.limits.streams.most)
	}
	return leave, nil
}

type boardService struct {
	boardv1.UnimplementedBoardServiceServer
	s       *Server
	encoded *encoded
}

func (b boardService) Append(ctx context.Context, req *boardv1.AppendRequest) (*boardv1.AppendResponse, error) {
	return call(ctx, b.s, req, func(ctx context.Context, c Caller, req *boardv1.AppendRequest) (*boardv1.AppendResponse, error) {
		return b.s.Append(ctx, c, req.GetEvents())
	})
}

func (b boardService) Entries(req *boardv1.EntriesRequest, ss grpc.ServerStreamingServer[boardv1.EntriesResponse]) error {
	return flow(ss, b.s, req, b.s.Entries)
}

func (b boardService) Watch(req *boardv1.WatchRequest, ss grpc.ServerStreamingServer[boardv1.WatchResponse]) error {
	return flow(ss, b.s, req, func(ctx context.Context, c Caller, req *boardv1.WatchRequest, _ func(*boardv1.WatchResponse) error) error {
		return b.s.Watch(ctx, c, req, func(m *boardv1.WatchResponse) error {
			bytes, err := b.encoded.of(m)
			if err != nil {
				return err
			}
			return ss.SendMsg(bytes)
		})
	})
}

func (b boardService) Consistency(ctx context.Context, req *boardv1.ConsistencyRequest) (*boardv1.ConsistencyResponse, error) {
	return call(ctx, b.s, req, b.s.Consistency)
}

func (b boardService) Tiles(ctx context.Context, req *boardv1.TilesRequest) (*boardv1.TilesResponse, error) {
	return call(ctx, b.s, req, b.s.Tiles)
}

func (b boardService) Board(ctx context.Context, req *boardv1.BoardRequest) (*boardv1.BoardResponse, error) {
	return call(ctx, b.s, req, b.s.Board)
}

func (b boardService) Timeline(ctx context.Context, req *boardv1.TimelineRequest) (*boardv1.TimelineResponse, error) {
	return call(ctx, b.s, req, b.s.Timeline)
}

func (b boardService) Review(ctx context.Context, req *boardv1.ReviewRequest) (*boardv1.ReviewResponse, error) {
	return call(ctx, b.s, req, b.s.Review)
}

func (b boardService) Brief(ctx context.Context, req *boardv1.BriefRequest) (*boardv1.BriefResponse, error) {
	return call(ctx, b.s, req, b.s.Brief)
}

type registerService struct {
	boardv1.UnimplementedRegisterServiceServer
	s *Server
}

func (r registerService) Meet(ctx context.Context, _ *boardv1.MeetRequest) (*boardv1.MeetResponse, error) {
	return r.s.Meet(ctx, meeting(ctx))
}

func (r registerService) Join(ctx context.Context, req *boardv1.JoinRequest) (*boardv1.JoinResponse, error) {
	return r.s.Join(ctx, address(ctx), req)
}

func (r registerService) Invite(ctx context.Context, req *boardv1.InviteRequest) (*boardv1.InviteResponse, error) {
	return call(ctx, r.s, req, r.s.Invite)
}

func (r registerService) People(ctx context.Context, req *boardv1.PeopleRequest) (*boardv1.PeopleResponse, error) {
	return call(ctx, r.s, req, func(ctx context.Context, c Caller, _ *boardv1.PeopleRequest) (*boardv1.PeopleResponse, error) {
		return r.s.People(ctx, c)
	})
}

func (r registerService) WhoAmI(ctx context.Context, req *boardv1.WhoAmIRequest) (*boardv1.WhoAmIResponse, error) {
	return call(ctx, r.s, req, func(ctx context.Context, c Caller, _ *boardv1.WhoAmIRequest) (*boardv1.WhoAmIResponse, error) {
		return r.s.WhoAmI(ctx, c)
	})
}

func (r registerService) WithdrawDevice(ctx context.Context, req *boardv1.WithdrawDeviceRequest) (*boardv1.WithdrawDeviceResponse, error) {
	return call(ctx, r.s, req, r.s.WithdrawDevice)
}

func (r registerService) WithdrawPerson(ctx context.Context, req *boardv1.WithdrawPersonRequest) (*boardv1.WithdrawPersonResponse, error) {
	return call(ctx, r.s, req, r.s.WithdrawPerson)
}

func (r registerService) WithdrawCode(ctx context.Context, req *boardv1.WithdrawCodeRequest) (*boardv1.WithdrawCodeResponse, error) {
	return call(ctx, r.s, req, r.s.WithdrawCode)
}
