package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// safeBuffer may be read while it is written.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// TestDemo plays the invented case to its end and looks for what makes it worth
// showing; then, kept serving, it can be asked, and leaves nothing behind.
func TestDemo(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out, said safeBuffer
	w := world{in: strings.NewReader(""), out: &out, err: &said, getenv: os.Getenv, now: time.Now}
	ended := make(chan int)
	go func() { ended <- run(ctx, []string{"demo", "--keep", "--tz", "UTC"}, w) }()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "Ctrl-C ends it") || said.String() != "" }, 30*time.Second, 20*time.Millisecond)
	require.Empty(t, said.String())
	text := out.String()
	for _, what := range []string{
		"Invented data: no such shops, people or vehicle.",
		"knowngood fit 'new fan motor in, guess, 240 EUR, old thrown away' --before-opening",
		"placed afterwards: before the opening",
		"you: to read the hand-back",
		"as Mara of Tin Kettle Garage, the shop that is stuck with the vehicle",
		"borrowed part in fan relay, from horn relay socket, which is open",
		"belief-untested", "told-not-seen", "fitted-without-test", "spend-over-approval",
		"1. Read volts: red lead at fan.C1-1 in, black lead at batt-",
		"As the only thing wrong it takes one of these: high resistance: splice S4.",
		"proven bad: high resistance (#32 running; #27 key on, commanded on, at 1.4 A, supply 12.4 V)",
		"10.6 V drop, red S4.in, black S4.out; key on, commanded on, at 1.4 A, supply 12.4 V",
		"[not true] \"feed and ground of the fan are good\"",
		"Cause: splice S4; high resistance",
	} {
		if !strings.Contains(text, what) {
			t.Errorf("the demonstration does not show %q", what)
		}
	}
	// What is called as it should be lies where it was expected.
	agree := regexp.MustCompile(`(?m)^#\d+ ([\d.]+) V, .*\n  - As it should be: with nothing wrong ([\d.]+) to ([\d.]+) V`).FindAllStringSubmatch(text, -1)
	require.NotEmpty(t, agree)
	for _, m := range agree {
		var volts [3]float64
		for k := range volts {
			volts[k], _ = strconv.ParseFloat(m[k+1], 64)
		}
		require.True(t, volts[1] <= volts[0] && volts[0] <= volts[2], m[0])
	}
	require.Equal(t, 3*strings.Count(text, "---- knowngood review"), strings.Count(text, "fitted-without-test"), "three parts were fitted without a test")

	// Somebody looks around.
	homes, err := filepath.Glob(filepath.Join(temp, "knowngood-demo-*", "mara"))
	require.NoError(t, err)
	require.Len(t, homes, 1)
	var asked bytes.Buffer
	code := run(ctx, []string{"--home", homes[0], "timeline", "kind:test", "-o", "csv"}, world{in: strings.NewReader(""), out: &asked, err: &asked, getenv: os.Getenv, now: time.Now})
	require.Equal(t, exitOK, code, asked.String())
	require.Contains(t, asked.String(), "bypassed splice S4")

	stop()
	require.Equal(t, exitOK, <-ended)
	left, err := os.ReadDir(temp)
	require.NoError(t, err)
	require.Empty(t, left)
}
