package client

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// chainOf signs n notes of one device in one case, as another home would.
func chainOf(t *testing.T, who *Identity, stream string, n int) []*eventv1.Signed {
	t.Helper()
	h := testHome(t)
	for range n {
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "a note"))
		require.NoError(t, err)
	}
	return pending(t, h)
}

// oldHome lays a home out as it was before there was a replica: of the case's notes
// some were sent and fetched, one was refused, and two wait.
func oldHome(t *testing.T, dir string, who *Identity, stream string) []*eventv1.Signed {
	t.Helper()
	events := chainOf(t, who, stream, 6)
	write := func(name string, b []byte) {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, b, 0o600))
	}
	asJSON := func(v any) []byte {
		b, err := json.Marshal(v)
		require.NoError(t, err)
		return b
	}
	write("identity.json", asJSON(who))
	s := newTaker(who)
	_, err := s.Append(t.Context(), &boardv1.AppendRequest{Events: events[:3]})
	require.NoError(t, err)
	x := &export.Export{Head: export.Head{Case: stream, Log: "00112233445566aa"}}
	for _, held := range s.entries(t, stream) {
		x.Lines = append(x.Lines, export.Line{Entry: held.GetEntry(), Event: held.GetEvent(), Signature: events[len(x.Lines)].GetSignature()})
	}
	x.Head.Entries = len(x.Lines)
	var copied bytes.Buffer
	require.NoError(t, export.Write(&copied, x))
	write("cases/"+stream+".jsonl", copied.Bytes())
	no := refused(time.Now().Unix(), events[3], &boardv1.AppendResult{Id: newUUID(), Reason: boardv1.Reason_REASON_PLACE_TAKEN, Text: "taken"})
	write("tray.ndjson", append(asJSON(no), "\n{\"cut sh\n"...))
	write("chains.json", asJSON(map[string]link{stream: {4, envelope.Hash(events[3].GetEvent())}}))
	write("checkpoint", []byte("a checkpoint"))
	both, err := frameEvents(events[4:]...)
	require.NoError(t, err)
	write("pending", append(append([]byte(oldMagic), both...), "rec\ntorn"...))
	return events
}

// TestOlderHome: what was recorded with an older program is all there, once, and
// its files are kept.
func TestOlderHome(t *testing.T) {
	t.Parallel()
	dir, who, stream := t.TempDir(), testIdentity(t), newUUID()
	events := oldHome(t, dir, who, stream)
	var warned []string
	h := Open(dir, dir+"/settings")
	h.Warn = func(s string) { warned = append(warned, s) }
	for range 2 {
		equal(t, events[4:], pending(t, h))
		c, err := h.Kept(who, stream)
		require.NoError(t, err)
		require.Equal(t, uint64(3), c.Sent)
		require.Equal(t, 2, c.Waiting())
		tray, err := h.Tray()
		require.NoError(t, err)
		require.Len(t, tray, 1)
		require.Equal(t, events[3].GetEvent(), tray[0].Event)
		require.Equal(t, "a checkpoint", string(h.Checkpoint()))
		h = h.reopened(t)
	}
	require.Len(t, warned, 2)
	require.Contains(t, warned[0], "8 bytes")
	require.Contains(t, warned[0], "2 whole events are kept")
	require.Contains(t, warned[1], "tray.ndjson, line 2")
	for _, name := range []string{"pending", "chains.json", "tray.ndjson", "checkpoint", "cases"} {
		require.NoFileExists(t, h.path(name))
		_, err := os.Lstat(h.path(filepath.Join(oldFiles, name)))
		require.NoError(t, err)
	}
	saved, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "the next"))
	require.NoError(t, err)
	o, err := envelope.Open(saved[0].GetEvent())
	require.NoError(t, err)
	require.Equal(t, uint64(7), o.Event.GetDeviceSeq())
	require.Equal(t, envelope.Hash(events[5].GetEvent()), o.Event.GetPrev())
}

