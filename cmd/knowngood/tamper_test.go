package main

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	"knowngood.example/cases/log/backup"
	"knowngood.example/cases/log/badger"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
	"knowngood.example/server"
)

// gathered is what a backup holds.
type gathered struct {
	records []log.Record
	index   []log.Write
	key     []byte
}

func (g *gathered) Head(backup.Head, log.Checkpoint) error { return nil }
func (g *gathered) Record(r log.Record) error              { g.records = append(g.records, r); return nil }
func (g *gathered) Index(w log.Write) error                { g.index = append(g.index, w); return nil }
func (g *gathered) File(name string, _ uint64, b []byte) error {
	if name == "key.json" {
		g.key = append(g.key, b...)
	}
	return nil
}

// forged makes the data folder of the same server with another history: everything is
// hashed and signed again, as somebody can who holds the database and the server's key.
func forged(t *testing.T, dir string, change func(e *eventv1.Entry, event []byte) []byte) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, server.BackupOf(t.Context(), dir, &b, server.Options{}))
	g := &gathered{}
	require.NoError(t, backup.Read(&b, g))
	var key struct {
		Log  string
		Seed []byte
	}
	require.NoError(t, json.Unmarshal(g.key, &key))
	out := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(out, "key.json"), g.key, 0o600))
	engine, err := badger.Open(filepath.Join(out, "log"), badger.Options{})
	require.NoError(t, err)
	tree, err := log.OpenTree(t.Context(), engine, log.TreeConfig{Log: key.Log, Key: ed25519.NewKeyFromSeed(key.Seed), File: filepath.Join(out, "checkpoint")})
	require.NoError(t, err)
	for i := range g.records {
		r, e := &g.records[i], new(eventv1.Entry)
		require.NoError(t, proto.Unmarshal(r.Entry, e))
		if event := change(e, r.Event); event != nil {
			r.Event, e.EventHash = event, envelope.Hash(event)
			r.Entry, err = proto.Marshal(e)
			require.NoError(t, err)
		}
	}
	_, err = tree.Append(t.Context(), log.Batch{Records: g.records, Index: g.index})
	require.NoError(t, err)
	require.NoError(t, tree.Close())
	require.NoError(t, engine.Close())
	return out
}

// TestTheServersKeyIsNotEnough: somebody who holds the database and the server's key
// writes another history. Whoever kept an old checkpoint finds out and takes nothing;
// whoever kept none finds out by the signature of the device in whose name it was
// written; and a backup of it is found out both ways.
func TestTheServersKeyIsNotEnough(t *testing.T) {
	t.Parallel()
	dir, home, fresh := t.TempDir(), t.TempDir(), t.TempDir()
	mara := &member{Home: client.Open(home, home+"/settings"), dir: home, road: newRoad(t, "")}
	defer mara.Close()
	var stream string
	t.Run("as it was", func(t *testing.T) {
		s := serveShops(t, dir, "Tin Kettle Garage")
		mara.road.leads(s.address)
		var err error
		mara.who, err = mara.Join(t.Context(), through(mara.road.address(), s.shops[0].Code), "Mara")
		require.NoError(t, err)
		require.NoError(t, mara.Close())
		require.NoError(t, os.CopyFS(fresh, os.DirFS(home))) // who she is, and nothing that she saw
		mara.Home = client.Open(home, home+"/settings")
		stream = mara.NewID()
		mara.save(t, opens(mara, stream), note(stream, "the fan draws 11 A"), note(stream, "the plug is clean"))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	})
	other := forged(t, dir, func(_ *eventv1.Entry, event []byte) []byte {
		if !bytes.Contains(event, []byte("11 A")) {
			return nil
		}
		return bytes.Replace(event, []byte("11 A"), []byte("41 A"), 1)
	})
	t.Run("another history", func(t *testing.T) {
		mara.road.leads(serveShops(t, other).address)
		before := kept(t, mara, stream)
		require.ErrorIs(t, mara.sync(context.WithoutCancel(t.Context()), 5*time.Second), client.ErrHistory, "an old checkpoint catches it")
		require.Equal(t, before, kept(t, mara, stream))

		ines := &member{Home: client.Open(fresh, fresh+"/settings"), who: mara.who, dir: fresh}
		defer ines.Close()
		require.NoError(t, ines.sync(t.Context(), 5*time.Second))
		p, err := ines.Proven(t.Context(), ines.who, stream, true)
		require.NoError(t, err)
		v := export.Verify(p.Export, ines.who.LogKey)
		require.Len(t, v.Problems, 2, "and the chain of the device's hashes: %v", v.Problems)
		require.Equal(t, 3, v.Problems[0].Line)
		require.Contains(t, v.Problems[0].What, "did not sign this")
		require.Contains(t, v.Problems[0].Says, "Mara's device did not sign it")
		require.Contains(t, v.Problems[0].Says, "somebody who could write in the server's log")
		// The file that says so is held against what the other home was told.
		against, err := mara.Against(t.Context(), mara.who, p.Export)
		require.NoError(t, err)
		require.Len(t, against, 2, "an entry and the tree: %v", against)
	})
	check := func(c *client.BackupCheck) string {
		var b bytes.Buffer
		require.NoError(t, server.BackupOf(t.Context(), other, &b, server.Options{}))
		require.NoError(t, backup.Read(&b, c))
		var said []string
		for _, p := range c.Problems() {
			said = append(said, p.What)
		}
		return strings.Join(said, "\n")
	}
	require.Contains(t, check(&client.BackupCheck{}), "did not sign this")
	require.Contains(t, check(&client.BackupCheck{LogKey: mara.who.LogKey, Seen: mara.Checkpoint()}), "not the log of")
	honest := &client.BackupCheck{LogKey: mara.who.LogKey, Seen: mara.Checkpoint()}
	var b bytes.Buffer
	require.NoError(t, server.BackupOf(t.Context(), dir, &b, server.Options{}))
	require.NoError(t, backup.Read(&b, honest))
	require.Empty(t, honest.Problems())
}

