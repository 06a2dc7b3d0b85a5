package server

import (
	"context"
	"fmt"
	"runtime/debug"
	"sync/atomic"
	"time"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// patiently runs what sends to a reader, and ends it when one send takes longer than
// slow: nothing is held for a reader. What runs is looked at from beside it, since a
// send that hangs can only be left, and a goroutine for each of them would cost more
// than sending does.
func patiently[M any](ctx context.Context, slow time.Duration, send func(*M) error, run func(context.Context, func(*M) error) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	began := time.Now()
	var under atomic.Int64 // when the send that is under way began, 0: none is
	ended := make(chan error, 1)
	var panicked any // set before ended
	go func() {
		err := error(nil)
		defer func() {
			if p := recover(); p != nil {
				panicked = fmt.Sprintf("%v\n\n%s", p, debug.Stack())
			}
			ended <- err
		}()
		err = run(ctx, func(m *M) error {
			under.Store(max(1, int64(time.Since(began))))
			defer under.Store(0)
			return send(m)
		})
	}()
	t := time.NewTimer(slow)
	defer t.Stop()
	for {
		select {
		case err := <-ended:
			if panicked != nil {
				panic(panicked)
			}
			return err
		case <-t.C:
			left := slow
			if at := under.Load(); at != 0 {
				left = time.Duration(at) + slow - time.Since(began)
			}
			if left <= 0 {
				return refuse(boardv1.Reason_REASON_TOO_SLOW, "nothing was read for %v; resume where you are", slow)
			}
			t.Reset(left)
		}
	}
}
