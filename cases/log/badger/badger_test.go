package badger

import (
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	badgerdb "github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/logtest"
)

const holderVariable = "KNOWNGOOD_BADGER_HOLD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(holderVariable); dir != "" {
		l, err := Open(dir, Options{})
		if err != nil {
			panic(err)
		}
		_, _ = os.Stdout.WriteString("held\n")
		time.Sleep(time.Minute) // until killed
		_ = l.Close()
		return
	}
	goleak.VerifyTestMain(m)
}

func open(t testing.TB, dir string) *Log {
	t.Helper()
	l, err := Open(dir, Options{})
	require.NoError(t, err)
	return l
}

func TestConformance(t *testing.T) {
	logtest.Run(t, logtest.Engine{
		Open:  func(t testing.TB, dir string) log.Log { return open(t, dir) },
		Keeps: true,
		Fail: func(_ testing.TB, l log.Log, persisted bool) {
			l.(*Log).commit = func(txn *badgerdb.Txn) error {
				if persisted {
					if err := txn.Commit(); err != nil {
						return err
					}
				}
				return errors.New("the disk said no")
			}
		},
	})
}

func batch(n int, from uint64) log.Batch {
	var b log.Batch
	for i := range uint64(n) {
		place := from + i
		b.Records = append(b.Records, log.Record{
			Index: place, Stream: "s", Seq: place + 1, Feeds: []string{"f"},
			Entry: []byte("entry " + strconv.FormatUint(place, 10)), Event: []byte("the event's words " + strconv.FormatUint(place, 10)),
		})
		b.Index = append(b.Index, log.Write{Key: strconv.FormatUint(place, 10), Value: []byte("v")})
	}
	return b
}

func TestReserve(t *testing.T) {
	l := open(t, t.TempDir())
	defer l.Close()
	require.NoError(t, l.Append(t.Context(), batch(3, 0)))
	l.free = func(string) (uint64, error) { return l.reserve - 1, nil }
	err := l.Append(t.Context(), batch(3, 3))
	require.ErrorIs(t, err, log.ErrFull)
	require.ErrorContains(t, err, "make room")
	require.False(t, log.Unknown(err))
	l.free = func(string) (uint64, error) { return 0, errors.New("no answer") }
	require.ErrorIs(t, l.Append(t.Context(), batch(3, 3)), log.ErrFull)
	// Reading goes on, and with room again so does appending.
	n := 0
	for _, err := range l.Read(t.Context(), log.Range{}) {
		require.NoError(t, err)
		n++
	}
	require.Equal(t, 3, n)
	l.free = func(string) (uint64, error) { return l.reserve, nil }
	require.NoError(t, l.Append(t.Context(), batch(3, 3)))
}

// The real figure, by a reserve no disk has.
func TestReserveOfTheDisk(t *testing.T) {
	l, err := Open(t.TempDir(), Options{Reserve: math.MaxInt64})
	require.NoError(t, err)
	defer l.Close()
	require.ErrorIs(t, l.Append(t.Context(), batch(1, 0)), log.ErrFull)
	free, err := freeSpace(l.dir)
	require.NoError(t, err)
	require.Positive(t, free)
}

func TestHeld(t *testing.T) {
	dir := t.TempDir()
	self, err := os.Executable()
	require.NoError(t, err)
	holder := exec.CommandContext(t.Context(), self, "-test.run=^$")
	holder.Env = append(os.Environ(), holderVariable+"="+dir)
	said, err := holder.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, holder.Start())
	_, err = said.Read(make([]byte, 16))
	require.NoError(t, err)

	_, err = Open(dir, Options{})
	require.ErrorIs(t, err, log.ErrHeld)
	require.ErrorContains(t, err, "process "+strconv.Itoa(holder.Process.Pid))

	require.NoError(t, holder.Process.Kill())
	_ = holder.Wait()
	l := open(t, dir)
	_, err = Open(dir, Options{})
	require.ErrorIs(t, err, log.ErrHeld, "also within one process")
	require.NoError(t, l.Close())
}

