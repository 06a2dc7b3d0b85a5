package client

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

var traced = regexp.MustCompile(`^\d+ +(\w+)\((.*)\) += 0`)

// TestSyncedBeforeSaved saves and settles under strace. Between the call and its
// return the engine's write-ahead log is synced and then the count, and nothing
// else has to be. A killed process shows nothing of this: the page cache outlives it.
func TestSyncedBeforeSaved(t *testing.T) {
	if dir := os.Getenv("KNOWNGOOD_TEST_SAVER"); dir != "" {
		h := Open(dir, dir+"/settings")
		who, err := h.Identity()
		require.NoError(t, err)
		_, err = h.Save(who, Stamp{At: h.now()}, aNote(os.Getenv("KNOWNGOOD_TEST_STREAM"), "opens the log"))
		require.NoError(t, err)
		mark := func(what string) { _, _ = os.Lstat(filepath.Join(dir, "mark-"+what)) }
		mark("began")
		_, err = h.Save(who, Stamp{At: h.now()}, aNote(os.Getenv("KNOWNGOOD_TEST_STREAM"), "first"))
		require.NoError(t, err)
		mark("saved")
		_, err = h.Save(who, Stamp{At: h.now()}, aNote(os.Getenv("KNOWNGOOD_TEST_STREAM"), "second"))
		require.NoError(t, err)
		mark("again")
		var answered []out
		for w, err := range h.ledger().waiting(t.Context()) {
			require.NoError(t, err)
			answered = append(answered, w)
		}
		require.NoError(t, h.settle(t.Context(), answered[:1], []*boardv1.AppendResult{{Reason: boardv1.Reason_REASON_IMPOSSIBLE}}, nil))
		mark("settled")
		return
	}
	if _, err := exec.LookPath("strace"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("strace is missing: whether what is saved is synced was not tested")
		}
		t.Skip("strace is missing: whether what is saved is synced was not tested")
	}
	h, who := testHome(t), testIdentity(t)
	require.NoError(t, h.store("identity.json", who))
	trace := filepath.Join(t.TempDir(), "trace")
	self := child("TestSyncedBeforeSaved", h.dir, newUUID())
	c := exec.CommandContext(t.Context(), "strace", append([]string{"-f", "-y", "-o", trace,
		"-e", "trace=fsync,fdatasync,rename,renameat,renameat2,lstat,newfstatat", "--"}, self.Args...)...)
	c.Env = self.Env
	out, err := c.CombinedOutput()
	if err != nil && strings.Contains(string(out), "ptrace") && os.Getenv("CI") != "true" {
		t.Skip("strace may not trace here: whether what is saved is synced was not tested")
	}
	require.NoError(t, err, string(out))
	b, err := os.ReadFile(trace)
	require.NoError(t, err)

	// What happened to the files of the home between two marks, in order.
	steps := map[string][]string{}
	var since []string
	part := regexp.MustCompile(regexp.QuoteMeta(h.dir) + `/([\w./-]+)[">]`)
	unfinished := map[string]string{} // calls that another thread's call interrupted
	for line := range strings.Lines(string(b)) {
		pid, _, _ := strings.Cut(line, " ")
		if begin, ok := strings.CutSuffix(strings.TrimSpace(line), "<unfinished ...>"); ok {
			unfinished[pid] = begin
			continue
		}
		if _, end, ok := strings.Cut(line, " resumed>"); ok {
			line = strings.TrimRight(unfinished[pid], " ") + end
		}
		if _, after, ok := strings.Cut(line, "/mark-"); ok {
			name, _, _ := strings.Cut(after, `"`)
			steps[name], since = since, nil
			continue
		}
		m := traced.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		file := part.FindAllStringSubmatch(m[2], -1)
		if len(file) > 0 && strings.Contains(m[1], "sync") {
			since = append(since, regexp.MustCompile(`\d+\.mem`).ReplaceAllString(file[0][1], "N.mem"))
		}
	}
	want := []string{"replica/log/N.mem", "replica/count"}
	require.Equal(t, want, steps["saved"])
	require.Equal(t, want, steps["again"])
	require.Equal(t, want, steps["settled"])
}
