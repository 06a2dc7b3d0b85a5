package socket

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"net"
	"os"
	"path/filepath"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// ErrGone: the process that had the log open does not answer any more. Of an
// append nobody knows whether it was kept.
var ErrGone = errors.New("the process that had the log open has ended")

// Log is a log that another process has open. Dial makes one.
type Log struct {
	conn   *grpc.ClientConn
	calls  boardv1.LogServiceClient
	cancel context.CancelFunc
	ended  chan struct{}

	mu      sync.Mutex
	closed  bool
	changed chan struct{}
}

// Connect makes a connection to whoever listens on the socket of the folder
// (Listen). The error wraps ErrGone when nothing says where that lies.
func Connect(folder string) (*grpc.ClientConn, error) {
	path, err := os.ReadFile(filepath.Join(folder, hostFile))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrGone, err)
	}
	conn, err := grpc.NewClient("passthrough:///local",
		grpc.WithTransportCredentials(insecure.NewCredentials()), // it never leaves the machine
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", string(path))
		}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxMessage), grpc.MaxCallSendMsgSize(maxMessage)))
	if err != nil {
		return nil, fmt.Errorf("the socket %s: %w", path, err)
	}
	return conn, nil
}

// Dial reaches the log that is hosted on the socket of the folder.
func Dial(ctx context.Context, folder string) (*Log, error) {
	conn, err := Connect(folder)
	if err != nil {
		return nil, err
	}
	life, cancel := context.WithCancel(context.WithoutCancel(ctx))
	l := &Log{conn: conn, calls: boardv1.NewLogServiceClient(conn), cancel: cancel, ended: make(chan struct{}), changed: make(chan struct{})}
	changes, err := l.calls.LogChanged(life, &boardv1.LogChangedRequest{})
	if err == nil {
		_, err = changes.Recv() // from here on nothing is missed
	}
	if err != nil {
		cancel()
		return nil, errors.Join(fmt.Errorf("%w: %w", ErrGone, err), conn.Close())
	}
	go l.hear(changes)
	return l, nil
}

// hear passes changes on until the host ends; that too wakes whoever waits, who
// then reads and learns it.
func (l *Log) hear(changes grpc.ServerStreamingClient[boardv1.LogChangedResponse]) {
	defer close(l.ended)
	for {
		_, err := changes.Recv()
		l.mu.Lock()
		close(l.changed)
		if err == nil {
			l.changed = make(chan struct{})
		}
		l.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// why is the error of a call.
func (l *Log) why(ctx context.Context, err error) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.closed:
		return log.ErrClosed
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return fmt.Errorf("%w: %w", ErrGone, err)
}

func (l *Log) before(ctx context.Context) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return log.ErrClosed
	}
	return ctx.Err()
}

// told is an error that the host's log gave.
type told struct {
	kind error
	text string
}

func (t told) Error() string { return t.text }

func (t told) Unwrap() error { return t.kind }

var errOther = errors.New("the log failed")

func open(f boardv1.LogFault, text string) error {
	if f == boardv1.LogFault_LOG_FAULT_UNSPECIFIED {
		return nil
	}
	kind, known := faults()[f]
	if !known {
		kind = errOther
	}
	return told{kind, text}
}

// Append implements log.Log. After ErrGone nobody knows whether the batch is kept.
func (l *Log) Append(ctx context.Context, b log.Batch) error {
	if err := l.before(ctx); err != nil {
		return err
	}
	req := &boardv1.LogAppendRequest{Erase: b.Erase}
	for _, r := range b.Records {
		one := &boardv1.LogRecord{Index: r.Index, Stream: []byte(r.Stream), Seq: r.Seq, Entry: r.Entry, Event: r.Event, Tree: r.Tree}
		for _, f := range r.Feeds {
			one.Feeds = append(one.Feeds, []byte(f))
		}
		req.Records = append(req.Records, one)
	}
	for _, w := range b.Index {
		req.Writes = append(req.Writes, &boardv1.LogWrite{Key: []byte(w.Key), Value: w.Value, Gone: w.Value == nil})
	}
	out, err := l.calls.LogAppend(context.WithoutCancel(ctx), req)
	if err != nil {
		return l.why(context.WithoutCancel(ctx), err)
	}
	return open(out.GetFault(), out.GetText())
}

