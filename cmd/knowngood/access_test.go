package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestPullWhatMayBeSeen: a case that is handed over comes whole from its first entry;
// once access is withdrawn no more comes and what was told stays; given again, all
// that came meanwhile is there.
func TestPullWhatMayBeSeen(t *testing.T) {
	t.Parallel()
	s := serveShops(t, "", "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara, ines := joins(t, s, s.shops[0].Code, "Mara"), joins(t, s, s.shops[1].Code, "Ines")
	stream := mara.NewID()
	sync := func(m *member) {
		t.Helper()
		require.NoError(t, m.sync(t.Context(), 5*time.Second))
		tray, err := m.Tray()
		require.NoError(t, err)
		require.Empty(t, tray)
	}
	notes := func(n int) {
		for range n {
			mara.save(t, note(stream, "a note"))
		}
		sync(mara)
	}
	head := func() uint64 { return uint64(len(told(t, mara, stream))) }

	mara.save(t, opens(mara, stream))
	notes(130) // more than a message
	sync(ines)
	require.Empty(t, kept(t, ines, stream))

	mara.save(t, handsTo(ines.who.Shop, head()+1, stream))
	notes(3)
	sync(ines)
	require.Equal(t, told(t, mara, stream), kept(t, ines, stream))

	expect := head() + 1
	mara.save(t, &eventv1.Event{Stream: stream, Expect: &expect, Kind: &eventv1.Event_AccessWithdrawn{AccessWithdrawn: &eventv1.AccessWithdrawn{Shop: ines.who.Shop}}})
	before := kept(t, ines, stream)
	notes(70)
	sync(ines)
	require.Equal(t, before, kept(t, ines, stream), "what was told stays, and no more comes")
	// What she writes all the same is refused and kept.
	ines.save(t, note(stream, "too late"))
	require.NoError(t, ines.sync(t.Context(), 5*time.Second))
	tray, err := ines.Tray()
	require.NoError(t, err)
	require.Len(t, tray, 1)
	require.NoError(t, ines.Settled(tray[0].ID, ines.NewID()))

	mara.save(t, handsTo(ines.who.Shop, head()+1, stream))
	notes(1)
	sync(ines)
	require.Equal(t, told(t, mara, stream), kept(t, ines, stream))
}

// TestAnotherHistory: whoever holds the server's database and key can put an older
// log in its place and go on from there. A home that saw more takes nothing of it,
// however long it grows.
func TestAnotherHistory(t *testing.T) {
	t.Parallel()
	dir, older, home := t.TempDir(), t.TempDir(), t.TempDir()
	mara := &member{road: newRoad(t, "")}
	stream := ""
	t.Run("the log as it was told", func(t *testing.T) {
		s := serveShops(t, dir, "Tin Kettle Garage")
		mara.road.leads(s.address)
		mara.Home, mara.dir = client.Open(home, home+"/settings"), home
		var err error
		mara.who, err = mara.Join(t.Context(), through(mara.road.address(), s.shops[0].Code), "Mara")
		require.NoError(t, err)
		stream = mara.NewID()
		mara.save(t, opens(mara, stream))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	})
	require.NoError(t, os.CopyFS(older, os.DirFS(dir)))
	require.NoError(t, os.Chmod(filepath.Join(older, "key.json"), 0o600))
	// The one whose home forgets what it saw can still be deceived; it stands for the
	// forger, who has no memory to be held against.
	forger := t.TempDir()
	require.NoError(t, mara.Close())
	require.NoError(t, os.CopyFS(forger, os.DirFS(mara.dir)))
	mara.Home = client.Open(mara.dir, mara.dir+"/settings")
	defer mara.Close()
	t.Run("goes on", func(t *testing.T) {
		mara.road.leads(serveShops(t, dir).address)
		mara.save(t, note(stream, "seen"), note(stream, "seen too"))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	})
	t.Run("and is another", func(t *testing.T) {
		mara.road.leads(serveShops(t, older).address)
		other := &member{Home: client.Open(forger, forger+"/settings"), who: mara.who, dir: forger}
		defer other.Close()
		for n := range 6 {
			before, checkpoint := kept(t, mara, stream), string(mara.Checkpoint())
			err := mara.sync(context.WithoutCancel(t.Context()), 5*time.Second)
			require.ErrorIs(t, err, client.ErrHistory, "with %d entries more", n)
			require.Equal(t, before, kept(t, mara, stream))
			require.Equal(t, checkpoint, string(mara.Checkpoint()))
			other.save(t, note(stream, "never seen before"))
			require.NoError(t, other.sync(t.Context(), 5*time.Second))
		}
		// A person accepts it all the same. What was acknowledged and is missing is offered
		// again: nothing that anybody recorded is lost with the log that was.
		before := kept(t, mara, stream)
		require.Len(t, before, 3)
		mara.accepts(t, 2)
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
		require.Equal(t, 2, mara.waits(t))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
		require.Zero(t, mara.waits(t))
		c, err := mara.Kept(mara.who, stream)
		require.NoError(t, err)
		require.Equal(t, uint64(1+6), c.Sent, "the two have the numbers that others took meanwhile")
		tray, err := mara.Tray()
		require.NoError(t, err)
		require.Len(t, tray, 2, "and are kept where they can be recorded again from")
	})
}

// TestRestoredIsOfferedAgain: a log restored to before what was acknowledged gets
// back, once a person accepted it, what its clients were told.
func TestRestoredIsOfferedAgain(t *testing.T) {
	t.Parallel()
	dir, older, home := t.TempDir(), t.TempDir(), t.TempDir()
	mara := &member{Home: client.Open(home, home+"/settings"), dir: home, road: newRoad(t, "")}
	defer mara.Close()
	var stream, second string
	var acknowledged []string
	t.Run("a backup", func(t *testing.T) {
		s := serveShops(t, dir, "Tin Kettle Garage")
		mara.road.leads(s.address)
		var err error
		mara.who, err = mara.Join(t.Context(), through(mara.road.address(), s.shops[0].Code), "Mara")
		require.NoError(t, err)
		stream, second = mara.NewID(), mara.NewID()
		mara.save(t, opens(mara, stream))
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	})
	require.NoError(t, os.CopyFS(older, os.DirFS(dir)))
	require.NoError(t, os.Chmod(filepath.Join(older, "key.json"), 0o600))
	t.Run("and what came after it", func(t *testing.T) {
		mara.road.leads(serveShops(t, dir).address)
		for _, s := range append(mara.save(t, note(stream, "after the backup"), note(stream, "and this")), mara.save(t, opens(mara, second), note(second, "in a case of its own"))...) {
			acknowledged = append(acknowledged, string(s.GetEvent()))
		}
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	})
	t.Run("restored", func(t *testing.T) {
		mara.road.leads(serveShops(t, older).address)
		require.ErrorIs(t, mara.sync(t.Context(), 5*time.Second), client.ErrHistory)
		mara.accepts(t, 4)
		mara.save(t, note(stream, "recorded meanwhile"))
		for range 3 {
			require.NoError(t, mara.sync(t.Context(), 5*time.Second))
		}
		require.Zero(t, mara.waits(t))
		tray, err := mara.Tray()
		require.NoError(t, err)
		require.Empty(t, tray)
		all := append(told(t, mara, stream), told(t, mara, second)...)
		require.Len(t, all, 2+1+1+2)
		for _, event := range acknowledged {
			found := 0
			for _, entry := range all {
				if strings.HasSuffix(entry, "\x00"+event) {
					found++
				}
			}
			require.Equal(t, 1, found)
		}
		require.Equal(t, told(t, mara, stream), kept(t, mara, stream))
		require.Equal(t, told(t, mara, second), kept(t, mara, second))
	})
}

// accepts what a restored server has now, once so many entries were found missing.
func (m *member) accepts(t testing.TB, missing int) {
	t.Helper()
	_, conn, err := m.Connect()
	require.NoError(t, err)
	defer conn.Close()
	lost, err := m.Lost(t.Context(), m.who, conn)
	require.NoError(t, err)
	require.Len(t, lost.Entries, missing)
	require.NoError(t, m.AcceptRestored(lost.Checkpoint))
}
