package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// cables are network namespaces with a cable each from the server's to a home's. A machine
// in one of them sees nothing else.
type cables struct {
	t         *testing.T
	names     string   // what the namespaces are called begins with it
	knowngood string   // the program
	homes     []string // their folders
}

// lay lays the cables, where this process may.
func lay(t *testing.T, homes int) *cables {
	t.Helper()
	if _, err := exec.LookPath("ip"); err != nil {
		require.NotEqual(t, "true", os.Getenv("CI"), "no ip (apt-get install iproute2)")
		t.Skip("no ip to lay networks with (apt-get install iproute2)")
	}
	c := &cables{t: t, names: fmt.Sprintf("kg%d-", os.Getpid()), knowngood: filepath.Join(t.TempDir(), "knowngood")}
	if out, err := exec.Command("ip", "netns", "add", c.of(0)).CombinedOutput(); err != nil {
		t.Skipf("networks of one's own take root: %s", strings.TrimSpace(string(out)))
	}
	self, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, os.Symlink(self, c.knowngood))
	t.Cleanup(func() {
		for k := range homes + 1 {
			c.ip("netns", "del", c.of(k))
		}
	})
	c.ip("-n", c.of(0), "link", "set", "lo", "up")
	for k := 1; k <= homes; k++ {
		c.homes = append(c.homes, t.TempDir())
		c.ip("netns", "add", c.of(k))
		c.ip("-n", c.of(0), "link", "add", c.plug(k), "type", "veth", "peer", "name", "eth", "netns", c.of(k))
		for _, end := range [][]string{{c.of(0), c.plug(k), "1"}, {c.of(k), "eth", "2"}, {c.of(k), "lo", ""}} {
			if end[2] != "" {
				c.ip("-n", end[0], "addr", "add", fmt.Sprintf("10.77.%d.%s/24", k, end[2]), "dev", end[1])
			}
			c.ip("-n", end[0], "link", "set", end[1], "up")
		}
	}
	return c
}

func (c *cables) of(k int) string   { return fmt.Sprint(c.names, k) }
func (c *cables) plug(k int) string { return fmt.Sprint("cable", k) }

func (c *cables) ip(args ...string) {
	out, err := exec.Command("ip", args...).CombinedOutput()
	require.NoError(c.t, err, "ip %s: %s", strings.Join(args, " "), out)
}

// mend, pull and deafen are what happens to a cable: it is whole; it is out; or what the
// home sends arrives, and what the server answers is lost on the way.
func (c *cables) mend(k int) {
	c.ip("-n", c.of(0), "link", "set", c.plug(k), "up")
	c.ip("-n", c.of(0), "route", "flush", "exact", fmt.Sprintf("10.77.%d.2/32", k))
}

func (c *cables) pull(k int) { c.ip("-n", c.of(0), "link", "set", c.plug(k), "down") }

func (c *cables) deafen(k int) {
	c.ip("-n", c.of(0), "route", "replace", "blackhole", fmt.Sprintf("10.77.%d.2/32", k))
}

// run is a command of a home, in its network.
func (c *cables) run(k int, args ...string) *exec.Cmd {
	cmd := exec.Command("ip", slices.Concat([]string{"netns", "exec", c.of(k), c.knowngood}, args)...)
	if k > 0 {
		cmd.Env = append(os.Environ(), "KNOWNGOOD_HOME="+c.homes[k-1], "KNOWNGOOD_TZ=UTC")
	}
	return cmd
}

// does runs it, and it must end with one of the codes.
func (c *cables) does(k int, codes []int, args ...string) string {
	c.t.Helper()
	cmd := c.run(k, args...)
	var errors strings.Builder
	cmd.Stderr = &errors
	out, _ := cmd.Output()
	require.Contains(c.t, codes, cmd.ProcessState.ExitCode(), "home %d: %s\n%s%s", k, strings.Join(args, " "), out, errors.String())
	return string(out)
}

// TestPartedNetworks plays a seeded schedule over real networks: homes record and sync while
// cables are out, or let through one way only, and processes are killed. Once all are whole,
// both homes have the same, with everything that was recorded in it once.
func TestPartedNetworks(t *testing.T) {
	t.Parallel()
	c := lay(t, 2)
	file := filepath.Join(t.TempDir(), "ready.json")
	server := c.run(0, "serve", "--data", t.TempDir(), "--listen", "0.0.0.0:7070", "--ready-file", file, "--shop", "Tin Kettle Garage", "--shop", "Lantern Lane Diagnostics")
	require.NoError(t, server.Start())
	t.Cleanup(func() {
		require.NoError(t, server.Process.Signal(os.Interrupt))
		require.NoError(t, server.Wait())
	})
	var at ready
	require.Eventually(t, func() bool {
		b, err := os.ReadFile(file)
		return err == nil && json.Unmarshal(b, &at) == nil
	}, patience, 20*time.Millisecond)
	for k := range c.homes {
		c.does(k+1, []int{0}, "join", at.Shops[k].Code, "--server", fmt.Sprintf("10.77.%d.1:7070", k+1), "--name", "Mara")
	}
	c.does(1, []int{0}, "open", "the fan does not run", "--make", "Quillon", "--model", "Tarn", "--invented")
	c.does(1, []int{0}, "handoff", "Lantern Lane Diagnostics", "--question", "why?")
	c.does(2, []int{0}, "takeup")

	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	var notes []string
	for n := range *pulls {
		k := 1 + random.IntN(2)
		switch random.IntN(7) {
		case 0:
			c.pull(k)
		case 1:
			c.deafen(k)
		case 2:
			c.mend(k)
		case 3, 4:
			notes = append(notes, fmt.Sprintf("note %d of %d", n, seed))
			c.does(k, []int{0, 5}, "note", notes[len(notes)-1])
		case 5:
			c.does(k, []int{0, 1, 5}, "sync") // 1: nothing waits, and nobody answers
		case 6:
			cmd := c.run(k, "sync")
			require.NoError(t, cmd.Start())
			time.Sleep(time.Duration(random.IntN(300)) * time.Millisecond)
			kills(t, cmd)
			var exit *exec.ExitError
			if err := cmd.Wait(); err != nil {
				require.True(t, errors.As(err, &exit), "%v", err)
			}
		}
	}
	for k := range c.homes {
		c.mend(k + 1)
	}
	for range 2 { // the second brings what the other home sent
		for k := range c.homes {
			require.Contains(t, c.does(k+1, []int{0}, "sync"), "Nothing waits, nothing was refused.")
		}
	}
	told := c.does(1, []int{0}, "timeline", "-o", "json")
	require.Equal(t, told, c.does(2, []int{0}, "timeline", "-o", "json"))
	for _, text := range notes {
		require.Equal(t, 1, strings.Count(told, text+`"`), "%s in %s", text, told)
	}
	for k := range c.homes {
		c.does(k+1, []int{0}, "verify")
	}
	t.Logf("%d steps, %d notes: both homes have the same", *pulls, len(notes))
}
