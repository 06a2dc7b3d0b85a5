package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	"knowngood.example/cases/log/backup"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func openWorld(t testing.TB, dir string) *world {
	t.Helper()
	c := &clock{t: noon}
	s, err := Open(dir, Options{Now: c.now, Limits: Limits{JoinTries: 1000}})
	require.NoError(t, err)
	return serveWorld(t, s, c)
}

// all is everything that a log says, feeds and index included.
func all(t testing.TB, s *Server) (records, index []string) {
	t.Helper()
	feeds := map[uint64][]string{}
	for _, name := range s.register.feeds() {
		for item, err := range s.log.Read(t.Context(), log.Range{Feed: name}) {
			require.NoError(t, err)
			feeds[item.Index] = append(feeds[item.Index], name)
		}
	}
	for item, err := range s.log.Read(t.Context(), log.Range{}) {
		require.NoError(t, err)
		f := feeds[item.Index]
		records = append(records, fmt.Sprintf("%d %s %d %x %x %x %d", item.Index, item.Stream, item.Seq, item.Entry, item.Event, item.Tree, len(f)))
	}
	for w, err := range s.log.Scan(t.Context(), "") {
		require.NoError(t, err)
		if w.Key[0] != 0 {
			index = append(index, fmt.Sprintf("%x %x", w.Key, w.Value))
		}
	}
	return records, index
}

// TestRestore: a backup taken while people write holds a whole log of one moment;
// restored, entries, feeds, index, files and root are equal byte for byte, a new epoch
// begins from them, each register says so, and everybody goes on with their token.
func TestRestore(t *testing.T) {
	t.Parallel()
	dir, other := t.TempDir(), filepath.Join(t.TempDir(), "restored")
	var copied bytes.Buffer
	var stream string
	var before *member
	var was log.Checkpoint
	var records, index []string
	t.Run("backed up", func(t *testing.T) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "judgement.json"), []byte("{}"), 0o600))
		w := openWorld(t, dir)
		before = w.shopOwner("Tin Kettle Garage (invented)")
		w.shopOwner("Lantern Lane Diagnostics (invented)")
		stream = before.opens()
		before.tried(stream, &eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{}}}) // for the tray
		var busy sync.WaitGroup
		stop := make(chan struct{})
		busy.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
					before.put(stream, noted("while it is backed up"))
				}
			}
		})
		for range 5 {
			var b bytes.Buffer
			require.NoError(t, w.Backup(t.Context(), &b))
			require.NoError(t, backup.Read(&b, onlyHead{&restoring{out: &Restored{}}}))
		}
		close(stop)
		busy.Wait()
		require.NoError(t, w.Backup(t.Context(), &copied))
		was, _ = w.tree.Checkpoint()
		records, index = all(t, w.Server)
		require.NotZero(t, w.register.access(stream))
	})
	r, err := Restore(t.Context(), bytes.NewReader(copied.Bytes()), other, Options{})
	require.NoError(t, err)
	require.Equal(t, was.Size, r.Entries)
	require.Equal(t, uint64(2), r.Epoch)
	require.Equal(t, 2, r.Files)
	require.Empty(t, r.Aside)
	for _, name := range []string{"key.json", "judgement.json"} {
		want, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(other, name))
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	w := openWorld(t, other)
	now, _ := w.tree.Checkpoint()
	require.Equal(t, was.Size+2, now.Size)
	require.Equal(t, uint64(2), now.Epoch)
	require.Equal(t, was.Size, now.FromSize)
	require.Equal(t, was.Root, now.FromRoot)
	proof, err := w.tree.ProveBetween(t.Context(), was.Size, now.Size)
	require.NoError(t, err)
	require.NoError(t, log.VerifyConsistency(was, now, proof), "whoever saw no more goes on without being asked")
	gotRecords, gotIndex := all(t, w.Server)
	require.Equal(t, records, gotRecords[:len(records)])
	for _, x := range index {
		if !bytes.HasPrefix([]byte(x), fmt.Appendf(nil, "%x", prefixOwn)) { // the server wrote on
			require.Contains(t, gotIndex, x)
		}
	}
	said := 0
	for _, shop := range w.register.ids() {
		for item, err := range w.log.Read(t.Context(), log.Range{Stream: shop}) {
			require.NoError(t, err)
			o, err := envelope.Open(item.Event)
			require.NoError(t, err)
			if x := o.Event.GetRestored(); x != nil {
				said++
				require.Equal(t, was.Size, x.GetSize())
				require.Equal(t, was.Root[:], x.GetRoot())
				require.Equal(t, uint64(2), x.GetEpoch())
			}
		}
	}
	require.Equal(t, 2, said)
	conn := w.dial()
	before.board, before.register = boardv1.NewBoardServiceClient(conn), boardv1.NewRegisterServiceClient(conn)
	before.put(stream, noted("and goes on"))
}