// TestErasedBytesLeaveTheFiles: once the log was closed and opened again, no
// file of Badger's holds what was erased.
func TestErasedBytesLeaveTheFiles(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	secret := "the name that has to go"
	for i := range 50 {
		b := batch(1, uint64(i))
		if i == 7 {
			b.Records[0].Event = []byte(secret)
		}
		require.NoError(t, l.Append(t.Context(), b))
	}
	holding := func() (in []string) {
		for _, pattern := range []string{"*", "../" + filepath.Base(dir) + foundSuffix + "/*"} {
			files, err := filepath.Glob(filepath.Join(dir, pattern))
			require.NoError(t, err)
			for _, f := range files {
				b, err := os.ReadFile(f)
				require.NoError(t, err)
				if strings.Contains(string(b), secret) {
					in = append(in, filepath.Base(f))
				}
			}
		}
		return in
	}
	require.NotEmpty(t, holding(), "the test looks in the right place")
	require.NoError(t, l.Append(t.Context(), log.Batch{Erase: []uint64{7}}))
	require.NoError(t, l.Close())
	l = open(t, dir)
	require.NoError(t, l.Accept())
	require.Empty(t, holding())
	require.NoError(t, l.Append(t.Context(), batch(1, 50)))
	require.NoError(t, l.Close())
	require.NoError(t, open(t, dir).Close())
}

// TestRotWhileOpen: Badger shows a block it cannot read as if its keys had never
// been there; a reader who knows the places is told.
func TestRotWhileOpen(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	require.NoError(t, l.Append(t.Context(), batch(2000, 0)))
	require.NoError(t, l.Close())
	tables, err := filepath.Glob(filepath.Join(dir, "*.sst"))
	require.NoError(t, err)
	require.NotEmpty(t, tables)
	whole, err := os.ReadFile(tables[0])
	require.NoError(t, err)
	for at := 100; at < len(whole); at += len(whole) / 15 {
		l := open(t, dir)
		rot := append([]byte(nil), whole...)
		rot[at] ^= 4
		require.NoError(t, os.WriteFile(tables[0], rot, 0o600)) // in place: the same file that is mapped
		for _, r := range []log.Range{{}, {Stream: "s"}, {Feed: "f"}} {
			n := uint64(0)
			var failed error
			for item, err := range l.Read(t.Context(), r) {
				if err != nil {
					failed = err
					continue
				}
				require.Equal(t, batch(1, n).Records[0].Entry, item.Entry)
				require.Equal(t, batch(1, n).Records[0].Event, item.Event)
				n++
			}
			if n != 2000 {
				require.ErrorIs(t, failed, log.ErrDamaged)
			}
		}
		// The whole is checked by Verify, wherever the byte lies that a reader would see.
		if err := l.Verify(); err != nil {
			require.ErrorIs(t, err, log.ErrDamaged)
		}
		require.NoError(t, os.WriteFile(tables[0], whole, 0o600))
		require.NoError(t, l.Verify())
		require.NoError(t, l.Close())
	}
}

// TestFoundIsKept: until the log is accepted its files lie beside it as they
// were before Badger cut what it did not understand.
func TestFoundIsKept(t *testing.T) {
	running, dir := t.TempDir(), filepath.Join(t.TempDir(), "log")
	l := open(t, running)
	for i := range 100 {
		require.NoError(t, l.Append(t.Context(), batch(5, uint64(i)*5)))
	}
	require.NoError(t, os.CopyFS(dir, os.DirFS(running))) // as a killed process leaves it
	require.NoError(t, l.Close())
	logs, err := filepath.Glob(filepath.Join(dir, "*.mem"))
	require.NoError(t, err)
	require.Len(t, logs, 1)
	b, err := os.ReadFile(logs[0])
	require.NoError(t, err)
	b[20_000] ^= 1
	require.NoError(t, os.WriteFile(logs[0], b, 0o600))

	for range 2 { // the second open must not replace what the first one found
		l = open(t, dir)
		n, err := l.Next(t.Context(), log.Range{})
		require.NoError(t, err)
		require.Less(t, n, uint64(500), "Badger drops the rest without a word")
		require.NoError(t, l.Close())
		found, err := os.ReadFile(filepath.Join(dir+foundSuffix, filepath.Base(logs[0])))
		require.NoError(t, err)
		require.Equal(t, b, found)
	}
	l = open(t, dir)
	require.NoError(t, l.Accept())
	require.NoDirExists(t, dir+foundSuffix)
	require.NoError(t, l.Close())
}

