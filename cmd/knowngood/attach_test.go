package main

import (
	"bytes"
	"crypto/sha256"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/export"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
	"knowngood.example/server"
)

// TestFilesOverARoadThatIsCut: a file goes and comes over a road that is cut again and
// again, gone on from each time, and arrives as it was; processes begin anew between.
func TestFilesOverARoadThatIsCut(t *testing.T) {
	t.Parallel()
	s := serveShops(t, t.TempDir(), "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara, ines := joins(t, s, s.shops[0].Code, "Mara"), joins(t, s, s.shops[1].Code, "Ines")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream))
	mara.save(t, handsTo(ines.who.Shop, 2, stream))
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	b := make([]byte, 5<<20)
	for i := range b {
		b[i] = byte(random.Uint32())
	}
	named, err := mara.KeepFile(stream, bytes.NewReader(b))
	require.NoError(t, err)
	sum := sha256.Sum256(b)
	require.Equal(t, sum[:], named.GetSha256())
	named.Name, named.MediaType = "capture.bin", "application/octet-stream"
	mara.save(t, &eventv1.Event{Stream: stream, Kind: &eventv1.Event_Attachment{Attachment: named}})
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))

	try := func(m *member, do func(*client.Conn) error) (cuts int) {
		for {
			m.road.set(true, int64(600_000+random.IntN(900_000)))
			_, conn, err := m.ConnectWithin(3 * time.Second)
			require.NoError(t, err)
			err = do(conn)
			require.NoError(t, conn.Close())
			if err == nil {
				return cuts
			}
			require.ErrorIs(t, err, client.ErrOffline)
			require.False(t, m.road.isOpen())
			cuts++
			require.Less(t, cuts, 30, "it does not get on")
			m.again(t)
		}
	}
	cuts := try(mara, func(c *client.Conn) error { _, err := mara.SendFiles(t.Context(), c); return err })
	require.Greater(t, cuts, 2)
	waiting, err := mara.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Empty(t, waiting)

	require.NoError(t, ines.sync(t.Context(), 5*time.Second))
	var path string
	came := try(ines, func(c *client.Conn) (err error) { path, err = ines.File(t.Context(), c, stream, named); return err })
	require.Greater(t, came, 2)
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(b, got))
	t.Logf("%d cuts on the way there, %d on the way back", cuts, came)

	// A copy that rots is found out, set aside, and fetched again.
	got[1234] ^= 1
	require.NoError(t, os.WriteFile(path, got, 0o600))
	ines.road.set(false, 0)
	_, err = ines.File(t.Context(), nil, stream, named)
	require.ErrorIs(t, err, client.ErrOffline)
	require.FileExists(t, path+".damaged")
	ines.road.set(true, 0)
	_, conn, err := ines.Connect()
	require.NoError(t, err)
	defer conn.Close()
	path, err = ines.File(t.Context(), conn, stream, named)
	require.NoError(t, err)
	got, err = os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(b, got))
}

// TestNamesOfFilesThatComeFromOthers: what somebody else called a file cannot leave the
// folder or hide in it.
func TestNamesOfFilesThatComeFromOthers(t *testing.T) {
	t.Parallel()
	sum := sha256.Sum256(nil)
	for said, plain := range map[string]bool{
		"splice.jpg": true, "meter capture 2.bin": true, "größe.txt": true,
		"": false, "..": false, "../x": false, "/etc/x": false, `a\b`: false, ".profile": false, "c:x": false, "a\x00b": false, "a\nb": false, "\x1b[31mred": false, string(bytes.Repeat([]byte("x"), 300)): false,
	} {
		got := client.PlainName(&eventv1.Attachment{Name: said, Sha256: sum[:]})
		require.Equal(t, plain, got == said, "%q became %q", said, got)
		require.Equal(t, got, filepath.Base(got))
	}
}

