package log_test

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
)

var mutations = flag.Int("mutations", 0, "how many copies of a log TestDamage damages; 0: 100, or 20 with -short; 500 before a release")

// The mutations are looked at by a child process, since Badger ends the process
// over some of what it does not expect, and a test that died could not say so.
const childVariable = "KNOWNGOOD_LOG_CHILD"

// small tables, so that a few thousand records make many files.
var smallTables = badger.Options{MemTableSize: 2 << 20}

// state is everything a log says of itself.
type state struct {
	Dir     string
	Refused string
	Root    string
	Size    uint64
	Index   string // digest of the index
	Records string // digest of the records
}

// examine opens the log and reads all of it.
func examine(t *testing.T, dir string) state {
	s := state{Dir: dir}
	fail := func(err error) state {
		s.Refused = err.Error()
		if !errors.Is(err, log.ErrDamaged) && !errors.Is(err, log.ErrCheckpoint) {
			s.Refused = "no sentinel: " + s.Refused
		}
		return s
	}
	l, err := badger.Open(filepath.Join(dir, "badger"), smallTables)
	if err != nil {
		return fail(err)
	}
	defer l.Close()
	tree, err := log.OpenTree(t.Context(), l, treeConfig(dir))
	if err != nil {
		return fail(err)
	}
	defer tree.Close()
	records, index := sha256.New(), sha256.New()
	for item, err := range l.Read(t.Context(), log.Range{Feed: "shop"}) {
		if err != nil {
			return fail(err)
		}
		fmt.Fprintf(records, "%d %d %q %d %x %x\n", item.Position, item.Index, item.Stream, item.Seq, item.Entry, item.Event)
	}
	for w, err := range l.Scan(t.Context(), "") {
		if err != nil {
			return fail(err)
		}
		fmt.Fprintf(index, "%q %x\n", w.Key, w.Value)
	}
	c, _ := tree.Checkpoint()
	s.Root, s.Size = c.Root.String(), c.Size
	s.Records, s.Index = fmt.Sprintf("%x", records.Sum(nil)), fmt.Sprintf("%x", index.Sum(nil))
	return s
}

// fill appends what the damage tests damage: records, erasures, index writes.
func fill(t *testing.T, dir string) (*badger.Log, *log.Tree) {
	l, err := badger.Open(filepath.Join(dir, "badger"), smallTables)
	require.NoError(t, err)
	tree := openTree(t, l, dir)
	w := newWriter()
	for i := range 70 {
		b := w.batch(30)
		if i%10 == 9 {
			b.Erase = []uint64{uint64(i)}
		}
		_, err := tree.Append(t.Context(), b)
		require.NoError(t, err)
	}
	// The last thing acknowledged is an index write alone: no entry shows its loss.
	_, err = tree.Append(t.Context(), log.Batch{Index: []log.Write{{Key: "token", Value: []byte("withdrawn")}}})
	require.NoError(t, err)
	return l, tree
}

// TestChild is the child's side; by itself it does nothing.
func TestChild(t *testing.T) {
	switch os.Getenv(childVariable) {
	case "":
		t.Skip("the other side of the damage tests")
	case "examine":
		in := bufio.NewScanner(os.Stdin)
		for in.Scan() {
			b, err := json.Marshal(examine(t, in.Text()))
			require.NoError(t, err)
			fmt.Printf("state %s\n", b)
		}
	case "append":
		// The names and what is written to them are what strace's reader looks for.
		dir := os.Getenv("KNOWNGOOD_LOG_DIR")
		l := openBadger(t, dir)
		tree, w := openTree(t, l, dir), newWriter()
		for i := range 20 {
			mark(t, dir, "before")
			_, err := tree.Append(t.Context(), w.batch(1+i%3))
			require.NoError(t, err)
			mark(t, dir, "after")
		}
		require.NoError(t, tree.Close())
		require.NoError(t, l.Close())
	case "die":
		fill(t, os.Getenv("KNOWNGOOD_LOG_DIR"))
		require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGKILL))
		select {}
	}
}

func child(t *testing.T, mode string, env ...string) *exec.Cmd {
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.CommandContext(t.Context(), self, "-test.run=^TestChild$", "-test.v")
	c.Env = append(append(os.Environ(), childVariable+"="+mode), env...)
	return c
}

