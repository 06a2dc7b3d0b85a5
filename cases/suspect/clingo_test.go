package suspect_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// clingo returns where the program is; without it the test is skipped, and under
// CI it fails.
func clingo(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("clingo")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program clingo is missing: apt-get install gringo")
		}
		t.Skip("install the package 'gringo' to hold the diagnoses against clingo; the recorded ones were checked instead")
	}
	return path
}

// enumerate has clingo find the minimal sets of ab/1 of a program: of its domain
// heuristic that prefers false, the recorded models are the subset-minimal ones.
func enumerate(t *testing.T, clingo, program string) [][]suspect.Part {
	t.Helper()
	c := exec.CommandContext(t.Context(), clingo, "0", "--heuristic=Domain", "--enum-mode=domRec", "--outf=2", "--warn=none", "-")
	c.Stdin = strings.NewReader(program)
	var said bytes.Buffer
	c.Stderr = &said
	out, err := c.Output()
	const exhausted = 20 // exit code: all was searched; and 10: something was found
	var exit *exec.ExitError
	require.ErrorAs(t, err, &exit, "clingo says by its exit code what it found: %s", out)
	require.Equal(t, exhausted, exit.ExitCode()&exhausted, "%s%s", out, said.String())
	var answer struct {
		Call []struct{ Witnesses []struct{ Value []string } }
	}
	require.NoError(t, json.Unmarshal(out, &answer))
	require.Len(t, answer.Call, 1)
	found := [][]suspect.Part{}
	for _, w := range answer.Call[0].Witnesses {
		list := []suspect.Part{}
		for _, v := range w.Value {
			list = append(list, part(strings.TrimSuffix(strings.TrimPrefix(v, "ab("), ")")))
		}
		found = append(found, list)
	}
	return sorted(found)
}

// model reads one of the published clingo programs.
func model(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	return string(b)
}

// clingo (https://potassco.org), an answer set solver, as a second enumerator, run
// live: it knows the circuits by its own models and the conflicts not at all.
func TestDiagnosesAgainstClingo(t *testing.T) {
	t.Parallel()
	path := clingo(t)
	ours := map[string][][]suspect.Part{}
	for _, o := range observations() {
		ours[o.example] = suspect.MinimalHittingSets(o.gates.conflicts(o.seen), 0)
	}
	require.Equal(t, ours["polybox"], enumerate(t, path, model(t, "poly.lp")))
	require.Equal(t, ours["full adder"], enumerate(t, path, model(t, "adder.lp")))
	require.Equal(t, suspect.MinimalHittingSets(sets(example(t, "seven sets")["conflicts"]), 0), enumerate(t, path, model(t, "rei.lp")))
	for _, seen := range []string{"00", "01", "10", "11"} {
		program := model(t, "c17.lp") + fmt.Sprintf("obs(22,%c). obs(23,%c).\n", seen[0], seen[1])
		require.Equal(t, ours["c17 "+seen], enumerate(t, path, program), seen)
	}

	// Other inputs of c17, with every outcome.
	const ones = "in(1;2;3;6;7)."
	c17Model := model(t, "c17.lp")
	require.Contains(t, c17Model, ones)
	for i, row := range published(t, "c17_truth.csv") {
		digits := row["inputs_1_2_3_6_7"]
		if i%3 != 0 {
			continue // every third will do
		}
		var in strings.Builder
		for i, wire := range []string{"1", "2", "3", "6", "7"} {
			fmt.Fprintf(&in, "v(%s,%c). ", wire, digits[i])
		}
		for seen := range 4 {
			program := strings.Replace(c17Model, ones, "#defined in/1. "+in.String(), 1) + fmt.Sprintf("obs(22,%d). obs(23,%d).\n", seen>>1, seen&1)
			conflicts := c17().conflicts(c17Seen(digits, seen>>1, seen&1))
			require.Equal(t, enumerate(t, path, program), suspect.MinimalHittingSets(conflicts, 0), "%s, seen %02b", digits, seen)
		}
	}
}

// Larger families of sets than every subset can be looked at for.
func TestHittingSetsAgainstClingo(t *testing.T) {
	t.Parallel()
	path := clingo(t)
	r := rand.New(rand.NewPCG(3, 4))
	for n := range 25 {
		universe := 8 + r.IntN(17)
		var all [][]suspect.Part
		var program strings.Builder
		for k := range 3 + r.IntN(7) {
			var set []suspect.Part
			for range 1 + r.IntN(5) {
				p := part(fmt.Sprint("p", r.IntN(universe)))
				set = append(set, p)
				fmt.Fprintf(&program, "c(%d,%s). ", k, p.Key)
			}
			all = append(all, set)
		}
		program.WriteString("{ab(X)} :- c(_,X). :- c(C,_), not ab(X) : c(C,X). #heuristic ab(X) : c(_,X). [1,false] #show ab/1.\n")
		require.Equal(t, enumerate(t, path, program.String()), suspect.MinimalHittingSets(all, 0), "case %d: %v", n, all)
	}
}
