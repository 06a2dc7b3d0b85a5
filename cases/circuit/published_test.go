package circuit

import (
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit/plain"
)

var figures = filepath.Join("..", "..", "testdata", "published")

// published reads a table of testdata/published; each names its source in its
// first lines.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(figures, name))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, column := range rows[0] {
			m[column] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func figure(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

// deck reads the resistors and voltage sources of a deck.
func deck(t *testing.T, name string) (c *plain.Circuit, nodes map[string]int, text string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(figures, name+".cir"))
	require.NoError(t, err)
	c, nodes = &plain.Circuit{Nodes: 1}, map[string]int{"0": 0}
	number := func(name string) int {
		if _, ok := nodes[name]; !ok {
			nodes[name] = c.Nodes
			c.Nodes++
		}
		return nodes[name]
	}
	for _, line := range strings.Split(string(b), "\n") {
		f := strings.Fields(line)
		if line == ".control" {
			break
		}
		if len(f) < 4 || line[0] == '*' {
			continue
		}
		e := plain.Element{A: number(f[1]), B: number(f[2])}
		value, scale := f[len(f)-1], 1.0
		for suffix, by := range map[string]float64{"k": 1e3, "meg": 1e6} {
			if v, ok := strings.CutSuffix(value, suffix); ok {
				value, scale = v, by
			}
		}
		e.Value = figure(t, value) * scale
		if f[0][0] == 'V' {
			e.Kind = plain.Voltage
		}
		c.Elements = append(c.Elements, e)
	}
	return c, nodes, string(b)
}

// The decks hold circuits of DOE-HDBK-1011/1-92 and US Army Subcourse SS0602, a
// Wheatstone bridge and an invented headlamp feed; recorded are the figures that
// ngspice printed for them.
func TestDecks(t *testing.T) {
	t.Parallel()
	rows := published(t, "decks.csv")
	for _, name := range []string{"brake", "doe36", "load", "wheat"} {
		c, nodes, _ := deck(t, name)
		s, err := c.Solve()
		require.NoError(t, err, name)
		require.Empty(t, s.Isolated, name)
		n := 0
		for _, row := range rows {
			if row["deck"] != name {
				continue
			}
			n++
			want := figure(t, row["volts"])
			require.InDelta(t, want, s.Volts[nodes[row["node"]]], 2e-6*want, "%s %s", name, row["node"])
			// The solver under test has one source: the stretch of the deck that hangs on it.
			require.InDelta(t, want, solvedFrom(c, nodes[row["node"]]), 2e-6*want, "%s %s", name, row["node"])
		}
		require.NotZero(t, n, name)
	}
}

// solvedFrom is the voltage of a node of a deck by the solver under test, which
// knows one source: the one that the node hangs on.
func solvedFrom(c *plain.Circuit, at int) float64 {
	for _, source := range c.Elements {
		if source.Kind != plain.Voltage {
			continue
		}
		if source.A == at {
			return source.Value
		}
		w := newNetwork(c.Nodes + 1)
		of := func(k int) int {
			switch k {
			case source.B:
				return minus
			case source.A:
				return plus
			}
			return k + 1
		}
		for _, e := range c.Elements {
			if e.Kind == plain.Resistor {
				w.join(of(e.A), of(e.B), Exactly(1/e.Value))
			}
		}
		w.keep(of(at))
		if v := w.volts(of(at), minus, Exactly(source.Value)); v.Hi > 0 && w.between(of(at), plus).Hi > 0 {
			return v.Hi
		}
	}
	return math.NaN()
}

func TestDecksAgainstNgspice(t *testing.T) {
	t.Parallel()
	path := ngspice(t)
	for _, name := range []string{"brake", "doe36", "load", "wheat"} {
		c, nodes, text := deck(t, name)
		got := simulate(t, path, text)
		s, err := c.Solve()
		require.NoError(t, err, name)
		n := 0
		for called, k := range nodes {
			if v, ok := got["v("+called+")"]; ok {
				n++
				require.InDelta(t, v, s.Volts[k], 2e-6*math.Abs(v), "%s %s", name, called)
			}
		}
		require.NotZero(t, n, name)
	}
}

