package plain

import (
	"errors"
	"math"
)

// matrix is a set of linear equations: n rows of n numbers, and on the right what
// they come to.
type matrix struct {
	n    int
	rows [][]float64 // the last number of each is the right side
}

func newMatrix(n int) *matrix {
	m := &matrix{n: n, rows: make([][]float64, n)}
	for i := range m.rows {
		m.rows[i] = make([]float64, n+1)
	}
	return m
}

func (m *matrix) clear() {
	for _, r := range m.rows {
		clear(r)
	}
}

// element puts in that a current, growing with the voltage by the slope, flows from
// the node of row a to that of row b; -1 is node 0, which has none.
func (m *matrix) element(a, b int, slope, amps float64) {
	if a == b {
		return
	}
	if a >= 0 {
		m.rows[a][a] += slope
		m.rows[a][m.n] -= amps
	}
	if b >= 0 {
		m.rows[b][b] += slope
		m.rows[b][m.n] += amps
	}
	if a >= 0 && b >= 0 {
		m.rows[a][b] -= slope
		m.rows[b][a] -= slope
	}
}

// source puts in a voltage source with its current as the unknown k: amps flow
// through it by now, and so many volts are missing.
func (m *matrix) source(a, b, k int, amps, missing float64) {
	if a >= 0 {
		m.rows[a][k]++
		m.rows[k][a]++
		m.rows[a][m.n] -= amps
	}
	if b >= 0 {
		m.rows[b][k]--
		m.rows[k][b]--
		m.rows[b][m.n] += amps
	}
	m.rows[k][m.n] = missing
}

var errSingular = errors.New("a node hangs on nothing that conducts, or sources form a loop")

// solve by Gaussian elimination with partial pivoting; the rows are used up.
func (m *matrix) solve() ([]float64, error) {
	for k := range m.n {
		pivot := k
		for i := k + 1; i < m.n; i++ {
			if math.Abs(m.rows[i][k]) > math.Abs(m.rows[pivot][k]) {
				pivot = i
			}
		}
		m.rows[k], m.rows[pivot] = m.rows[pivot], m.rows[k]
		top := m.rows[k]
		if top[k] == 0 || math.IsNaN(top[k]) {
			return nil, errSingular
		}
		for _, r := range m.rows[k+1:] {
			if r[k] == 0 {
				continue
			}
			f := r[k] / top[k]
			for j := k + 1; j <= m.n; j++ {
				r[j] -= f * top[j]
			}
		}
	}
	x := make([]float64, m.n)
	for k := m.n - 1; k >= 0; k-- {
		v := m.rows[k][m.n]
		for j := k + 1; j < m.n; j++ {
			v -= m.rows[k][j] * x[j]
		}
		x[k] = v / m.rows[k][k]
	}
	return x, nil
}
