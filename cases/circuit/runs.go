package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

// Run is what lies one behind the other between two nodes, with nothing else joined: all
// that flows through one of its elements flows through each.
type Run struct {
	Nodes    []int // one more than elements
	Elements []int
}

// Runs are those of two elements and more, and of one wire, whose resistance is known while
// they are well: feeds and returns between what branches, what loads, and what somebody put
// a jumper over. A clamp round one of them and a meter over it tell what it has.
func (c *Circuit) Runs(setup *Setup) (out []Run) {
	at := make([][]int, len(c.Points))
	for k := range c.Elements {
		if e := &c.Elements[k]; e.From != e.To {
			at[e.From], at[e.To] = append(at[e.From], k), append(at[e.To], k)
		}
	}
	ends := make([]bool, len(c.Points))
	ends[minus], ends[plus] = true, true
	for n, all := range at {
		ends[n] = ends[n] || len(all) != 2
	}
	for _, b := range setup.Bridges {
		ends[b.A], ends[b.B] = true, true
	}
	carries := func(k int) bool {
		e := &c.Elements[k]
		closed := k >= len(setup.Position) || setup.Position[k] == Closed
		return closed && e.From != e.To && e.Kind < Output && e.Follows < 0
	}
	for k := range c.Elements {
		if !carries(k) {
			ends[c.Elements[k].From], ends[c.Elements[k].To] = true, true
		}
	}
	met := make([]bool, len(c.Elements))
	for n := range c.Points {
		if !ends[n] {
			continue
		}
		for _, k := range at[n] {
			if met[k] || !carries(k) {
				continue
			}
			r := Run{Nodes: []int{n}}
			for here := n; ; {
				met[k] = true
				here = c.Elements[k].From + c.Elements[k].To - here
				r.Nodes, r.Elements = append(r.Nodes, here), append(r.Elements, k)
				if ends[here] {
					break
				}
				k = at[here][0] + at[here][1] - k
			}
			if len(r.Elements) > 1 || c.Elements[k].Kind == Wiring {
				out = append(out, r)
			}
		}
	}
	return out
}

// Flows is what a clamp that shows so many amperes says of the current.
func Flows(amps float64) Span {
	off := 0.03 + 0.04*math.Abs(amps)
	return Span{math.Max(math.Abs(amps)-off, 0), math.Abs(amps) + off}
}

func (o *Observation) keyOf(h suspect.Hypothesis) [3]int { k, _ := o.key(h); return k }
