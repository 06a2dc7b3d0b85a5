package socket

import (
	"context"
	"errors"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/log/logtest"
	"knowngood.example/cases/log/memory"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// reached is a hosted log together with what it takes to end it.
type reached struct {
	*Log
	end func() error
}

func (r reached) Close() error { return errors.Join(r.Log.Close(), r.end()) }

// folder has a path short enough for a socket.
func folder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "kg")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

func host(t testing.TB, l log.Log) (*Host, string) {
	t.Helper()
	dir := folder(t)
	on, err := Listen(dir)
	require.NoError(t, err)
	return Serve(l, on), dir
}

// TestConformance: over a socket a log is what it is without.
func TestConformance(t *testing.T) {
	logtest.Run(t, logtest.Engine{
		Open: func(t testing.TB, dir string) log.Log {
			engine, err := badger.Open(dir, badger.Options{})
			require.NoError(t, err)
			h, at := host(t, engine)
			l, err := Dial(t.Context(), at)
			require.NoError(t, err)
			return reached{l, func() error {
				h.Close()
				return engine.Close()
			}}
		},
		Keeps: true,
	})
}

func TestNobodyHosts(t *testing.T) {
	t.Parallel()
	_, err := Dial(t.Context(), folder(t))
	require.ErrorIs(t, err, ErrGone)
}

// TestHostEnds: whoever waits or reads learns it, and an append says that nobody
// knows.
func TestHostEnds(t *testing.T) {
	t.Parallel()
	m := memory.New()
	h, dir := host(t, m)
	l, err := Dial(t.Context(), dir)
	require.NoError(t, err)
	defer func() { require.NoError(t, l.Close()) }()
	require.NoError(t, l.Append(t.Context(), log.Batch{Index: []log.Write{{Key: "k", Value: []byte("v")}}}))
	tailed := make(chan error, 1)
	go func() {
		for _, err := range log.Tail(t.Context(), l, log.Range{}) {
			tailed <- err
		}
	}()
	began := time.Now()
	h.Close()
	require.Less(t, time.Since(began), closeWithin, "a reader that waits does not hold the host up")
	require.ErrorIs(t, <-tailed, ErrGone)
	_, err = l.Get(t.Context(), "k")
	require.ErrorIs(t, err, ErrGone)
	err = l.Append(t.Context(), log.Batch{Index: []log.Write{{Key: "k", Value: []byte("w")}}})
	require.ErrorIs(t, err, ErrGone)
	require.True(t, log.Unknown(err))
	require.NoError(t, m.Close())
}

// odd fails in a way that has no name.
type odd struct{ log.Log }

func (odd) Append(context.Context, log.Batch) error { return errors.New("the disk said no") }

// TestUnknownStaysUnknown: what nobody knows at one end nobody knows at the other.
func TestUnknownStaysUnknown(t *testing.T) {
	t.Parallel()
	m := memory.New()
	h, dir := host(t, odd{m})
	l, err := Dial(t.Context(), dir)
	require.NoError(t, err)
	err = l.Append(t.Context(), log.Batch{})
	require.EqualError(t, err, "the disk said no")
	require.True(t, log.Unknown(err))
	require.NoError(t, l.Close())
	h.Close()
	require.NoError(t, m.Close())
}
