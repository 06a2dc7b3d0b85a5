package plain_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit/plain"
)

// solve a circuit whose first element is a source of e volts from node 1 to 0.
func solve(t *testing.T, nodes int, e float64, rest ...plain.Element) *plain.Solution {
	t.Helper()
	c := &plain.Circuit{Nodes: nodes, Elements: append([]plain.Element{{Kind: plain.Voltage, A: 1, Value: e}}, rest...)}
	s, err := c.Solve()
	require.NoError(t, err)
	return s
}

func TestDivider(t *testing.T) {
	t.Parallel()
	s := solve(t, 3, 12, plain.Element{A: 1, B: 2, Value: 1000}, plain.Element{A: 2, B: 0, Value: 3000})
	require.InDelta(t, 9, s.Volts[2], 1e-12)
	require.InDelta(t, 0.003, s.Amps[1], 1e-15)
	require.InDelta(t, -0.003, s.Amps[0], 1e-15, "out of a source's plus")
}

// A short of a tenth of a milliohm beside leaks of 30 gigohm: the node between two
// leaks lies where they put it, to the last digits.
func TestLeaksBesideShorts(t *testing.T) {
	t.Parallel()
	s := solve(t, 4, 12, plain.Element{A: 2, B: 3, Value: 1e-4}, plain.Element{A: 1, B: 2, Value: 30e9}, plain.Element{A: 3, B: 0, Value: 10e9})
	require.InEpsilon(t, 3, s.Volts[2], 1e-12)
	require.InEpsilon(t, 3, s.Volts[3], 1e-12)
}

// A filament alone on a source has the resistance that the power law says, and in a
// divider the one that goes with its own voltage.
func TestLamp(t *testing.T) {
	t.Parallel()
	lamp := plain.Element{Kind: plain.Lamp, A: 1, B: 0, Value: 6, Rated: 12, Power: 0.45, Cold: 0.1}
	for _, e := range []float64{0.01, 3, 12, 14} {
		ohms := 6 * math.Max(math.Pow(e/12, 0.45), 0.1)
		require.InEpsilon(t, e/ohms, solve(t, 2, e, lamp).Amps[1], 1e-12)
	}
	lamp.A, lamp.B = 2, 0
	for _, before := range []float64{0.01, 1, 20, 1e5} {
		s := solve(t, 3, 12.5, plain.Element{A: 1, B: 2, Value: before}, lamp)
		v := s.Volts[2]
		require.InEpsilon(t, (12.5-v)/before, v/(6*math.Max(math.Pow(v/12, 0.45), 0.1)), 1e-9)
	}
}

func TestDiode(t *testing.T) {
	t.Parallel()
	for _, slope := range []float64{0.003, 0.026, 0.05} {
		d := plain.Element{Kind: plain.Diode, A: 1, B: 2, Value: 0.75, Slope: slope}
		for _, after := range []float64{0.1, 11.25, 1e7} {
			s := solve(t, 3, 12, d, plain.Element{A: 2, B: 0, Value: after})
			amps := s.Volts[2] / after
			require.InDelta(t, 0.75+slope*math.Log(amps+math.Exp(-0.75/slope)), 12-s.Volts[2], 1e-6, "slope %g, %g ohm", slope, after)
		}
		d.A, d.B = 2, 1 // the other way round it blocks
		s := solve(t, 3, 12, d, plain.Element{A: 2, B: 0, Value: 1e6})
		require.InDelta(t, 1e6*math.Exp(-0.75/slope), s.Volts[2], 1e-5, "but for its saturation current")
	}
}

// A node that hangs on a diode alone has a voltage of which no digit is known: never a figure
// for the rest that is wrong.
func TestNodeOnADiodeAlone(t *testing.T) {
	t.Parallel()
	for _, knee := range []float64{0.45, 0.7, 0.85, 0.9} {
		c := &plain.Circuit{Nodes: 4, Elements: []plain.Element{
			{Kind: plain.Voltage, A: 1, B: 0, Value: 12.24}, {A: 1, B: 0, Value: 20}, {Kind: plain.Diode, A: 1, B: 3, Value: knee, Slope: 0.004},
			{A: 1, B: 0, Value: 16.56}, {A: 1, B: 0, Value: 2.595465663895268}, {A: 1, B: 2, Value: 0.07873556289257135}, {A: 2, B: 0, Value: 1e7},
		}}
		if s, err := c.Solve(); err == nil {
			require.InDelta(t, 12.24, s.Volts[2], 1e-6)
		} else {
			require.ErrorContains(t, err, "hangs on nothing")
		}
	}
}

