package circuit

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit/plain"
)

// joined is a conductance between two nodes, as drawn for a comparison.
type joined struct {
	a, b    int
	siemens float64
}

// net is a network of known conductances; node 0 is minus, node 1 plus.
type net struct {
	n   int
	all []joined
}

func (t *net) join(a, b int, siemens float64) {
	if a != b {
		t.all = append(t.all, joined{a, b, siemens})
	}
}

// network is the net for the solver under test.
func (t *net) network() *network {
	w := newNetwork(t.n)
	for _, j := range t.all {
		w.join(j.a, j.b, Exactly(j.siemens))
	}
	return w
}

// solve gives the voltages of all nodes by taking the net apart and putting it
// together again.
func (t *net) solve(e float64) []float64 {
	ends, g := make([][2]int32, len(t.all)), make([]float64, len(t.all))
	for i, j := range t.all {
		ends[i], g[i] = [2]int32{int32(j.a), int32(j.b)}, j.siemens
	}
	s := new(taker).takeApart(t.n, ends, minus, minus, true)
	g = append(g, make([]float64, s.slots-len(g))...)
	s.work(s.ops, g)
	v := make([]float64, t.n)
	s.volts(g, v, e)
	return v
}

// drop is the voltage between two nodes, as a share of the supply's, by the shape seen
// from them: worked out once with numbers and once with spans.
func (t *net) drop(red, black int) (float64, Span) {
	ends, g, spans := make([][2]int32, len(t.all)), make([]float64, len(t.all)), make([]Span, len(t.all))
	for i, j := range t.all {
		ends[i], g[i], spans[i] = [2]int32{int32(j.a), int32(j.b)}, j.siemens, Exactly(j.siemens)
	}
	s := new(taker).takeApart(t.n, ends, red, black, true)
	g = append(g, make([]float64, s.slots-len(g))...)
	s.work(s.ops, g)
	spans = append(spans, make([]Span, s.slots-len(spans))...)
	s.workSpans(s.ops, spans)
	return s.share(g), s.shares(spans)
}

// plain is the net for the second solver, with e volts between the posts. Its
// resistances are the nearest to the reciprocals of the conductances, which costs
// 1e-16.
func (t *net) plain(e float64) *plain.Circuit {
	c := &plain.Circuit{Nodes: t.n, Elements: []plain.Element{{Kind: plain.Voltage, A: plus, B: minus, Value: e}}}
	for _, j := range t.all {
		c.Elements = append(c.Elements, plain.Element{A: j.a, B: j.b, Value: 1 / j.siemens})
	}
	return c
}

// exact gives the voltages in rational numbers (math/big), by Gaussian elimination
// of the nodal equations; nil where nothing leads to a node.
func (t *net) exact(e float64) []*big.Rat {
	n := t.n
	rows := make([][]*big.Rat, n)
	for i := range rows {
		rows[i] = make([]*big.Rat, n+1)
		for j := range rows[i] {
			rows[i][j] = new(big.Rat)
		}
	}
	for _, j := range t.all {
		g := new(big.Rat).SetFloat64(j.siemens)
		rows[j.a][j.a].Add(rows[j.a][j.a], g)
		rows[j.b][j.b].Add(rows[j.b][j.b], g)
		rows[j.a][j.b].Sub(rows[j.a][j.b], g)
		rows[j.b][j.a].Sub(rows[j.b][j.a], g)
	}
	given := []*big.Rat{new(big.Rat), new(big.Rat).SetFloat64(e)}
	for k := 2; k < n; k++ { // the posts are known: to the right
		for p, v := range given {
			rows[k][n].Sub(rows[k][n], new(big.Rat).Mul(rows[k][p], v))
			rows[k][p].SetInt64(0)
		}
	}
	f, x := new(big.Rat), new(big.Rat)
	for k := n - 1; k >= 2; k-- { // the last first: leaves were made last
		if rows[k][k].Sign() == 0 {
			continue
		}
		for i := 2; i < k; i++ {
			if rows[i][k].Sign() == 0 {
				continue
			}
			f.Quo(rows[i][k], rows[k][k])
			for j := 2; j <= n; j++ {
				if j <= k || j == n {
					if rows[k][j].Sign() != 0 {
						rows[i][j].Sub(rows[i][j], x.Mul(f, rows[k][j]))
					}
				}
			}
		}
	}
	out := append(given, make([]*big.Rat, n-2)...)
	for k := 2; k < n; k++ {
		if rows[k][k].Sign() == 0 {
			continue
		}
		v := new(big.Rat).Set(rows[k][n])
		for j := 2; j < k; j++ {
			if rows[k][j].Sign() != 0 && out[j] != nil {
				v.Sub(v, x.Mul(rows[k][j], out[j]))
			}
		}
		out[k] = v.Quo(v, rows[k][k])
	}
	return out
}

// few digits keep the rationals short.
func siemens(r *rand.Rand, lo, hi float64) float64 {
	v := math.Exp(math.Log(lo) + r.Float64()*math.Log(hi/lo))
	m, e := math.Frexp(v)
	return math.Ldexp(math.Round(m*256)/256, e)
}

