package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

var (
	pulls     = flag.Int("pulls", 16, "how many steps TestPartedNetworks plays, with cables pulled on some; 500 before a release")
	schedules = flag.Int("schedules", 6, "how many seeded schedules of partitions TestPartitions plays; 500 before a release")
	backlog   = flag.Int("backlog", 3000, "how many events wait in TestBacklog; 50000 before a release")
	cycles    = flag.Int("sync-kills", 12, "how often TestKilledWhileSyncing kills the client; 1000 before a release")
)

// told are the entries of a case as a server has them, and as a home has them.
func told(t testing.TB, m *member, stream string) []string {
	t.Helper()
	_, conn, err := m.Connect()
	require.NoError(t, err)
	defer conn.Close()
	in, err := conn.Entries(t.Context(), &boardv1.EntriesRequest{Stream: stream})
	require.NoError(t, err)
	var list []string
	for {
		r, err := in.Recv()
		if err != nil {
			return list
		}
		for _, held := range r.GetEntries() {
			list = append(list, string(held.GetEntry())+"\x00"+string(held.GetEvent()))
		}
	}
}

func kept(t testing.TB, m *member, stream string) []string {
	t.Helper()
	var list []string
	require.NoError(t, m.Held(t.Context(), stream, func(entry, event []byte) error {
		list = append(list, string(entry)+"\x00"+string(event))
		return nil
	}))
	return list
}

// TestPartitions plays seeded schedules: three homes of two shops record, send and
// fetch while their roads are cut, also in the middle of a message, and their
// processes begin anew. Once all roads are open every replica has every case byte
// for byte as the server has it, and everything that was saved is in it once.
func TestPartitions(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	for n := range *schedules {
		// Each closes what it opened: five hundred are more files than a process may have.
		t.Run(fmt.Sprint(seed+uint64(n)), func(t *testing.T) { playPartition(t, seed+uint64(n)) })
	}
	t.Logf("%d schedules from seed %d: every replica is what the server has", *schedules, seed)
}

func playPartition(t *testing.T, seed uint64) {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 0))
	s := serveShops(t, "", "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara, ines := joins(t, s, s.shops[0].Code, "Mara"), joins(t, s, s.shops[1].Code, "Ines")
	_, conn, err := mara.Connect()
	require.NoError(t, err)
	invited, err := conn.Invite(t.Context(), &boardv1.InviteRequest{Role: 2})
	require.NoError(t, err)
	require.NoError(t, conn.Close())
	timo := joins(t, s, invited.GetCode(), "Timo")
	all := []*member{mara, ines, timo}
	var streams []string
	saved := map[string]bool{}
	for range 2 {
		stream := mara.NewID()
		streams = append(streams, stream)
		mara.save(t, opens(mara, stream))
		mara.save(t, handsTo(ines.who.Shop, 2, stream))
	}
	for _, m := range all {
		require.NoError(t, m.sync(t.Context(), 5*time.Second))
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	for range 60 {
		m := all[random.IntN(len(all))]
		switch random.IntN(8) {
		case 0:
			m.road.set(false, 0)
		case 1:
			m.road.set(true, 0)
		case 2:
			m.road.set(true, int64(1+random.IntN(8000)))
		case 3:
			m.again(t)
		case 4, 5:
			for range 1 + random.IntN(4) {
				e := note(streams[random.IntN(len(streams))], fmt.Sprint("note ", random.Uint64()))
				m.save(t, e)
				saved[e.GetId()] = true
			}
		default:
			err := m.sync(ctx, 2*time.Second)
			if err != nil {
				require.ErrorIs(t, err, client.ErrOffline, "seed %d", seed)
			}
		}
	}
	for _, m := range all {
		m.road.set(true, 0)
		require.NoError(t, m.sync(ctx, 5*time.Second), "seed %d", seed)
		require.Zero(t, m.waits(t))
		tray, err := m.Tray()
		require.NoError(t, err)
		require.Empty(t, tray, "seed %d", seed)
	}
	found := map[string]int{}
	for _, m := range all {
		require.NoError(t, m.sync(ctx, 5*time.Second))
	}
	for _, stream := range streams {
		want := told(t, mara, stream)
		require.NotEmpty(t, want)
		for _, m := range all {
			require.Equal(t, want, kept(t, m, stream), "seed %d", seed)
			require.Equal(t, string(mara.Checkpoint()), string(m.Checkpoint()))
		}
		c, err := mara.Kept(mara.who, stream)
		require.NoError(t, err)
		for _, step := range c.Case.Steps() {
			found[step.ID]++
		}
	}
	for id := range saved {
		require.Equal(t, 1, found[id], "seed %d: %s", seed, id)
	}
}

// syncs runs 'knowngood sync' of a home as a process of its own.
func syncs(t testing.TB, dir string) *exec.Cmd {
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.CommandContext(t.Context(), self)
	cmd.Args = []string{"knowngood", "--home", dir, "sync", "-o", "csv"}
	return cmd
}

var peak = regexp.MustCompile(`RssAnon:\s+(\d+) kB`)

// memory is how many MB of its own a process has. Pages of mapped files come on top:
// the engine maps its tables, and the system takes those pages back when it wants
// the room.
func memory(pid int) int {
	b, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "status"))
	if err != nil {
		return 0 // it has just ended
	}
	var kb int
	if m := peak.FindSubmatch(b); m != nil {
		kb, _ = strconv.Atoi(string(m[1]))
	}
	return kb >> 10
}