// Two sources against one another, and a current source.
func TestSources(t *testing.T) {
	t.Parallel()
	s := solve(t, 4, 50, plain.Element{A: 1, B: 2, Value: 30}, plain.Element{A: 2, B: 3, Value: 10}, plain.Element{Kind: plain.Voltage, A: 3, B: 0, Value: 70})
	require.InDelta(t, -0.5, s.Amps[1], 1e-12)
	s = solve(t, 3, 5, plain.Element{A: 1, B: 2, Value: 10}, plain.Element{Kind: plain.Current, A: 2, B: 0, Value: 0.2})
	require.InDelta(t, 3, s.Volts[2], 1e-12)
}

// What hangs on nothing is reported and not guessed.
func TestIsolated(t *testing.T) {
	t.Parallel()
	s := solve(t, 6, 12,
		plain.Element{A: 1, B: 2, Value: 1}, plain.Element{A: 2, B: 0, Value: 1},
		plain.Element{A: 2, B: 3, Value: math.Inf(1)}, plain.Element{A: 3, B: 4, Value: 1})
	require.Equal(t, []int{3, 4, 5}, s.Isolated)
	require.True(t, math.IsNaN(s.Volts[4]))
	require.InDelta(t, 6, s.Volts[2], 1e-12)

	c := &plain.Circuit{Nodes: 3, Elements: []plain.Element{{Kind: plain.Voltage, A: 1, Value: 12}, {Kind: plain.Current, A: 1, B: 2, Value: 1}}}
	_, err := c.Solve()
	require.ErrorContains(t, err, "to where nothing leads")
	require.Contains(t, c.Deck(), "V0 1 0 DC 12")
	require.NotContains(t, c.Deck(), "v(2)")
}

func TestRefused(t *testing.T) {
	t.Parallel()
	for _, e := range []plain.Element{
		{A: 1}, {A: 1, Value: -1}, {A: 1, Value: math.NaN()}, {A: 7, Value: 1}, {Kind: plain.Lamp, A: 1, Value: 1},
		{Kind: plain.Diode, A: 1, Value: 0.7}, {Kind: plain.Voltage, A: 1, Value: math.Inf(1)},
	} {
		_, err := (&plain.Circuit{Nodes: 2, Elements: []plain.Element{e}}).Solve()
		require.Error(t, err, "%+v", e)
	}
	loop := &plain.Circuit{Nodes: 2, Elements: []plain.Element{{Kind: plain.Voltage, A: 1, Value: 12}, {Kind: plain.Voltage, A: 1, Value: 11}}}
	_, err := loop.Solve()
	require.ErrorContains(t, err, "sources form a loop")
}

// The deck says what ngspice needs: every element that is joined, its nodes, and
// what to print.
func TestDeck(t *testing.T) {
	t.Parallel()
	c := &plain.Circuit{Nodes: 4, Elements: []plain.Element{
		{Kind: plain.Voltage, A: 1, Value: 12}, {A: 1, B: 2, Value: 0.5},
		{Kind: plain.Lamp, A: 2, Value: 6, Rated: 12, Power: 0.5, Cold: 0.1},
		{Kind: plain.Diode, A: 0, B: 2, Value: 0.7, Slope: 0.03},
		{Kind: plain.Current, A: 2, Value: 1},
	}}
	deck := c.Deck()
	for _, want := range []string{"V0 1 0 DC 12\n", "R1 1 2 0.5\n", "B2 2 0 I=V(2,0)/(6*", "D3 0 2 M3\n.model M3 D(IS=", "I4 2 0 DC 1\n", "print v(2)\n"} {
		require.Contains(t, deck, want)
	}
	require.False(t, strings.Contains(deck, "v(3)"), "nothing leads to node 3")
}

// TestBesideGigohms: an ohmmeter on what hangs on leaks alone, of which the last digits never
// come to rest.
func TestBesideGigohms(t *testing.T) {
	t.Parallel()
	r := func(a, b int, ohms float64) plain.Element { return plain.Element{A: a, B: b, Value: ohms} }
	for _, leak := range []float64{9.564350139461859e+09, 1.1484337460288912e+10, 7e9, 2.2e10, 3.3e9, 6.1e9} {
		c := plain.Circuit{Nodes: 6, Elements: []plain.Element{
			{Kind: plain.Voltage, A: 1, Value: 12.238298742379136},
			r(2, 3, 0.029747851436000713), r(3, 4, 1.1345454545454545), {Kind: plain.Voltage, A: 5, B: 4, Value: 0.2}, r(5, 3, 500),
			r(4, 1, 1.1484337460288912e+10), r(4, 0, leak), r(2, 0, 1e7), r(3, 0, 1e7), r(4, 0, 1e7),
		}}
		s, err := c.Solve()
		require.NoError(t, err)
		require.InDelta(t, 0.2*1.1345454545454545/501.1345454545454545, s.Volts[3]-s.Volts[4], 1e-9, "the meter's own current")
	}
}
