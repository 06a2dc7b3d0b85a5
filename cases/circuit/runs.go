package circuit

import (
	"math"
	"slices"
)

// run is what lies one behind the other with nothing else joined, loads among it: all that
// flows through one of its elements flows through each.
type run struct {
	nodes    []int // one more than elements
	elements []int
}

// Clamped is a drop that is read together with its current.
type Clamped struct {
	Red, Black int // nodes
	At         int // the element that the clamp is round
}

// Clamps are the drops that prove most when they are read together with their currents: over
// a feed or a return from one end to the other, and to the last but one of its parts, so that
// each lies in two of them; and over a load, by itself and with what lies before it or behind.
func (c *Circuit) Clamps(setup *Setup) (out []Clamped) {
	for _, r := range c.runs(setup) {
		add := func(from, to int) {
			if from < 0 || to >= len(r.nodes) {
				return
			}
			at := r.elements[from]
			for _, k := range r.elements[from:to] {
				if c.Elements[k].Kind == Wiring { // where a clamp goes round
					at = k
					break
				}
			}
			out = append(out, Clamped{r.nodes[from], r.nodes[to], at})
		}
		start := 0
		for n := 0; n <= len(r.elements); n++ {
			load := n < len(r.elements) && c.Elements[r.elements[n]].Kind >= Load
			if !load && n < len(r.elements) {
				continue
			}
			if n-start > 1 {
				add(start, n)
				add(start, n-1)
				add(start+1, n)
			} else if n-start == 1 && c.Elements[r.elements[start]].Kind == Wiring {
				add(start, n)
			}
			if load {
				add(n, n+1)
				add(n-1, n+1)
				add(n, n+2)
			}
			start = n + 1
		}
	}
	return out
}

// runs are the longest there are of what conducts.
func (c *Circuit) runs(setup *Setup) (out []run) {
	at, ends := make([][]int, len(c.Points)), make([]bool, len(c.Points))
	ends[minus], ends[plus] = true, true
	carries := make([]bool, len(c.Elements))
	for k := range c.Elements {
		e := &c.Elements[k]
		if e.From == e.To {
			continue
		}
		at[e.From], at[e.To] = append(at[e.From], k), append(at[e.To], k)
		carries[k] = (k >= len(setup.Position) || setup.Position[k] == Closed) && e.Kind <= Motor && e.Kind != Output && e.Follows < 0
		if !carries[k] {
			ends[e.From], ends[e.To] = true, true
		}
	}
	for n := range at {
		ends[n] = ends[n] || len(at[n]) != 2
	}
	for _, b := range setup.Bridges {
		ends[b.A], ends[b.B] = true, true
	}
	met := make([]bool, len(c.Elements))
	for n := range at {
		for _, k := range at[n] {
			if !ends[n] || met[k] || !carries[k] {
				continue
			}
			r := run{nodes: []int{n}}
			for here := n; ; k = at[here][0] + at[here][1] - k {
				met[k] = true
				here = c.Elements[k].From + c.Elements[k].To - here
				r.nodes, r.elements = append(r.nodes, here), append(r.elements, k)
				if ends[here] {
					break
				}
			}
			if c.Elements[r.elements[0]].From != n { // as drawn, from plus to minus
				slices.Reverse(r.nodes)
				slices.Reverse(r.elements)
			}
			out = append(out, r)
		}
	}
	return out
}

// Flows is what a clamp that shows so many amperes says of the current: 4 % and 30 mA off at
// most (common practice).
func Flows(amps float64) Span {
	off := 0.03 + 0.04*math.Abs(amps)
	return Span{math.Max(math.Abs(amps)-off, 0), math.Abs(amps) + off}
}