// TestBacklog: what was recorded in a long time without signal goes out over a
// road that is cut and with a client that is killed, 30 times in all, in bounded
// memory; all of it arrives once, in order, and comes to another home the same way.
func TestBacklog(t *testing.T) {
	t.Parallel()
	s := serveShops(t, t.TempDir(), "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara, ines := joins(t, s, s.shops[0].Code, "Mara"), joins(t, s, s.shops[1].Code, "Ines")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream))
	mara.save(t, handsTo(ines.who.Shop, 2, stream))
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	require.NoError(t, ines.sync(t.Context(), 5*time.Second))
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))

	began := time.Now()
	for at := 0; at < *backlog; {
		var group []string
		for range min(100, *backlog-at) {
			group = append(group, fmt.Sprintf("note %d: %s", at, strings.Repeat("as it was in the yard ", 1+random.IntN(20))))
			at++
		}
		ines.save(t, notesOf(stream, group)...)
	}
	t.Logf("%d events saved in %v", *backlog, time.Since(began).Round(time.Millisecond))
	require.NoError(t, ines.Close()) // the child has it now
	began = time.Now()
	most, interruptions := interrupted(t, ines, 30, random)
	t.Logf("sent in %v with %d interruptions, the client had at most %d MB", time.Since(began).Round(time.Millisecond), interruptions, most)
	require.Less(t, most, 150)
	require.Positive(t, most)
	require.GreaterOrEqual(t, interruptions, 30)
	ines.again(t)
	require.Zero(t, ines.waits(t))
	want := told(t, mara, stream)
	require.Len(t, want, *backlog+3) // and the opening, the hand-off and its grant
	for i, entry := range want[3:] {
		require.Contains(t, entry, fmt.Sprintf("note %d: ", i))
	}
	require.Equal(t, want, kept(t, ines, stream))

	// And into a replica that has nothing of it yet, in the same way.
	require.NoError(t, mara.Close())
	began = time.Now()
	most, interruptions = interrupted(t, mara, 30, random)
	t.Logf("fetched in %v with %d interruptions, the client had at most %d MB", time.Since(began).Round(time.Millisecond), interruptions, most)
	require.Less(t, most, 150)
	mara.again(t)
	require.Equal(t, want, kept(t, mara, stream))
}

// interrupted syncs the home until all is done, cutting its road as it goes, so many
// times, and half of those killing the process as well.
func interrupted(t *testing.T, m *member, times int, random *rand.Rand) (most, interruptions int) {
	t.Helper()
	for {
		if interruptions < times {
			// Behind a little more than each connection begins with: all get on.
			m.road.set(true, int64(20_000+random.IntN(60_000)))
		} else {
			m.road.set(true, 0)
		}
		cmd := syncs(t, m.dir)
		require.NoError(t, cmd.Start())
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		kill := random.IntN(2) == 0
		for running := true; running; {
			most = max(most, memory(cmd.Process.Pid))
			if kill && !m.road.isOpen() {
				kill = false
				kills(t, cmd)
			}
			select {
			case err := <-ended:
				running = false
				if err == nil {
					return most, interruptions
				}
				require.False(t, m.road.isOpen(), "it ended by itself: %v", err)
				interruptions++
			case <-time.After(2 * time.Millisecond):
			}
		}
	}
}

// TestKilledWhileSyncing kills the client at any moment while it sends and fetches:
// nothing is lost, nothing comes twice, and the replica is what the server has.
func TestKilledWhileSyncing(t *testing.T) {
	t.Parallel()
	s := serveShops(t, "", "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara, ines := joins(t, s, s.shops[0].Code, "Mara"), joins(t, s, s.shops[1].Code, "Ines")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream))
	mara.save(t, handsTo(ines.who.Shop, 2, stream))
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	require.NoError(t, ines.sync(t.Context(), 5*time.Second))
	require.NoError(t, ines.Close())
	began := time.Now() // how long it takes where nobody ends it
	require.NoError(t, syncs(t, ines.dir).Run())
	whole := time.Since(began)
	ines.again(t)
	ids, killed := map[string]bool{}, 0
	for range *cycles {
		for _, m := range []*member{mara, ines} {
			for _, e := range notesOf(stream, make([]string, 40)) {
				e.GetNote().Text = fmt.Sprint("by ", m.who.Name)
				m.save(t, e)
				ids[e.GetId()] = true
			}
		}
		require.NoError(t, mara.sync(t.Context(), 5*time.Second))
		require.NoError(t, ines.Close())
		cmd := syncs(t, ines.dir)
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(1.5 * random.Float64() * float64(whole)))
		kills(t, cmd)
		if err := cmd.Wait(); err != nil {
			killed++
		}
		ines.again(t)
	}
	for _, m := range []*member{ines, mara} {
		require.NoError(t, m.sync(t.Context(), 5*time.Second))
		tray, err := m.Tray()
		require.NoError(t, err)
		require.Empty(t, tray)
	}
	require.Positive(t, killed)
	t.Logf("%d of %d killed before they were done", killed, *cycles)
	want := told(t, mara, stream)
	require.Len(t, want, len(ids)+3)
	for _, m := range []*member{mara, ines} {
		require.Equal(t, want, kept(t, m, stream))
	}
	c, err := ines.Kept(ines.who, stream)
	require.NoError(t, err)
	for id := range ids {
		require.NotNil(t, c.Case.ByID(id))
	}
}

// kills ends a process that may have ended by itself meanwhile.
func kills(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Process.Kill(); !errors.Is(err, os.ErrProcessDone) {
		require.NoError(t, err)
	}
}