// Read implements log.Log.
func (l *Log) Read(ctx context.Context, r log.Range) iter.Seq2[log.Item, error] {
	return func(yield func(log.Item, error) bool) {
		err := l.before(ctx)
		if err == nil {
			err = r.Check()
		}
		if err != nil {
			yield(log.Item{}, err)
			return
		}
		call, cancel := context.WithCancel(ctx)
		defer cancel()
		in, err := l.calls.LogRead(call, &boardv1.LogReadRequest{Stream: []byte(r.Stream), Feed: []byte(r.Feed), From: r.From, Limit: uint64(max(r.Limit, 0))})
		for err == nil {
			var m *boardv1.LogReadResponse
			if m, err = in.Recv(); err != nil {
				break
			}
			for _, one := range m.GetRecords() {
				item := log.Item{Position: one.GetPosition(), Record: log.Record{
					Index: one.GetIndex(), Stream: string(one.GetStream()), Seq: one.GetSeq(), Entry: one.GetEntry(), Event: one.GetEvent(), Tree: one.GetTree(),
				}}
				if !yield(item, nil) {
					return
				}
			}
			if err := open(m.GetFault(), m.GetText()); err != nil {
				yield(log.Item{}, err)
				return
			}
		}
		if err = l.end(ctx, err); err != nil {
			yield(log.Item{}, err)
		}
	}
}

// Scan implements log.Log.
func (l *Log) Scan(ctx context.Context, prefix string) iter.Seq2[log.Write, error] {
	return func(yield func(log.Write, error) bool) {
		if err := l.before(ctx); err != nil {
			yield(log.Write{}, err)
			return
		}
		call, cancel := context.WithCancel(ctx)
		defer cancel()
		in, err := l.calls.LogScan(call, &boardv1.LogScanRequest{Prefix: []byte(prefix)})
		for err == nil {
			var m *boardv1.LogScanResponse
			if m, err = in.Recv(); err != nil {
				break
			}
			for _, w := range m.GetWrites() {
				if !yield(log.Write{Key: string(w.GetKey()), Value: append([]byte{}, w.GetValue()...)}, nil) {
					return
				}
			}
			if err := open(m.GetFault(), m.GetText()); err != nil {
				yield(log.Write{}, err)
				return
			}
		}
		if err = l.end(ctx, err); err != nil {
			yield(log.Write{}, err)
		}
	}
}

// end is nil when a stream came to its end.
func (l *Log) end(ctx context.Context, err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return l.why(ctx, err)
}

// Get implements log.Log.
func (l *Log) Get(ctx context.Context, key string) ([]byte, error) {
	if err := l.before(ctx); err != nil {
		return nil, err
	}
	out, err := l.calls.LogGet(ctx, &boardv1.LogGetRequest{Key: []byte(key)})
	if err != nil {
		return nil, l.why(ctx, err)
	}
	if err := open(out.GetFault(), out.GetText()); err != nil || out.GetWrite().GetGone() {
		return nil, err
	}
	return append([]byte{}, out.GetWrite().GetValue()...), nil
}

// Next implements log.Log.
func (l *Log) Next(ctx context.Context, r log.Range) (uint64, error) {
	err := l.before(ctx)
	if err == nil {
		err = r.Check()
	}
	if err != nil {
		return 0, err
	}
	out, err := l.calls.LogNext(ctx, &boardv1.LogNextRequest{Stream: []byte(r.Stream), Feed: []byte(r.Feed)})
	if err != nil {
		return 0, l.why(ctx, err)
	}
	return out.GetNext(), open(out.GetFault(), out.GetText())
}

// Changed implements log.Log.
func (l *Log) Changed() <-chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.changed
}

// Close implements log.Log: it ends the connection and leaves the log to its host.
func (l *Log) Close() error {
	l.mu.Lock()
	was := l.closed
	l.closed = true
	l.mu.Unlock()
	if was {
		return nil
	}
	l.cancel()
	<-l.ended
	return l.conn.Close()
}
