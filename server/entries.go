package server

import (
	"context"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

func held(item log.Item) *boardv1.Held {
	return &boardv1.Held{Entry: item.Entry, Event: item.Event, Position: item.Position}
}

// Entries sends the entries of one case, in order, as they stood when it was
// called. The last message has the checkpoint.
func (s *Server) Entries(ctx context.Context, c Caller, req *boardv1.EntriesRequest, send func(*boardv1.EntriesResponse) error) error {
	return patiently(ctx, s.options.SlowAfter, send, func(ctx context.Context, send func(*boardv1.EntriesResponse) error) error {
		return s.entries(ctx, c, req, send)
	})
}

func (s *Server) entries(ctx context.Context, c Caller, req *boardv1.EntriesRequest, send func(*boardv1.EntriesResponse) error) error {
	stream := req.GetStream()
	if _, err := s.admit(c, boardv1.BoardService_Entries_FullMethodName, stream); err != nil {
		return err
	}
	if req.GetThrough() > 0 && req.GetFrom() > req.GetThrough() {
		return refuse(boardv1.Reason_REASON_MALFORMED, "from: %d comes after through, %d", req.GetFrom(), req.GetThrough())
	}
	next, err := s.log.Next(ctx, log.Range{Stream: stream})
	if err != nil {
		return err
	}
	// Taken after the head, so that it covers what is sent.
	checkpoint, signed := s.tree.Checkpoint()
	through := next - 1
	if req.GetThrough() > 0 {
		through = min(through, req.GetThrough())
	}
	at := max(req.GetFrom(), 1)
	ahead := s.readAhead(ctx, stream, at, through)
	for {
		out := &boardv1.EntriesResponse{}
		more := at <= through
		if more {
			read := <-ahead
			if read.err != nil {
				return read.err
			}
			more = read.more
			for _, item := range read.items {
				if item.Seq > through {
					break
				}
				at = item.Seq + 1
				out.Entries = append(out.Entries, held(item))
				if !req.GetProofs() {
					continue
				}
				proof, err := s.tree.ProveIn(ctx, checkpoint, item.Index)
				if err != nil {
					return fmt.Errorf("proof of index %d: %w", item.Index, err)
				}
				out.Proofs = append(out.Proofs, joined(proof))
			}
		}
		last := !more || at > through
		if last {
			out.Checkpoint = signed
		} else {
			ahead = s.readAhead(ctx, stream, at, through)
		}
		// Asked again behind the read, for every message.
		if _, err := s.admit(c, boardv1.BoardService_Entries_FullMethodName, stream); err != nil {
			return err
		}
		if err := send(out); err != nil || last {
			return err
		}
	}
}

type readAhead struct {
	items []log.Item
	more  bool
	err   error
}

// readAhead reads the next message's entries while the one before is sent.
func (s *Server) readAhead(ctx context.Context, stream string, at, through uint64) <-chan readAhead {
	out := make(chan readAhead, 1)
	if at > through {
		return out
	}
	go func() {
		var r readAhead
		r.items, r.more, r.err = s.pages.read(ctx, log.Range{Stream: stream, From: at})
		out <- r
	}()
	return out
}

func joined(hashes []tlog.Hash) []byte {
	out := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		out = append(out, h[:]...)
	}
	return out
}