// row finds the one row of circuits_worked.csv whose source and circuit begin so.
func row(t *testing.T, source, circuit string) (printed, computed float64) {
	t.Helper()
	for _, r := range published(t, "circuits_worked.csv") {
		if strings.HasPrefix(r["source"], source) && strings.HasPrefix(r["circuit"], circuit) {
			if r["published"] != "" {
				printed = figure(t, r["published"])
			}
			return printed, figure(t, r["computed_ngspice_or_exact"])
		}
	}
	require.Fail(t, "no such circuit", "%s %s", source, circuit)
	return 0, 0
}

// path of resistances from the positive post to the negative, and beside some of
// them a meter: what it shows. beside is its place in the path, -1: there is none.
func read(e float64, ohms []float64, at, beside int, meter float64) float64 {
	w := newNetwork(len(ohms) + 1)
	node := func(k int) int {
		switch k {
		case 0:
			return plus
		case len(ohms):
			return minus
		}
		return k + 1
	}
	for k, r := range ohms {
		w.join(node(k), node(k+1), Exactly(1/r))
	}
	if beside >= 0 {
		w.join(node(beside), node(beside+1), Exactly(1/meter))
	}
	w.keep(node(at), node(at+1))
	v := w.volts(node(at), node(at+1), Exactly(e))
	return (v.Lo + v.Hi) / 2
}

// DOE-HDBK-1011/1-92, pages 44 and 45; US Army Subcourses SS0602, page 18, and
// IT0334; US Navy NEETS module 3, page 1-28; Kuphaldt, Lessons in Electric Circuits
// I, 'Voltmeter impact on measured circuit'.
func TestWorkedCircuits(t *testing.T) {
	t.Parallel()
	printed, want := row(t, "DOE", "80 V")
	amps := read(80, []float64{20, 10}, 0, -1, 0) / 20
	require.InDelta(t, want, amps, 5e-5)
	require.InDelta(t, printed, amps, 0.01, "the handbook cuts the last digit off")

	_, want = row(t, "DOE", "50 V opposing 70 V")
	two := &plain.Circuit{Nodes: 4, Elements: []plain.Element{
		{Kind: plain.Voltage, A: 1, B: 0, Value: 50}, {A: 1, B: 2, Value: 30}, {A: 2, B: 3, Value: 10}, {Kind: plain.Voltage, A: 3, B: 0, Value: 70},
	}}
	s, err := two.Solve()
	require.NoError(t, err)
	require.InDelta(t, want, s.Amps[1], 1e-12, "the other way round than assumed")

	loops, _, _ := deck(t, "doe36")
	s, err = loops.Solve()
	require.NoError(t, err)
	for _, r := range published(t, "circuits_worked.csv") {
		if !strings.HasPrefix(r["circuit"], "6 V; 2 ohm") {
			continue
		}
		currents := strings.Split(r["computed_ngspice_or_exact"], ",")
		require.Len(t, currents, 3)
		for k, at := range []int{1, 2, 3} {
			require.InDelta(t, figure(t, currents[k]), s.Amps[at], 1e-12)
		}
	}

	// 2 A through three resistors: as a current, and as the 200 V that drive it.
	driven := &plain.Circuit{Nodes: 4, Elements: []plain.Element{
		{Kind: plain.Current, A: 0, B: 1, Value: 2}, {A: 1, B: 2, Value: 50}, {A: 2, B: 3, Value: 15}, {A: 3, B: 0, Value: 35},
	}}
	s, err = driven.Solve()
	require.NoError(t, err)
	var drops []string
	for _, r := range published(t, "circuits_worked.csv") {
		if r["source"] == "US Army Subcourse IT0334" {
			drops = strings.Split(r["published"], ",")
		}
	}
	require.Len(t, drops, 3)
	for k, d := range drops {
		require.InDelta(t, figure(t, d), s.Volts[k+1]-s.Volts[(k+2)%4], 1e-10)
		require.InDelta(t, figure(t, d), read(200, []float64{50, 15, 35}, k, -1, 0), 1e-10)
	}

	for circuit, meter := range map[string]float64{"120 V": 100e3, "same; 500k": 500e3} {
		printed, want = row(t, "US Army Subcourse SS0602", circuit)
		got := read(120, []float64{70e3, 50e3}, 1, 1, meter)
		require.InDelta(t, want, got, 5e-5, circuit)
		require.InDelta(t, printed, got, 0.15, "%s: the handbook rounds the current", circuit)
	}
	_, want = row(t, "derived", "same; 10 Mohm")
	require.InDelta(t, want, read(120, []float64{70e3, 50e3}, 1, 1, MeterOhms), 5e-5)

	printed, want = row(t, "US Navy NEETS", "meter 1k")
	require.InDelta(t, want, printed, 0)
	require.InDelta(t, 10, read(want, []float64{9e3, 1e3}, 1, -1, 0), 1e-12, "full scale of the movement")

	printed, want = row(t, "Kuphaldt", "24 V")
	got := read(24, []float64{250e6, 250e6}, 1, 1, MeterOhms)
	require.InDelta(t, want, got, 5e-7)
	require.InDelta(t, printed, got, 5e-5)

	_, want = row(t, "derived Wheatstone", "10 V")
	w := newNetwork(4)
	for _, j := range []joined{{plus, 2, 100}, {2, minus, 200}, {plus, 3, 300}, {3, minus, 590}, {2, 3, 1000}} {
		w.join(j.a, j.b, Exactly(1/j.siemens))
	}
	w.keep(2, 3)
	v := w.volts(2, 3, Exactly(10))
	require.InDelta(t, want, v.Lo, 1e-8)
	require.InDelta(t, want, v.Hi, 1e-8)
}

