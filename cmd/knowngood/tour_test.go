package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestTour runs every command of README.md's tour, as it stands there, through a
// shell. Only what a reader does by hand is done for them: the port, and putting
// the printed join codes where they belong.
func TestTour(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("sh"); err != nil {
		t.Skip("no sh to run the tour with")
	}
	readme, err := os.ReadFile(filepath.Join(top, "README.md"))
	require.NoError(t, err)
	var commands []string
	for _, block := range regexp.MustCompile("(?s)```console\n(.*?)```").FindAllStringSubmatch(string(readme), -1) {
		for line := range strings.Lines(block[1]) {
			command, ok := strings.CutPrefix(strings.TrimSpace(line), "$ ")
			require.True(t, ok, "a line of the tour is no command: %s", line)
			commands = append(commands, command)
		}
	}
	require.Greater(t, len(commands), 25)
	require.Contains(t, commands[0], "knowngood serve")

	script := []string{"set -eu"}
	server := strings.TrimSuffix(commands[0], "&")
	script = append(script,
		server+" --listen 127.0.0.1:0 --ready-file ready.json >serve.out 2>&1 &",
		`pid=$!; trap 'kill $pid; wait $pid || true' EXIT`,
		`i=0; while [ ! -s ready.json ]; do i=$((i+1)); [ $i -lt 300 ] || { cat serve.out; exit 1; }; sleep 0.1; done`,
		`server=$(sed -n 's/^serving on //p' serve.out)`,
	)
	for _, c := range commands[1:] {
		for _, shop := range [][2]string{{"KETTLE-CODE", "Tin Kettle Garage"}, {"LANTERN-CODE", "Lantern Lane Diagnostics"}} {
			c = strings.ReplaceAll(c, shop[0], "$(sed -n 's/^"+shop[1]+"  *\\([^ ]*\\) .*/\\1/p' serve.out) --server $server")
		}
		script = append(script, "echo '$ '"+shellQuoted(c), c)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "sh", "-c", strings.Join(script, "\n"))
	cmd.Dir = t.TempDir()
	cmd.Env = append(os.Environ(), "TZ=UTC")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, says := range []string{
		"fitted-without-test", "belief-untested", "placed afterwards: before the opening",
		"222.00 EUR",          // spent on parts without a test before them
		"why is it still dim", // the brief
		"suspect (#15 running, commanded on, at 1.5 A)", "Read the drop across the socket ground",
		"ring terminal of the socket ground corroded",
	} {
		require.Contains(t, string(out), says)
	}
	if testing.Verbose() {
		t.Logf("%s", out)
	}
}

func shellQuoted(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }
