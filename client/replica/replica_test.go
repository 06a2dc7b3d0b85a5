package replica

import (
	"context"
	"encoding/binary"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/logtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// TestConformanceOfTheOwner: an owner's replica is a log like any other.
func TestConformanceOfTheOwner(t *testing.T) {
	logtest.Run(t, logtest.Engine{
		Open:  func(_ testing.TB, dir string) log.Log { return &uncounted{New(dir, Options{})} },
		Keeps: true,
	})
}

// uncounted hides the key that counts batches, which no engine has by itself.
type uncounted struct{ *Replica }

func (u *uncounted) Scan(ctx context.Context, prefix string) iter.Seq2[log.Write, error] {
	return func(yield func(log.Write, error) bool) {
		for w, err := range u.Replica.Scan(ctx, prefix) {
			if w.Key != batchKey && !yield(w, err) {
				return
			}
		}
	}
}

func put(t testing.TB, r *Replica, key, value string) {
	t.Helper()
	require.NoError(t, r.Append(t.Context(), log.Batch{Index: []log.Write{{Key: key, Value: []byte(value)}}}))
}

func get(t testing.TB, r *Replica, key string) string {
	t.Helper()
	v, err := r.Get(t.Context(), key)
	require.NoError(t, err)
	return string(v)
}

// TestOneOwnsOthersUse: the second goes through the first, and takes over when the
// first ends.
func TestOneOwnsOthersUse(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a, b := New(dir, Options{}), New(dir, Options{})
	put(t, a, "k", "by a")
	require.Equal(t, "by a", get(t, b, "k"))
	require.True(t, a.Owns())
	require.False(t, b.Owns())
	put(t, b, "k", "by b")
	require.Equal(t, "by b", get(t, a, "k"))
	changed := b.Changed()
	require.NoError(t, a.Close())
	<-changed
	put(t, b, "k", "by b again")
	require.True(t, b.Owns())
	require.NoError(t, b.Close())
	c := New(dir, Options{})
	require.Equal(t, "by b again", get(t, c, "k"))
	require.NoError(t, c.Close())
	_, err := c.Get(t.Context(), "k")
	require.ErrorIs(t, err, log.ErrClosed)
}

// TestLongPath: a home may lie deeper than a socket may.
func TestLongPath(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), strings.Repeat("deep/", 30))
	a, b := New(dir, Options{}), New(dir, Options{})
	put(t, a, "k", "v")
	require.Equal(t, "v", get(t, b, "k"))
	require.NoError(t, b.Close())
	socket := a.place.Addr().String()
	require.NoError(t, a.Close())
	require.NoFileExists(t, socket)
	require.NoDirExists(t, filepath.Dir(socket))
}

// TestOwnersComeAndGo: while owners end at any moment, everybody's appends are kept
// once each and readers meet neither a gap nor a second time.
func TestOwnersComeAndGo(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var one sync.Mutex // the lock of the home
	var users sync.WaitGroup
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	const writers, each = 4, 60
	for w := range writers {
		users.Go(func() {
			r := New(dir, Options{})
			defer func() { r.Close() }()
			for i := range each {
				if i%15 == 14 { // ends, as a command does, and the next one begins
					if err := r.Close(); err != nil {
						t.Error(err)
					}
					r = New(dir, Options{})
				}
				one.Lock()
				n, err := r.Next(ctx, log.Range{})
				if err == nil {
					var seq uint64
					seq, err = r.Next(ctx, log.Range{Stream: fmt.Sprint(w)})
					if err == nil {
						err = r.Append(ctx, log.Batch{Records: []log.Record{{Index: n, Stream: fmt.Sprint(w), Seq: seq, Entry: fmt.Append(nil, w, i)}}})
					}
				}
				one.Unlock()
				if err != nil {
					t.Errorf("writer %d, append %d: %v", w, i, err)
					return
				}
			}
		})
	}
	users.Go(func() {
		r := New(dir, Options{})
		defer r.Close()
		for n := uint64(0); n < writers*each; {
			for item, err := range r.Read(ctx, log.Range{From: n}) {
				if err != nil {
					t.Error(err)
					return
				}
				if item.Position != n {
					t.Errorf("position %d, want %d", item.Position, n)
				}
				n++
			}
		}
	})
	users.Wait()
	r := New(dir, Options{})
	for w := range writers {
		i := 0
		for item, err := range r.Read(t.Context(), log.Range{Stream: fmt.Sprint(w)}) {
			require.NoError(t, err)
			require.Equal(t, fmt.Sprint(w, i), string(item.Entry))
			i++
		}
		require.Equal(t, each, i)
	}
	require.NoError(t, r.Close())
}