// TestRestoredServerGetsFilesAgain: a file that came after the backup is sent again,
// though no entry is missing that this home saw.
func TestRestoredServerGetsFilesAgain(t *testing.T) {
	t.Parallel()
	dir, home := filepath.Join(t.TempDir(), "data"), t.TempDir()
	mara := &member{Home: client.Open(home, home+"/settings"), dir: home, road: newRoad(t, "")}
	defer mara.Close()
	bytesOf := []byte("an invented photograph")
	var copied bytes.Buffer
	var stream string
	var named *eventv1.Attachment
	t.Run("backed up before the file came", func(t *testing.T) {
		s := serveShops(t, dir, "Tin Kettle Garage")
		mara.road.leads(s.address)
		var err error
		mara.who, err = mara.Join(t.Context(), through(mara.road.address(), s.shops[0].Code), "Mara")
		require.NoError(t, err)
		stream = mara.NewID()
		mara.save(t, opens(mara, stream))
		named, err = mara.KeepFile(stream, bytes.NewReader(bytesOf))
		require.NoError(t, err)
		named.Name, named.MediaType = "splice.jpg", "image/jpeg"
		mara.save(t, &eventv1.Event{Stream: stream, Kind: &eventv1.Event_Attachment{Attachment: named}})
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
		require.NoError(t, s.Backup(t.Context(), &copied))
		require.Equal(t, 1, mara.sendsFiles(t))
		require.Zero(t, mara.sendsFiles(t))
	})
	_, err := server.Restore(t.Context(), bytes.NewReader(copied.Bytes()), dir, server.Options{})
	require.NoError(t, err)
	t.Run("restored", func(t *testing.T) {
		mara.road.leads(serveShops(t, dir).address)
		require.NoError(t, mara.sync(t.Context(), 5*time.Second), "nothing is missing that was seen")
		require.Equal(t, 1, mara.sendsFiles(t))
		require.NoError(t, mara.DropFile(stream, named.GetSha256()))
		_, conn, err := mara.Connect()
		require.NoError(t, err)
		defer conn.Close()
		path, err := mara.File(t.Context(), conn, stream, named)
		require.NoError(t, err)
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, bytesOf, got)
	})
}

// sendsFiles sends what waits and returns how many files went.
func (m *member) sendsFiles(t testing.TB) int {
	t.Helper()
	_, conn, err := m.Connect()
	require.NoError(t, err)
	defer conn.Close()
	n, err := m.SendFiles(t.Context(), conn)
	require.NoError(t, err)
	return n
}

// TestRottenReplicaIsRebuilt: a home whose replica rots is set aside, what waited is
// saved from it first, and the rest comes again from the server, proven.
func TestRottenReplicaIsRebuilt(t *testing.T) {
	t.Parallel()
	s := serveShops(t, t.TempDir(), "Tin Kettle Garage")
	mara := joins(t, s, s.shops[0].Code, "Mara")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream), note(stream, "sent"))
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	mara.road.set(false, 0)
	mara.save(t, note(stream, "waits"), note(stream, "waits too"))
	require.NoError(t, mara.Close())
	files, err := filepath.Glob(filepath.Join(mara.dir, "replica", "log", "*.sst"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		b[len(b)-20] ^= 4
		require.NoError(t, os.WriteFile(f, b, 0o600))
	}
	var warned []string
	mara.Home = client.Open(mara.dir, mara.dir+"/settings")
	defer mara.Close()
	mara.Warn = func(text string) { warned = append(warned, text) }
	require.GreaterOrEqual(t, mara.waits(t), 2, "what was answered already may be among it")
	require.NotEmpty(t, warned)
	require.Contains(t, warned[0], "set aside")
	aside, err := filepath.Glob(filepath.Join(mara.dir, "replica", "damaged-*"))
	require.NoError(t, err)
	require.Len(t, aside, 1)
	_, err = mara.Proven(t.Context(), mara.who, stream, true)
	require.ErrorIs(t, err, client.ErrNotFound)

	mara.road.set(true, 0)
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	require.Zero(t, mara.waits(t))
	p, err := mara.Proven(t.Context(), mara.who, stream, true)
	require.NoError(t, err)
	require.Len(t, p.Lines, 4)
	require.Empty(t, export.Verify(p.Export, mara.who.LogKey).Problems)
	require.Equal(t, told(t, mara, stream), kept(t, mara, stream))
}
