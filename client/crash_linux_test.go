package client

import (
	"bufio"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/envelope"
)

// child runs one test of this program again, as a process of its own.
func child(test, home, stream string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], "-test.run=^"+test+"$", "-test.v=false")
	cmd.Env = append(os.Environ(), "KNOWNGOOD_TEST_SAVER="+home, "KNOWNGOOD_TEST_STREAM="+stream)
	return cmd
}

var saveKills = flag.Int("save-kills", 50, "how often TestKilledWhileSaving kills a process that saves; 1000 before a release")

// TestKilledWhileSaving kills a process that saves, again and again: everything
// it said was saved waits, once, and no number is taken twice.
func TestKilledWhileSaving(t *testing.T) {
	if dir := os.Getenv("KNOWNGOOD_TEST_SAVER"); dir != "" {
		h := Open(dir, dir+"/settings")
		who, err := h.Identity()
		require.NoError(t, err)
		for {
			e := aNote(os.Getenv("KNOWNGOOD_TEST_STREAM"), strings.Repeat("x", 1000))
			_, err := h.Save(who, Stamp{At: h.now()}, e)
			require.NoError(t, err)
			fmt.Println("saved", e.GetId())
		}
	}
	cycles := *saveKills
	if testing.Short() {
		cycles = min(cycles, 10)
	}
	h, who := testHome(t), testIdentity(t)
	require.NoError(t, h.store("identity.json", who))
	stream := newUUID()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	var said []string
	for range cycles {
		cmd := child("TestKilledWhileSaving", h.dir, stream)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		lines := bufio.NewScanner(out)
		if lines.Scan() { // it runs
			said = append(said, lines.Text())
			time.AfterFunc(time.Duration(random.IntN(20000))*time.Microsecond, func() { cmd.Process.Kill() }) //nolint:errcheck // it may be gone
		}
		for lines.Scan() {
			said = append(said, lines.Text())
		}
		require.Error(t, cmd.Wait())
	}
	waiting := pending(t, h)
	chainHolds(t, waiting)
	held := make(map[string]int)
	for _, s := range waiting {
		o, err := envelope.Open(s.GetEvent())
		require.NoError(t, err)
		held[o.Event.GetId()]++
	}
	for _, line := range said {
		if id, ok := strings.CutPrefix(line, "saved "); ok {
			require.Equal(t, 1, held[id], line)
		}
	}
	require.GreaterOrEqual(t, len(said), cycles)
	t.Logf("%d kills, %d events said to be saved, %d held", cycles, len(said), len(waiting))
}
