package circuit

import "math"

// solve gives the voltages of all nodes of a network whose conductances are known,
// with plus at e volts over minus. Nodes are removed one by one, as in remove;
// then, the other way round, each one's voltage is the mean of its neighbours',
// weighted by the conductances it had to them when it was removed. All terms are
// positive, so nothing cancels. A node that nothing leads to is at 0.
func (w *network) solve(e float64) []float64 { return w.solved(e, nil) }

// inject gives the voltages that one ampere makes which flows into one node and out
// of another, with both posts held at 0; into and out of the same node: into it and out
// of the posts.
func (w *network) inject(into, out int) []float64 {
	amps := make([]float64, w.n)
	amps[into]++
	if out != into {
		amps[out]--
	}
	return w.solved(0, amps)
}

// solved is solve with currents into the nodes.
func (w *network) solved(e float64, amps []float64) []float64 {
	n := w.n
	if amps == nil {
		amps = make([]float64, n)
	}
	if len(w.f) < n*n {
		w.f = make([]float64, n*n)
		w.near2 = make([]int, n)
	}
	f := w.f
	for i, g := range w.g {
		f[i] = g.Lo
	}
	v := make([]float64, n)
	v[plus] = e
	for k := n - 1; k > plus; k-- {
		row := f[k*n : k*n+k]
		near := w.near2[:0]
		sum := 0.0
		for i, g := range row {
			if g > 0 {
				near = append(near, i)
				sum += g
			}
		}
		if sum <= 0 {
			continue
		}
		for a, i := range near {
			gi := row[i] / sum
			amps[i] += gi * amps[k]
			to := f[i*n : i*n+k]
			for _, j := range near[:a] {
				x := gi * row[j]
				to[j] += x
				f[j*n+i] += x
			}
		}
	}
	for k := 2; k < n; k++ {
		sum, weighted := 0.0, amps[k]
		for i, g := range f[k*n : k*n+k] {
			sum += g
			weighted += g * v[i]
		}
		switch {
		case sum > 0:
			v[k] = weighted / sum
		case weighted != 0:
			v[k] = math.Inf(1) // a current that flows nowhere
		}
	}
	return v
}

// voltages of all nodes in a draw, with diodes, and contacts that coils close, as
// they must stand.
func (m *model) voltages(x assumed) []float64 {
	e := x.choose(ofPosts, m.setup.Posts).Lo
	if gates := m.gated(); len(gates) > 0 {
		m.set(&x, gates)
	}
	return m.build(&x).solve(e)
}