// TestOlderHomeInterrupted: taking over may end between any two files, and an older
// program may go on writing meanwhile.
func TestOlderHomeInterrupted(t *testing.T) {
	t.Parallel()
	dir, who, stream := t.TempDir(), testIdentity(t), newUUID()
	events := oldHome(t, dir, who, stream)
	old := t.TempDir()
	require.NoError(t, os.CopyFS(old, os.DirFS(dir)))
	h := Open(dir, dir+"/settings")
	h.Warn = func(string) {}
	equal(t, events[4:], pending(t, h))
	for _, name := range []string{"pending", "chains.json", "checkpoint", "tray.ndjson", "cases"} {
		require.NoError(t, h.Close())
		if name == "cases" {
			require.NoError(t, os.CopyFS(h.path(name), os.DirFS(filepath.Join(old, name))))
		} else {
			b, err := os.ReadFile(filepath.Join(old, name))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(h.path(name), b, 0o600))
		}
		h = h.reopened(t)
		equal(t, events[4:], pending(t, h))
		tray, err := h.Tray()
		require.NoError(t, err)
		require.Len(t, tray, 1, name)
		c, err := h.Kept(who, stream)
		require.NoError(t, err)
		require.Equal(t, uint64(5), c.Case.Head(), name)
	}
}

// copyFiles copies what a power cut would leave: files, no socket.
func copyFiles(t *testing.T, to, from string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		if err != nil || !d.IsDir() && !d.Type().IsRegular() {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil || d.IsDir() {
			return errors.Join(err, os.MkdirAll(filepath.Join(to, rel), 0o700))
		}
		b, err := os.ReadFile(path)
		return errors.Join(err, os.WriteFile(filepath.Join(to, rel), b, 0o600))
	}))
}

var damages = flag.Int("damages", 30, "how many copies of a replica TestDamagedReplica damages; 500 before a release")

// TestDamagedReplica: whatever bit of whatever file flips, or is cut off, everything
// that waited is still there, in its order, or was never lost sight of; numbers
// go on.
func TestDamagedReplica(t *testing.T) {
	t.Parallel()
	who, stream := testIdentity(t), newUUID()
	source := testHome(t)
	require.NoError(t, source.store("identity.json", who))
	source = source.reopened(t)
	for i := range 30 {
		_, err := source.Save(who, Stamp{At: source.now()}, aNote(stream, string(bytes.Repeat([]byte{byte('a' + i%26)}, 300))))
		require.NoError(t, err)
		if i == 10 {
			source = source.reopened(t) // some lie in a table by now, some in the write-ahead log
		}
	}
	want := pending(t, source)
	ends, err := source.ledger().chain(t.Context(), who.Device, stream)
	require.NoError(t, err)
	// A process that is killed leaves files like these.
	killed := t.TempDir()
	copyFiles(t, killed, source.dir)
	require.NoError(t, source.Close())
	var files []string
	require.NoError(t, filepath.WalkDir(killed, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() && filepath.Base(filepath.Dir(path)) != filepath.Base(killed) {
			files = append(files, path)
		}
		return err
	}))
	require.NotEmpty(t, files)
	cycles := *damages
	if testing.Short() {
		cycles = min(cycles, 10)
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d, %d files", seed, len(files))
	random := rand.New(rand.NewPCG(seed, 0))
	asides, lost := 0, 0
	for range cycles {
		dir := t.TempDir()
		copyFiles(t, dir, killed)
		rel, err := filepath.Rel(killed, files[random.IntN(len(files))])
		require.NoError(t, err)
		b, err := os.ReadFile(filepath.Join(dir, rel))
		require.NoError(t, err)
		if len(b) == 0 {
			continue
		}
		// Where something lies; most of a write-ahead log is the room that is left in it.
		at := random.IntN(max(len(bytes.TrimRight(b, "\x00")), 1))
		what := "flipped"
		if random.IntN(3) == 0 {
			what, b = "cut", b[:at]
		} else {
			b[at] ^= 1 << random.IntN(8)
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, rel), b, 0o600))
		h := Open(dir, dir+"/settings")
		aside := 0
		h.Warn = func(string) { aside++ }
		got := pending(t, h)
		held := make(map[string]bool)
		for _, s := range got {
			held[string(s.GetSignature())] = true
		}
		missing := 0
		for _, s := range want {
			if !held[string(s.GetSignature())] {
				missing++
			}
		}
		lost, asides = lost+missing, asides+aside
		// What a cut took away is gone; a flipped bit costs the one event it is in, no more.
		if what == "flipped" {
			require.LessOrEqual(t, missing, 1, "%s %s at %d of %d", what, rel, at, len(b))
		}
		if missing > 0 {
			require.Positive(t, aside, "%s %s at %d: lost in silence", what, rel, at)
		}
		if missing == 0 {
			equal(t, want, got)
			end, err := h.ledger().chain(t.Context(), who.Device, stream)
			require.NoError(t, err)
			require.Equal(t, ends, end)
		}
		require.NoError(t, h.Close())
	}
	t.Logf("%d of %d set aside, %d events lost to a cut or in the flipped event itself", asides, cycles, lost)
}
