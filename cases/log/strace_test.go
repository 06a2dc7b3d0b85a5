package log_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// mark leaves a line in strace's output: the name it looks for in vain.
func mark(t *testing.T, dir, what string) {
	_, err := os.Lstat(filepath.Join(dir, "mark-"+what))
	require.ErrorIs(t, err, os.ErrNotExist)
}

var (
	straceLine = regexp.MustCompile(`^\d+ +(\w+)\((.*)\) += (-?\w+)`)
	mapping    = regexp.MustCompile(`^\w+, (\d+), .*MAP_SHARED, \d+<(.*)>, \w+$`)
	syncedMap  = regexp.MustCompile(`^(0x\w+), (\d+), MS_SYNC$`)
	syncedFile = regexp.MustCompile(`^\d+<(.*)>$`)
)

// TestSyncedBeforeReturn runs appends under strace and checks that between the
// call and its return the write-ahead log that holds the batch was synced, then
// the checkpoint file, each without an error. A killed process shows nothing of
// this: the page cache outlives it.
func TestSyncedBeforeReturn(t *testing.T) {
	if _, err := exec.LookPath("strace"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("strace is missing: whether appends are synced was not tested")
		}
		t.Skip("strace is missing: whether appends are synced was not tested")
	}
	dir := t.TempDir()
	trace := filepath.Join(dir, "trace")
	self := child(t, "append", "KNOWNGOOD_LOG_DIR="+dir)
	c := exec.CommandContext(t.Context(), "strace", append([]string{"-f", "-y", "-o", trace,
		"-e", "trace=mmap,msync,fsync,fdatasync,lstat,newfstatat,statx", "--"}, self.Args...)...)
	c.Env = self.Env
	out, err := c.CombinedOutput()
	if err != nil && strings.Contains(string(out), "ptrace") && os.Getenv("CI") != "true" {
		t.Skip("strace may not trace here: whether appends are synced was not tested")
	}
	require.NoError(t, err, string(out))
	b, err := os.ReadFile(trace)
	require.NoError(t, err)

	mapped := map[string]string{} // address of a mapping: its file
	var inside bool
	var synced []string
	appends := 0
	unfinished := map[string]string{}
	for line := range strings.Lines(string(b)) {
		line = resume(strings.TrimSpace(line), unfinished)
		m := straceLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		call, args, result := m[1], m[2], m[3]
		switch {
		case strings.Contains(args, "mark-before"):
			inside, synced = true, nil
		case strings.Contains(args, "mark-after"):
			require.True(t, inside)
			inside = false
			appends++
			wal, checkpoint := -1, -1
			for i, name := range synced {
				switch {
				case strings.HasSuffix(name, ".mem"):
					wal = i
				case name == "checkpoint":
					checkpoint = i
				}
			}
			require.GreaterOrEqual(t, wal, 0, "append %d synced %v, not the write-ahead log", appends, synced)
			require.Greater(t, checkpoint, wal, "append %d synced %v: the checkpoint comes last", appends, synced)
		case call == "mmap":
			if f := mapping.FindStringSubmatch(args); f != nil {
				mapped[result] = filepath.Base(f[2])
			}
		case call == "msync":
			require.Equal(t, "0", result, line)
			if s := syncedMap.FindStringSubmatch(args); s != nil {
				length, err := strconv.Atoi(s[2])
				require.NoError(t, err)
				require.Positive(t, length)
				synced = append(synced, mapped[s[1]])
			}
		case call == "fsync" || call == "fdatasync":
			require.Equal(t, "0", result, line)
			if s := syncedFile.FindStringSubmatch(args); s != nil {
				synced = append(synced, filepath.Base(s[1]))
			}
		}
	}
	require.Equal(t, 20, appends)
}

// resume joins the two lines of a call that another thread's call interrupted.
func resume(line string, unfinished map[string]string) string {
	pid, _, _ := strings.Cut(line, " ")
	if begin, ok := strings.CutSuffix(line, "<unfinished ...>"); ok {
		unfinished[pid] = begin
		return ""
	}
	if _, end, ok := strings.Cut(line, " resumed>"); ok {
		return strings.TrimRight(unfinished[pid], " ") + end
	}
	return line
}