func TestManifest(t *testing.T) {
	base := t.TempDir()
	l := open(t, base)
	require.NoError(t, l.Append(t.Context(), batch(100, 0)))
	require.NoError(t, l.Close())
	manifest, err := os.ReadFile(filepath.Join(base, badgerdb.ManifestFilename))
	require.NoError(t, err)
	for cut := -1; cut < len(manifest); cut++ {
		dir := filepath.Join(t.TempDir(), "log")
		require.NoError(t, os.Mkdir(dir, 0o700))
		files, err := filepath.Glob(filepath.Join(base, "*"))
		require.NoError(t, err)
		for _, f := range files {
			require.NoError(t, copyFile(f, filepath.Join(dir, filepath.Base(f))))
		}
		path := filepath.Join(dir, badgerdb.ManifestFilename)
		if cut < 0 {
			require.NoError(t, os.Remove(path))
		} else {
			require.NoError(t, os.Truncate(path, int64(cut)))
		}
		_, err = Open(dir, Options{})
		require.ErrorIs(t, err, log.ErrDamaged, "cut at %d", cut)
		require.ErrorContains(t, err, "restore from a backup")
		tables, err := filepath.Glob(filepath.Join(dir, "*.sst"))
		require.NoError(t, err)
		require.NotEmpty(t, tables, "no table was deleted")
	}
}

func TestFormat(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	tx := &transaction{txn: l.db.NewTransaction(true), sum: l.sum}
	require.NoError(t, tx.replace(keyFormat, []byte("knowngood log 3")))
	require.NoError(t, tx.txn.Set(keySum, tx.sum.bytes()))
	require.NoError(t, tx.txn.Commit())
	require.NoError(t, l.Close())
	_, err := Open(dir, Options{})
	require.ErrorContains(t, err, `"knowngood log 3"`)
}

// TestSum: every single key that goes missing or changes without the sum is found.
func TestSum(t *testing.T) {
	base := t.TempDir()
	l := open(t, base)
	require.NoError(t, l.Append(t.Context(), batch(3, 0)))
	require.NoError(t, l.Append(t.Context(), log.Batch{Erase: []uint64{1}}))
	var keys [][]byte
	txn := l.db.NewTransaction(false)
	it := txn.NewIterator(badgerdb.IteratorOptions{})
	for it.Rewind(); it.Valid(); it.Next() {
		keys = append(keys, it.Item().KeyCopy(nil))
	}
	it.Close()
	txn.Discard()
	require.Greater(t, len(keys), 15)
	require.NoError(t, l.Verify())
	for _, key := range keys {
		for _, change := range []func(*badgerdb.Txn) error{
			func(txn *badgerdb.Txn) error { return txn.Delete(key) },
			func(txn *badgerdb.Txn) error { return txn.Set(key, []byte("something else")) },
		} {
			var old []byte
			require.NoError(t, l.db.Update(func(txn *badgerdb.Txn) error {
				item, err := txn.Get(key)
				if err != nil {
					return err
				}
				old, err = item.ValueCopy(nil)
				return errors.Join(err, change(txn))
			}))
			require.ErrorIs(t, l.Verify(), log.ErrDamaged, "%q", key)
			require.NoError(t, l.db.Update(func(txn *badgerdb.Txn) error { return txn.Set(key, old) }))
			require.NoError(t, l.Verify())
		}
	}
	require.NoError(t, l.Close())
}

// A run that is killed while it begins a write-ahead log leaves a file of no bytes. The
// log opens over it with all that was appended.
func TestKilledWhileBeginningALog(t *testing.T) {
	for _, name := range []string{"00099.mem", "000099.vlog"} {
		dir := filepath.Join(t.TempDir(), "log")
		l := open(t, dir)
		require.NoError(t, l.Append(t.Context(), batch(3, 0)))
		require.NoError(t, l.Close())
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), nil, 0o600))
		l = open(t, dir)
		require.NoError(t, l.Append(t.Context(), batch(2, 3)), "place 3 is next: all three are there")
		require.NoError(t, l.Close())
		open(t, dir).Close()
	}
}