// examineAll has a child examine the directories; where it dies, what it said
// stands in Refused after "died", and another goes on with the rest.
func examineAll(t *testing.T, dirs []string) []state {
	var out []state
	for len(dirs) > 0 {
		c := child(t, "examine")
		var said, stderr bytes.Buffer
		c.Stdin, c.Stdout, c.Stderr = strings.NewReader(strings.Join(dirs, "\n")), &said, &stderr
		err := c.Run()
		n := 0
		for line := range strings.Lines(said.String()) {
			if text, ok := strings.CutPrefix(line, "state "); ok {
				var s state
				require.NoError(t, json.Unmarshal([]byte(text), &s))
				require.Equal(t, dirs[n], s.Dir)
				out, n = append(out, s), n+1
			}
		}
		if n < len(dirs) {
			require.Error(t, err)
			said := stderr.String()
			out = append(out, state{Dir: dirs[n], Refused: "died: " + said[:min(len(said), 600)]})
			n++
		}
		dirs = dirs[n:]
	}
	return out
}

// copyTree copies dir, leaving holes where zeros are: Badger's files are mostly
// room not yet used.
func copyTree(t *testing.T, from, to string) {
	require.NoError(t, filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		target := to + strings.TrimPrefix(path, from)
		if err != nil || d.IsDir() {
			return errors.Join(err, os.MkdirAll(target, 0o700))
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		used := bytes.TrimRight(b, "\x00")
		return errors.Join(os.WriteFile(target, used, 0o600), os.Truncate(target, int64(len(b))))
	}))
}

// mutate copies dir and changes one of its files: a bit flipped, or a tail cut.
func mutate(t *testing.T, from, to string, rng *rand.Rand) (what string) {
	copyTree(t, from, to)
	var files []string
	require.NoError(t, filepath.WalkDir(to, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() && d.Name() != "LOCK" {
			if info, _ := d.Info(); info.Size() > 0 {
				files = append(files, path)
			}
		}
		return err
	}))
	slices.Sort(files)
	path := files[rng.IntN(len(files))]
	name := strings.TrimPrefix(path, to+"/")
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	// A write-ahead log is mostly room not yet used: damage goes where bytes are.
	used := len(bytes.TrimRight(b, "\x00"))
	if used == 0 {
		used = len(b)
	}
	at := rng.IntN(used)
	if rng.IntN(3) == 0 {
		require.NoError(t, os.Truncate(path, int64(at)))
		return fmt.Sprintf("%s cut at %d of %d", name, at, len(b))
	}
	bit := rng.IntN(8)
	b[at] ^= 1 << bit
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteAt(b[at:at+1], int64(at))
	require.NoError(t, errors.Join(err, f.Close()))
	return fmt.Sprintf("%s bit %d of byte %d of %d", name, bit, at, len(b))
}

func TestDamage(t *testing.T) {
	for _, stop := range []string{"clean", "killed"} {
		t.Run(stop, func(t *testing.T) {
			t.Parallel()
			base := t.TempDir()
			if stop == "clean" {
				l, tree := fill(t, base)
				require.NoError(t, tree.Close())
				require.NoError(t, l.Close())
			} else {
				require.ErrorContains(t, child(t, "die", "KNOWNGOOD_LOG_DIR="+base).Run(), "killed")
			}
			whole := filepath.Join(t.TempDir(), "whole")
			copyTree(t, base, whole)
			want := examineAll(t, []string{whole})[0]
			require.Empty(t, want.Refused)
			require.EqualValues(t, 2100, want.Size)

			count, seed := 50, uint64(len(stop)) // of each, a hundred together
			if testing.Short() || slowed {
				count = 10
			}
			if *mutations > 0 {
				count = *mutations / 2
			}
			rng := rand.New(rand.NewPCG(seed, 0))
			scratch := t.TempDir()
			var dirs, whats []string
			for i := range count {
				dirs = append(dirs, filepath.Join(scratch, fmt.Sprint(i)))
				whats = append(whats, mutate(t, base, dirs[i], rng))
			}
			var intact, refused, wrong int
			for i, s := range examineAll(t, dirs) {
				s.Dir = want.Dir
				switch {
				case strings.HasPrefix(s.Refused, "died"), strings.HasPrefix(s.Refused, "no sentinel"):
					t.Errorf("%s: %s", whats[i], s.Refused)
					wrong++
				case s.Refused != "":
					refused++
				case s == want:
					intact++
				default:
					t.Errorf("%s: silently different: %+v, want %+v", whats[i], s, want)
					wrong++
				}
			}
			t.Logf("seed %d: %d mutations after a %s stop: %d intact, %d refused, %d wrong", seed, count, stop, intact, refused, wrong)
		})
	}
}