// TestReplicaChangedAtHome: what is changed in a home's own files is found with no
// server, and it is said that neither the writer nor the log did it.
func TestReplicaChangedAtHome(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := serveShops(t, dir, "Tin Kettle Garage")
	mara := joins(t, s, s.shops[0].Code, "Mara")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream), note(stream, "the fan draws 11 A"))
	for n := range 40 {
		mara.save(t, note(stream, strings.Repeat("x", n+1)))
	}
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	mara.road.set(false, 0)
	verify := func() (*client.Proven, *export.Verified) {
		p, err := mara.Proven(t.Context(), mara.who, stream, true)
		require.NoError(t, err)
		return p, export.Verify(p.Export, mara.who.LogKey)
	}
	p, v := verify()
	require.Empty(t, v.Problems)
	require.Len(t, p.Lines, 42)
	require.Zero(t, p.Rest)

	change := func(f func(r *log.Record, index *[]log.Write)) {
		require.NoError(t, mara.Close())
		old, made := filepath.Join(mara.dir, "replica", "log"), filepath.Join(t.TempDir(), "log")
		from, err := badger.Open(old, badger.Options{})
		require.NoError(t, err)
		to, err := badger.Open(made, badger.Options{})
		require.NoError(t, err)
		var b log.Batch
		for w, err := range from.Scan(t.Context(), "") {
			require.NoError(t, err)
			b.Index = append(b.Index, w)
		}
		for item, err := range from.Read(t.Context(), log.Range{}) {
			require.NoError(t, err)
			f(&item.Record, &b.Index)
			b.Records = append(b.Records, item.Record)
		}
		require.NoError(t, to.Append(t.Context(), b))
		require.NoError(t, from.Close())
		require.NoError(t, to.Close())
		require.NoError(t, os.RemoveAll(old))
		require.NoError(t, os.Rename(made, old))
		mara.again(t)
	}
	change(func(r *log.Record, _ *[]log.Write) {
		r.Event = bytes.Replace(r.Event, []byte("11 A"), []byte("41 A"), 1)
	})
	_, v = verify()
	require.Len(t, v.Problems, 1)
	require.Equal(t, 3, v.Problems[0].Line)
	require.Contains(t, v.Problems[0].Says, "changed in this copy")
	require.Contains(t, v.Problems[0].Says, "neither with its key nor with that of Mara's device")

	// A place that was made up: her words, and not the log's entry.
	change(func(r *log.Record, _ *[]log.Write) {
		r.Event = bytes.Replace(r.Event, []byte("41 A"), []byte("11 A"), 1)
		e := new(eventv1.Entry)
		require.NoError(t, proto.Unmarshal(r.Entry, e))
		if e.GetSeq() == 2 {
			e.Recorded.UnixSeconds -= 86400
			r.Entry, _ = proto.Marshal(e)
		}
	})
	_, v = verify()
	require.Len(t, v.Problems, 1)
	require.Contains(t, v.Problems[0].Says, "Mara's device signed these words")
	require.Contains(t, v.Problems[0].Says, "does not hold the entry")

	// Hashes that prove it: the next sync gets them anew.
	rot := false
	change(func(_ *log.Record, index *[]log.Write) {
		for i, w := range *index {
			if strings.HasPrefix(w.Key, "tile/") && !rot {
				rot = true
				(*index)[i].Value = append([]byte{w.Value[0] ^ 1}, w.Value[1:]...)
			}
		}
	})
	require.True(t, rot)
	_, v = verify()
	require.NotEmpty(t, v.Problems)
	require.Contains(t, v.Problems[0].What, "no proof")
	require.NoError(t, mara.ProveAnew())
	mara.road.set(true, 0)
	require.ErrorIs(t, mara.sync(t.Context(), 5*time.Second), client.ErrHistory, "the entry whose place was made up")
}