// salvager takes over keys that it finds among the files, spelled out.
func salvager(t *testing.T, times *int) Options {
	return Options{
		Warn: func(s string) { t.Log(s) },
		Salvage: func(ctx context.Context, l log.Log, dir string) error {
			*times++
			var b log.Batch
			err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
				if err != nil || d.IsDir() {
					return err
				}
				bytes, err := os.ReadFile(path)
				for i := range 5 {
					if text := fmt.Sprintf("kept-%d", i); strings.Contains(string(bytes), text) {
						b.Index = append(b.Index, log.Write{Key: text, Value: []byte("found")})
					}
				}
				return err
			})
			if err != nil {
				return err
			}
			return l.Append(ctx, b)
		},
	}
}

// TestDamageIsSetAside: whatever does not hold is set aside whole, what can be read
// of it is taken over once, and work goes on.
func TestDamageIsSetAside(t *testing.T) {
	t.Parallel()
	for name, harm := range map[string]func(t *testing.T, dir, older string){
		"an older log in its place": func(t *testing.T, dir, older string) {
			require.NoError(t, os.RemoveAll(filepath.Join(dir, "log")))
			require.NoError(t, os.CopyFS(filepath.Join(dir, "log"), os.DirFS(filepath.Join(older, "log"))))
		},
		"the count is gone": func(t *testing.T, dir, _ string) {
			require.NoError(t, os.Remove(filepath.Join(dir, "count")))
		},
		"the count is of another time": func(t *testing.T, dir, older string) {
			b, err := os.ReadFile(filepath.Join(older, "count"))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "count"), b, 0o600))
		},
		"a bit of a table": func(t *testing.T, dir, _ string) {
			tables, err := filepath.Glob(filepath.Join(dir, "log", "*.sst"))
			require.NoError(t, err)
			require.NotEmpty(t, tables)
			b, err := os.ReadFile(tables[0])
			require.NoError(t, err)
			b[10] ^= 4
			require.NoError(t, os.WriteFile(tables[0], b, 0o600))
		},
		"the log is gone": func(t *testing.T, dir, _ string) {
			require.NoError(t, os.RemoveAll(filepath.Join(dir, "log")))
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir, older, times := t.TempDir(), t.TempDir(), 0
			r := New(dir, salvager(t, &times))
			put(t, r, "first", "kept-0")
			require.NoError(t, r.Close())
			require.NoError(t, os.CopyFS(older, os.DirFS(dir)))
			r = New(dir, salvager(t, &times))
			for i := range 4 {
				put(t, r, fmt.Sprint(i), fmt.Sprintf("kept-%d", i+1))
			}
			require.NoError(t, r.Close())
			require.Zero(t, times)
			harm(t, dir, older)
			for range 2 {
				r = New(dir, salvager(t, &times))
				require.Empty(t, get(t, r, "3"), "it is a new log")
				require.NoError(t, r.Close())
			}
			require.Equal(t, 1, times)
			aside, err := filepath.Glob(filepath.Join(dir, "damaged-*"))
			require.NoError(t, err)
			require.Len(t, aside, 1)
			r = New(dir, salvager(t, &times))
			if name == "the count is of another time" || name == "the count is gone" {
				require.Equal(t, "found", get(t, r, "kept-4"))
			}
			put(t, r, "after", "x")
			require.NoError(t, r.Close())
		})
	}
}

// TestCountedBehind: a batch that was synced and not counted stands.
func TestCountedBehind(t *testing.T) {
	t.Parallel()
	dir, times := t.TempDir(), 0
	r := New(dir, salvager(t, &times))
	put(t, r, "a", "1")
	require.NoError(t, r.reachEngine(t).Log.Append(t.Context(), log.Batch{Index: []log.Write{
		{Key: batchKey, Value: binary.BigEndian.AppendUint64(nil, 2)}, {Key: "b", Value: []byte("2")},
	}}))
	require.NoError(t, r.Close())
	r = New(dir, salvager(t, &times))
	require.Equal(t, "2", get(t, r, "b"))
	put(t, r, "c", "3")
	require.NoError(t, r.Close())
	r = New(dir, salvager(t, &times))
	require.Equal(t, "3", get(t, r, "c"))
	require.NoError(t, r.Close())
	require.Zero(t, times)
}

func (r *Replica) reachEngine(t *testing.T) *counted {
	t.Helper()
	_, err := r.reach(t.Context())
	require.NoError(t, err)
	return r.own
}
