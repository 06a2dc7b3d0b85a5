package socket

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"google.golang.org/grpc"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

const (
	// A message holds about so many records or keys, and not many more bytes.
	messageItems = 64
	messageBytes = 256 << 10
	// A batch, or a message, is never longer.
	maxMessage = 64 << 20
)

// Host serves a log to other processes. The log stays its owner's, to be closed
// after the host.
type Host struct {
	grpc     *grpc.Server
	stopping chan struct{}
	once     sync.Once
	ended    chan struct{}
}

// Serve hosts the log on the listener until Close.
func Serve(l log.Log, on net.Listener) *Host {
	h := &Host{
		grpc:     grpc.NewServer(grpc.MaxRecvMsgSize(maxMessage), grpc.MaxSendMsgSize(maxMessage)),
		stopping: make(chan struct{}), ended: make(chan struct{}),
	}
	boardv1.RegisterLogServiceServer(h.grpc, &service{log: l, stopping: h.stopping})
	go func() {
		defer close(h.ended)
		_ = h.grpc.Serve(on) // ends with Close, or when the socket is gone: then nobody reaches it
	}()
	return h
}

// closeWithin is how long calls under way may take to end.
const closeWithin = 2 * time.Second

// Close lets appends under way finish, cuts readers off, and closes the listener.
func (h *Host) Close() {
	h.once.Do(func() {
		close(h.stopping)
		t := time.AfterFunc(closeWithin, h.grpc.Stop)
		h.grpc.GracefulStop()
		t.Stop()
	})
	<-h.ended
}

// service answers for the log.
type service struct {
	boardv1.UnimplementedLogServiceServer
	log      log.Log
	stopping <-chan struct{}
}

// fault is an error of the log as it goes over the wire.
func fault(err error) (boardv1.LogFault, string) {
	if err == nil {
		return boardv1.LogFault_LOG_FAULT_UNSPECIFIED, ""
	}
	for f, known := range faults() {
		if errors.Is(err, known) {
			return f, err.Error()
		}
	}
	return boardv1.LogFault_LOG_FAULT_OTHER, err.Error()
}

func faults() map[boardv1.LogFault]error {
	return map[boardv1.LogFault]error{
		boardv1.LogFault_LOG_FAULT_PLACE:   log.ErrPlace,
		boardv1.LogFault_LOG_FAULT_TOO_BIG: log.ErrTooBig,
		boardv1.LogFault_LOG_FAULT_DAMAGED: log.ErrDamaged,
		boardv1.LogFault_LOG_FAULT_FULL:    log.ErrFull,
		boardv1.LogFault_LOG_FAULT_CLOSED:  log.ErrClosed,
	}
}

// LogAppend implements the service. A caller that goes away does not stop a commit.
func (s *service) LogAppend(ctx context.Context, req *boardv1.LogAppendRequest) (*boardv1.LogAppendResponse, error) {
	b := log.Batch{Erase: req.GetErase()}
	for _, r := range req.GetRecords() {
		one := log.Record{Index: r.GetIndex(), Stream: string(r.GetStream()), Seq: r.GetSeq(), Entry: r.GetEntry(), Event: r.GetEvent(), Tree: r.GetTree()}
		for _, f := range r.GetFeeds() {
			one.Feeds = append(one.Feeds, string(f))
		}
		b.Records = append(b.Records, one)
	}
	for _, w := range req.GetWrites() {
		one := log.Write{Key: string(w.GetKey())}
		if !w.GetGone() {
			one.Value = append([]byte{}, w.GetValue()...)
		}
		b.Index = append(b.Index, one)
	}
	out := new(boardv1.LogAppendResponse)
	out.Fault, out.Text = fault(s.log.Append(context.WithoutCancel(ctx), b))
	return out, nil
}

// LogRead implements the service.
func (s *service) LogRead(req *boardv1.LogReadRequest, out grpc.ServerStreamingServer[boardv1.LogReadResponse]) error {
	r := log.Range{Stream: string(req.GetStream()), Feed: string(req.GetFeed()), From: req.GetFrom(), Limit: int(req.GetLimit())}
	m, size := new(boardv1.LogReadResponse), 0
	for item, err := range s.log.Read(out.Context(), r) {
		if err != nil {
			m.Fault, m.Text = fault(err)
			break
		}
		m.Records = append(m.Records, &boardv1.LogRecord{
			Position: item.Position, Index: item.Index, Stream: []byte(item.Stream), Seq: item.Seq, Entry: item.Entry, Event: item.Event, Tree: item.Tree,
		})
		if size += len(item.Entry) + len(item.Event); len(m.GetRecords()) < messageItems && size < messageBytes {
			continue
		}
		if err := s.send(func() error { return out.Send(m) }); err != nil {
			return err
		}
		m, size = new(boardv1.LogReadResponse), 0
	}
	return s.send(func() error { return out.Send(m) })
}

// LogGet implements the service.
func (s *service) LogGet(ctx context.Context, req *boardv1.LogGetRequest) (*boardv1.LogGetResponse, error) {
	v, err := s.log.Get(ctx, string(req.GetKey()))
	out := &boardv1.LogGetResponse{Write: &boardv1.LogWrite{Key: req.GetKey(), Value: v, Gone: v == nil}}
	out.Fault, out.Text = fault(err)
	return out, nil
}

// LogScan implements the service.
func (s *service) LogScan(req *boardv1.LogScanRequest, out grpc.ServerStreamingServer[boardv1.LogScanResponse]) error {
	m, size := new(boardv1.LogScanResponse), 0
	for w, err := range s.log.Scan(out.Context(), string(req.GetPrefix())) {
		if err != nil {
			m.Fault, m.Text = fault(err)
			break
		}
		m.Writes = append(m.Writes, &boardv1.LogWrite{Key: []byte(w.Key), Value: w.Value})
		if size += len(w.Key) + len(w.Value); len(m.GetWrites()) < messageItems && size < messageBytes {
			continue
		}
		if err := s.send(func() error { return out.Send(m) }); err != nil {
			return err
		}
		m, size = new(boardv1.LogScanResponse), 0
	}
	return s.send(func() error { return out.Send(m) })
}

// errStopping ends the streams of a host that is closing.
var errStopping = errors.New("the process that has the log open is ending")

func (s *service) send(send func() error) error {
	select {
	case <-s.stopping:
		return errStopping
	default:
		return send()
	}
}

// LogNext implements the service.
func (s *service) LogNext(ctx context.Context, req *boardv1.LogNextRequest) (*boardv1.LogNextResponse, error) {
	n, err := s.log.Next(ctx, log.Range{Stream: string(req.GetStream()), Feed: string(req.GetFeed())})
	out := &boardv1.LogNextResponse{Next: n}
	out.Fault, out.Text = fault(err)
	return out, nil
}

// LogChanged implements the service.
func (s *service) LogChanged(_ *boardv1.LogChangedRequest, out grpc.ServerStreamingServer[boardv1.LogChangedResponse]) error {
	for {
		changed := s.log.Changed()
		if err := out.Send(&boardv1.LogChangedResponse{}); err != nil {
			return fmt.Errorf("telling of a change: %w", err)
		}
		select {
		case <-changed:
		case <-s.stopping:
			return errStopping
		case <-out.Context().Done():
			return out.Context().Err()
		}
	}
}
