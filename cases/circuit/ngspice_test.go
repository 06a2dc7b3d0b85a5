package circuit

import (
	"bufio"
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit/plain"
)

// ngspice returns where the program is; without it the test is skipped, and under
// CI it fails.
func ngspice(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("ngspice")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program ngspice is missing: apt-get install ngspice")
		}
		t.Skip("install the package 'ngspice' to hold the circuits against it; the recorded figures were checked instead")
	}
	return path
}

// simulate runs a deck and gives what it printed as 'name = value'. That it ended
// well says nothing: it does so with a floating node too.
func simulate(t *testing.T, path, deck string) map[string]float64 {
	t.Helper()
	file := filepath.Join(t.TempDir(), "deck.cir")
	require.NoError(t, os.WriteFile(file, []byte(deck), 0o600))
	cmd := exec.CommandContext(t.Context(), path, "-b", file)
	cmd.Dir = filepath.Dir(file)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	require.NoError(t, err, "%s%s", out, said.String())
	got := map[string]float64{}
	lines := bufio.NewScanner(bytes.NewReader(out))
	for lines.Scan() {
		name, value, ok := strings.Cut(lines.Text(), " = ")
		if !ok {
			continue
		}
		if v, err := strconv.ParseFloat(strings.TrimSpace(value), 64); err == nil {
			got[strings.ToLower(strings.TrimSpace(name))] = v
		}
	}
	require.NotEmpty(t, got, "%s%s", out, said.String())
	return got
}

// node of a deck as ngspice prints it.
func node(k int) string { return "v(" + strconv.Itoa(k) + ")" }

// ngspice (https://ngspice.sourceforge.io) as a third solver, run live. It adds
// conductances in float64 and leaves it at that, so that where a tenth of a milliohm
// meets gigohms of leaks it is 5e-6 off the rationals that the others meet to 1e-15;
// here nothing conducts better than a milliohm.
func TestAgainstNgspice(t *testing.T) {
	t.Parallel()
	path := ngspice(t)
	r := rand.New(rand.NewPCG(5, 6))
	const e = 12.5
	worst, worstPlain := 0.0, 0.0
	many := 30
	if testing.Short() {
		many = 5
	}
	for n := range many {
		net := wild(r, 5+r.IntN(36), 1e3)
		c := net.plain(e)
		got := simulate(t, path, c.Deck())
		ours := net.solve(e)
		second, err := c.Solve()
		require.NoError(t, err)
		for k := 1; k < net.n; k++ {
			v, ok := got[node(k)]
			require.True(t, ok, "network %d: ngspice says nothing of node %d", n, k)
			worst = math.Max(worst, math.Abs(ours[k]-v)/e)
			worstPlain = math.Max(worstPlain, math.Abs(second.Volts[k]-v)/e)
		}
	}
	t.Logf("worst difference from ngspice, of the supply: %.1e; of the second solver %.1e", worst, worstPlain)
	require.LessOrEqual(t, worst, 2e-6)
	require.LessOrEqual(t, worstPlain, 2e-6)
}

// What is bent, which the solver under test takes from the second one: filaments
// and diodes.
func TestBentAgainstNgspice(t *testing.T) {
	t.Parallel()
	path := ngspice(t)
	r := rand.New(rand.NewPCG(7, 8))
	const e = 12.5
	worst := 0.0
	for n := range 8 {
		c := &plain.Circuit{Nodes: 2, Elements: []plain.Element{{Kind: plain.Voltage, A: 1, B: 0, Value: e}}}
		add := func(x plain.Element) int {
			x.A, x.B = c.Nodes-1, c.Nodes
			c.Nodes++
			c.Elements = append(c.Elements, x)
			return x.B
		}
		add(plain.Element{Value: 0.01 + r.Float64()})
		at := add(plain.Element{Kind: plain.Diode, Value: 0.7 + 0.2*r.Float64(), Slope: 0.026 * (1 + r.Float64())})
		add(plain.Element{Value: siemens(r, 0.01, 100)})
		add(plain.Element{Kind: plain.Lamp, Value: 2 + 20*r.Float64(), Rated: 12, Power: 0.45 + 0.1*r.Float64(), Cold: 0.1})
		c.Elements = append(c.Elements,
			plain.Element{A: c.Nodes - 1, B: 0, Value: siemens(r, 0.01, 10)},
			plain.Element{Kind: plain.Lamp, A: at, B: 0, Value: 5 + 50*r.Float64(), Rated: 12, Power: 0.5, Cold: 1. / 12},
			plain.Element{Kind: plain.Current, A: at, B: 0, Value: r.Float64()},
		)
		got := simulate(t, path, c.Deck())
		second, err := c.Solve()
		require.NoError(t, err, "circuit %d", n)
		for k := 1; k < c.Nodes; k++ {
			worst = math.Max(worst, math.Abs(second.Volts[k]-got[node(k)])/e)
		}
	}
	t.Logf("worst difference, of the supply: %.1e", worst)
	require.LessOrEqual(t, worst, 2e-6)
}
