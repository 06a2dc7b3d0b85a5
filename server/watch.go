package server

import (
	"context"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Watch sends the entries of a case, or of all that the caller's shop may see,
// from a cursor on, and goes on as they come, until ctx ends, access ends or the
// reader is too slow. It reads to the head, waits to be woken, and reads again;
// nothing is queued for anybody.
func (s *Server) Watch(ctx context.Context, c Caller, req *boardv1.WatchRequest, send func(*boardv1.WatchResponse) error) error {
	return patiently(ctx, s.options.SlowAfter, send, func(ctx context.Context, send func(*boardv1.WatchResponse) error) error {
		return s.watch(ctx, c, req, send)
	})
}

func (s *Server) watch(ctx context.Context, c Caller, req *boardv1.WatchRequest, send func(*boardv1.WatchResponse) error) error {
	const method = boardv1.BoardService_Watch_FullMethodName
	stream := req.GetStream()
	c, err := s.admit(c, method, stream)
	if err != nil {
		return err
	}
	r, name := log.Range{Stream: stream, From: 1}, stream
	if stream == "" {
		r.Feed = feedOf(c.Shop)
		name = r.Feed
	}
	checkpoint, _ := s.tree.Checkpoint()
	head, err := s.log.Next(ctx, r)
	if err != nil {
		return err
	}
	switch text := req.GetCursor(); {
	case text != "" && req.GetFromNow():
		return refuse(boardv1.Reason_REASON_MALFORMED, "from_now: not together with a cursor")
	case text != "":
		at, refusal := parseCursor(text, s.identity.log, checkpoint.Epoch, name)
		if refusal != nil {
			return refusal
		}
		if at.position > head {
			return refuse(boardv1.Reason_REASON_MALFORMED, "cursor: it lies beyond the end of this log; start again without one")
		}
		r.From = at.position
	case req.GetFromNow():
		r.From = head
	}
	// The first message comes at once, so that there is a cursor to resume at; and
	// whoever has read to the head is told so, also where a full message ended there.
	due := true
	resumeAt := cursor{log: s.identity.log, epoch: checkpoint.Epoch, name: name}.series()
	for {
		// Asked for before reading, so that nothing between the two is missed.
		added := s.wakes.on(name)
		for more := true; more; {
			var items []log.Item
			if items, more, err = s.pages.read(ctx, r); err != nil {
				return err
			}
			// Asked again behind the read: what may not be seen any more is not sent.
			if c, err = s.admit(c, method, stream); err != nil {
				return err
			}
			if len(items) == 0 && !due {
				break
			}
			due = more
			out := &boardv1.WatchResponse{}
			for _, item := range items {
				r.From = item.Position + 1
				if stream != "" || s.sees(c, method, item.Stream) {
					out.Entries = append(out.Entries, held(item))
				}
			}
			out.Cursor = resumeAt(r.From)
			if !more {
				_, out.Checkpoint = s.tree.Checkpoint()
			}
			if err := send(out); err != nil {
				return err
			}
		}
		if s.stopping.Load() {
			return refuse(boardv1.Reason_REASON_STOPPED, "the server is stopping; resume at your cursor when it is back")
		}
		select {
		case <-added:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