// The gauges by the formula of ASTM B258, as GNU units computes them; class 5 of IEC
// 60228; the temperature coefficient of copper, 0.00393 per degree from 20
// (HyperPhysics, and IEC 60028).
func TestWireTables(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "wire_awg_units.csv") {
		gauge, area := int(figure(t, r["awg"])), figure(t, r["area_mm2_units"])
		require.InEpsilon(t, area, GaugeArea(gauge), 1e-8, "AWG %d", gauge)
		require.InEpsilon(t, figure(t, r["diam_mm_units"]), 2*math.Sqrt(GaugeArea(gauge)/math.Pi), 1e-8, "AWG %d", gauge)
		// Solid copper, and flexible strands of the same section that have up to an
		// eighth more: both are within what a wire drawn so may have.
		solid := figure(t, r["ohm_per_km_20C_units"]) / 1000
		ours := OhmsPerMetre(area, 20)
		require.Greater(t, ours, solid, "AWG %d", gauge)
		require.Less(t, ours, 1.16*solid, "AWG %d", gauge)
		require.True(t, Wire(1, area).Holds(solid), "AWG %d", gauge)
	}
	for _, r := range published(t, "iec60228_class5.csv") {
		area, most := figure(t, r["mm2"]), figure(t, r["max_ohm_per_km_20C_plain_class5"])
		require.InEpsilon(t, most/1000, OhmsPerMetre(area, 20), 1e-12, "%g mm2", area)
		require.True(t, Wire(1, area).Holds(most/1000))
		require.InEpsilon(t, most/1000*(1+0.00393*60), OhmsPerMetre(area, 80), 1e-12, "%g mm2 at 80 degrees", area)
	}
}

// GNU units (https://www.gnu.org/software/units) knows the gauges by itself.
func TestGaugesAgainstUnits(t *testing.T) {
	t.Parallel()
	path, err := exec.LookPath("units")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program units is missing: apt-get install units")
		}
		t.Skip("install the package 'units' to hold the gauges against it; the recorded figures were checked instead")
	}
	for _, gauge := range []int{0, 1, 4, 10, 16, 18, 22, 24} {
		out, err := exec.CommandContext(t.Context(), path, "-t", "-o", "%.12g", "wiregauge("+strconv.Itoa(gauge)+")", "mm").Output()
		require.NoError(t, err)
		d := figure(t, strings.TrimSpace(string(out)))
		require.InEpsilon(t, math.Pi/4*d*d, GaugeArea(gauge), 1e-9, "AWG %d", gauge)
	}
}

// What is called well never drops more than US Army TM 5-3820-256-24-4 allows in a
// cranking circuit, and a high resistance that counts drops more than any part of
// one may.
func TestVoltageDrops(t *testing.T) {
	t.Parallel()
	rows := map[string]float64{}
	for _, r := range published(t, "voltage_drops.csv") {
		rows[r["where"]] = figure(t, r["volts"])
		require.Greater(t, counts, rows[r["where"]], r["where"])
	}
	require.LessOrEqual(t, wellOver(Wiring), rows["cable 3 to 6 ft"])
	require.LessOrEqual(t, wellOver(Switch), rows["mechanical switch"])
	require.LessOrEqual(t, wellOver(Ground), rows["ground side"])
}