// small is a backup of a server with one case.
func small(t testing.TB, dir string) []byte {
	t.Helper()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	_, err = s.OpenShop(t.Context(), "One (invented)", "EUR", true)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, s.Backup(t.Context(), &b))
	require.NoError(t, s.Stop(context.Background()))
	return b.Bytes()
}

// TestNoDamagedBackupIsRestored: every byte flipped, every cut, and 10,000 inputs with
// more done to them: each is refused, nothing is left behind, and the server that was
// there starts as it was.
func TestNoDamagedBackupIsRestored(t *testing.T) {
	t.Parallel()
	parent := t.TempDir()
	dir := filepath.Join(parent, "data")
	b := small(t, dir)
	refused := func(what string, b []byte) {
		_, err := Restore(t.Context(), bytes.NewReader(b), dir, Options{})
		require.Error(t, err, what)
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d, %d bytes", seed, len(b))
	random := rand.New(rand.NewPCG(seed, 0))
	inputs := 0
	for at := range b {
		x := bytes.Clone(b)
		x[at] ^= 1 << random.IntN(8)
		refused(fmt.Sprint("flipped ", at), x)
		refused(fmt.Sprint("cut ", at), b[:at])
		inputs += 2
	}
	most := 10_000
	if raceEnabled {
		most = inputs + 500
	}
	for ; inputs < most; inputs++ {
		x := bytes.Clone(b)
		for range 1 + random.IntN(5) {
			at := random.IntN(len(x))
			if x[at] = byte(random.Uint32()); random.IntN(3) == 0 {
				x = append(x[:at:at], x[min(at+random.IntN(50), len(x)-1):]...)
			}
		}
		if !bytes.Equal(x, b) {
			refused(fmt.Sprintf("input %d of seed %d", inputs, seed), x)
		}
	}
	left, err := os.ReadDir(parent)
	require.NoError(t, err)
	require.Len(t, left, 1, "a refused backup leaves nothing behind")
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	require.NoError(t, s.Stop(context.Background()))
	r, err := Restore(t.Context(), bytes.NewReader(b), dir, Options{})
	require.NoError(t, err)
	require.DirExists(t, r.Aside)
}

// TestRestoreIsRefused: where it would take something from somebody.
func TestRestoreIsRefused(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data")
	b := small(t, dir)
	another := filepath.Join(t.TempDir(), "another")
	small(t, another)
	_, err := Restore(t.Context(), bytes.NewReader(b), another, Options{})
	require.ErrorContains(t, err, "a backup of another server")

	s, err := Open(dir, Options{})
	require.NoError(t, err)
	_, err = Restore(t.Context(), bytes.NewReader(b), dir, Options{})
	require.ErrorIs(t, err, log.ErrHeld)
	require.ErrorContains(t, err, "in use")
	require.NoError(t, s.Stop(context.Background()))

	elsewhere := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(elsewhere, "letter.txt"), []byte("mine"), 0o600))
	_, err = Restore(t.Context(), bytes.NewReader(b), elsewhere, Options{})
	require.ErrorContains(t, err, "no server's data folder")
	require.FileExists(t, filepath.Join(elsewhere, "letter.txt"))

	_, err = Restore(t.Context(), bytes.NewReader(b), dir, Options{Reserve: math.MaxInt64})
	require.ErrorIs(t, err, log.ErrFull)
	left, err := os.ReadDir(filepath.Dir(dir))
	require.NoError(t, err)
	require.Len(t, left, 1)
}

// filesOf yields files by their names and bytes.
func filesOf(named ...string) iter.Seq2[backup.File, error] {
	return func(yield func(backup.File, error) bool) {
		for i := 0; i+1 < len(named); i += 2 {
			if !yield(backup.File{Name: named[i], Reader: strings.NewReader(named[i+1])}, nil) {
				return
			}
		}
	}
}