// wild is an invented network of chains, branches, shared splices and grounds, and
// bridges, with conductances over 14 decades: what is bolted (a tenth of a
// milliohm), what works, what is all but open, and leaks of 30 megohm to 30 gigohm.
// best is the most that anything conducts.
func wild(r *rand.Rand, nodes int, best float64) *net {
	t := &net{n: nodes}
	draw := func() float64 {
		switch r.IntN(10) {
		case 0, 1, 2:
			return siemens(r, 10, best)
		case 3, 4, 5, 6:
			return siemens(r, 1e-3, 100)
		case 7, 8:
			return siemens(r, 1e-8, 1e-3)
		}
		return siemens(r, 3e-11, 1e-7)
	}
	shape := r.IntN(3)
	for k := 2; k < nodes; k++ {
		from := k - 1 // a chain
		if shape == 1 || shape == 2 && r.IntN(3) == 0 {
			from = r.IntN(k) // a branch
		}
		t.join(from, k, draw())
	}
	t.join(nodes-1, minus, draw())
	for range r.IntN(nodes / 2) { // shared grounds and feeds, bridges
		a := 1 + r.IntN(nodes-1)
		b := r.IntN(nodes)
		if r.IntN(2) == 0 {
			b = r.IntN(2)
		}
		t.join(a, b, draw())
	}
	for k := 2; k < nodes; k++ {
		t.join(k, plus, siemens(r, 1/Leak.Hi, 1/Leak.Lo))
		t.join(k, minus, siemens(r, 1/Leak.Hi, 1/Leak.Lo))
	}
	return t
}

// bolted conducts best of all that is in a car: a tenth of a milliohm, in siemens.
const bolted = 1e4

func relative(got, want float64) float64 {
	if got == want {
		return 0
	}
	return math.Abs(got-want) / math.Max(math.Abs(want), 1e-300)
}

// TestSolvers holds the two ways of solving a network against rational numbers and
// against the second solver. The goal is 1e-9, of the voltage itself and not of the
// supply's; the elimination reaches about 1e-14.
func TestSolvers(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	const e = 12.5
	var worst struct{ solve, keep, drop, plain float64 }
	many := 150
	if testing.Short() {
		many = 40
	}
	for n := range many {
		nodes := 5 + r.IntN(36)
		if n%10 > 0 {
			nodes = 5 + r.IntN(16)
		}
		net := wild(r, nodes, bolted)
		want := net.exact(e)
		got := net.solve(e)
		second, err := net.plain(e).Solve()
		require.NoError(t, err, "network %d", n)
		require.Empty(t, second.Isolated)
		for k := range nodes {
			w, _ := want[k].Float64()
			worst.solve = math.Max(worst.solve, relative(got[k], w))
			worst.plain = math.Max(worst.plain, relative(second.Volts[k], w))
		}
		for range 4 {
			red, black := r.IntN(nodes), r.IntN(nodes)
			if red == black {
				continue
			}
			w, _ := new(big.Rat).Sub(want[red], want[black]).Float64()
			all := net
			net := all.network()
			net.keep(red, black)
			s := net.volts(red, black, Exactly(e))
			require.LessOrEqual(t, s.Lo, s.Hi+1e-9*math.Abs(s.Hi))
			share, spans := all.drop(red, black)
			for _, v := range []float64{share * e, spans.Lo * e, spans.Hi * e} {
				worst.drop = math.Max(worst.drop, math.Abs(v-w)/e)
				if black == minus {
					worst.keep = math.Max(worst.keep, relative(v, w))
				}
			}
			worst.drop = math.Max(worst.drop, math.Max(math.Abs(s.Lo-w), math.Abs(s.Hi-w))/e)
			if black == minus {
				worst.keep = math.Max(worst.keep, math.Max(relative(s.Lo, w), relative(s.Hi, w)))
			}
		}
	}
	said := fmt.Sprintf("worst relative error against rationals, of %d networks: solve %.1e, keep %.1e, drops of the supply %.1e; second solver %.1e",
		many, worst.solve, worst.keep, worst.drop, worst.plain)
	t.Log(said)
	require.LessOrEqual(t, worst.solve, 1e-9, said)
	require.LessOrEqual(t, worst.keep, 1e-9, said)
	require.LessOrEqual(t, worst.drop, 1e-9, said)
	require.LessOrEqual(t, worst.plain, 1e-9, said)
}

// TestIslands: what nothing leads to is at 0 in a draw, as the leaks of a whole
// vehicle leave no such node; the second solver says so instead.
func TestIslands(t *testing.T) {
	t.Parallel()
	net := &net{n: 6}
	net.join(plus, 2, 1)
	net.join(2, minus, 1)
	net.join(3, 4, 1)
	got := net.solve(12)
	require.Equal(t, []float64{0, 12, 6, 0, 0, 0}, got)
	second, err := net.plain(12).Solve()
	require.NoError(t, err)
	require.Equal(t, []int{3, 4, 5}, second.Isolated)
	require.InDelta(t, 6, second.Volts[2], 1e-12)
	require.True(t, math.IsNaN(second.Volts[3]))
}
