package server

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// TestPatientlyEnds: with what runs, with its panic, when a send takes too long, and
// with the context; and not because of many sends that take long together.
func TestPatientlyEnds(t *testing.T) {
	t.Parallel()
	const slow = 100 * time.Millisecond
	none := func(*int) error { return nil }
	odd := errors.New("odd")
	require.ErrorIs(t, patiently(t.Context(), slow, none, func(context.Context, func(*int) error) error { return odd }), odd)
	require.PanicsWithValue(t, "worse", func() {
		defer func() {
			p, ok := recover().(string)
			require.True(t, ok)
			require.Contains(t, p, "patience_test.go", "it says where")
			panic(p[:len("worse")])
		}()
		patiently(t.Context(), slow, none, func(context.Context, func(*int) error) error { panic("worse") }) //nolint:errcheck // it panics
	})

	hangs, left := make(chan struct{}), make(chan error, 1)
	began := time.Now()
	err := patiently(t.Context(), slow, func(*int) error { <-hangs; return nil }, func(ctx context.Context, send func(*int) error) error {
		time.Sleep(slow / 2)
		err := send(nil)
		left <- ctx.Err()
		return err
	})
	var r *Refusal
	require.ErrorAs(t, err, &r)
	require.Equal(t, boardv1.Reason_REASON_TOO_SLOW, r.Reason)
	require.GreaterOrEqual(t, time.Since(began), slow*3/2, "counted from when the send began")
	close(hangs)
	require.ErrorIs(t, <-left, context.Canceled, "what was left is told to end")

	require.NoError(t, patiently(t.Context(), slow, func(*int) error { time.Sleep(slow / 10); return nil }, func(_ context.Context, send func(*int) error) error {
		for range 25 {
			if err := send(nil); err != nil {
				return err
			}
		}
		time.Sleep(2 * slow) // nothing to send is not slow
		return nil
	}))

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, patiently(ctx, slow, none, func(ctx context.Context, _ func(*int) error) error { <-ctx.Done(); return ctx.Err() }), context.Canceled)
}