// TestMadeUpBackups: whole by their sum, and made by somebody who means harm.
func TestMadeUpBackups(t *testing.T) {
	t.Parallel()
	parent := t.TempDir()
	w := newWorld(t, Options{})
	w.shopOwner("One (invented)")
	at, signed := w.tree.Checkpoint()
	own, err := os.ReadFile(keyPath(w.dir))
	require.NoError(t, err)
	another := t.TempDir()
	small(t, another)
	theirs, err := os.ReadFile(keyPath(another))
	require.NoError(t, err)
	for name, c := range map[string]struct {
		files []string
		says  string
	}{
		"no key":                {nil, "the server's key is not in it"},
		"another's key":         {[]string{"key.json", string(theirs)}, "not the one that signed its checkpoint"},
		"no whole key":          {[]string{"key.json", "{}"}, "not whole"},
		"files of the engine":   {[]string{"log/000001.sst", "x", "key.json", string(own)}, "a server makes itself"},
		"a checkpoint":          {[]string{"checkpoint", "x", "key.json", string(own)}, "a server makes itself"},
		"a socket":              {[]string{"host", "/somewhere", "key.json", string(own)}, "a server makes itself"},
		"a file and its folder": {[]string{"a", "x", "a/b", "x", "key.json", string(own)}, "cannot restore a/b"},
	} {
		var b bytes.Buffer
		require.NoError(t, backup.Write(t.Context(), &b, w.log, backup.Moment{
			Head: backup.Head{Log: w.identity.log, LogKey: w.logKey, Checkpoint: string(signed)}, Size: at.Size, Feeds: w.register.feeds(),
			Index: w.log.Scan(t.Context(), ""), Files: filesOf(c.files...),
		}), name)
		_, err := Restore(t.Context(), bytes.NewReader(b.Bytes()), filepath.Join(parent, "data"), Options{})
		require.ErrorContains(t, err, c.says, name)
	}
	left, err := os.ReadDir(parent)
	require.NoError(t, err)
	require.Empty(t, left)
}

// TestRestoreCutShort: no new server begins where one was being put back, and whoever
// restores again gets it.
func TestRestoreCutShort(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data")
	b := small(t, dir)
	require.NoError(t, os.Rename(dir, dir+".before-20260302T120000.000000000Z"))
	_, err := Open(dir, Options{})
	require.ErrorContains(t, err, "a restore was cut short")
	require.NoDirExists(t, dir)
	_, err = Restore(t.Context(), bytes.NewReader(b), dir, Options{})
	require.NoError(t, err)
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	require.NoError(t, s.Stop(context.Background()))
}

// TestEpochsRise: the same backup twice does not give two histories one epoch.
func TestEpochsRise(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data")
	b := small(t, dir)
	for n := range 3 {
		r, err := Restore(t.Context(), bytes.NewReader(b), dir, Options{})
		require.NoError(t, err)
		require.Equal(t, uint64(n+2), r.Epoch)
	}
}

// TestBackupOverTheSocket: whoever runs the server gets a backup from the process that
// has the folder open, from the files when there is none, and none of what is no
// server's.
func TestBackupOverTheSocket(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	small(t, dir)
	read := func() log.Checkpoint {
		var b bytes.Buffer
		require.NoError(t, BackupOf(t.Context(), dir, &b, Options{}))
		r := &restoring{out: &Restored{}}
		require.NoError(t, backup.Read(&b, onlyHead{r}))
		return r.checkpoint
	}
	w := openWorld(t, dir)
	w.shopOwner("Two (invented)")
	want, _ := w.tree.Checkpoint()
	require.Equal(t, want, read())
	require.NoError(t, w.Stop(context.Background()))
	require.Equal(t, want, read())
	require.Error(t, BackupOf(t.Context(), t.TempDir(), &bytes.Buffer{}, Options{}))
}

// failing takes so many bytes.
type failing struct{ left int }

func (f *failing) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, errors.New("no room")
	}
	return len(b), nil
}

// TestBackupThatCannotBeWritten says so, and the server goes on.
func TestBackupThatCannotBeWritten(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	w.shopOwner("One (invented)")
	require.ErrorContains(t, w.Backup(t.Context(), &failing{100}), "no room")
	w.shopOwner("Two (invented)")
}
