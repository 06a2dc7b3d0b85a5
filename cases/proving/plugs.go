package proving

import (
	"slices"

	"knowngood.example/cases/circuit"
)

// lieTogether makes one plug of the contacts on either side of a load, a switch or an
// output, so that they, and the wires at them, may touch.
func (w *drawing) lieTogether() {
	// next is the element of the kind that leads on from a node, or to it.
	next := func(k circuit.Kind, node int) int {
		for i := range w.Elements {
			if e := &w.Elements[i]; e.Kind == k && (e.From == node || e.To == node) {
				return i
			}
		}
		return -1
	}
	other := func(i, node int) int { return w.Elements[i].From + w.Elements[i].To - node }
	touch := func(a, b int) {
		if slices.Contains(w.Elements[a].Neighbours, b) {
			return // where they lie together at either end
		}
		w.Elements[a].Neighbours = append(w.Elements[a].Neighbours, b)
		w.Elements[b].Neighbours = append(w.Elements[b].Neighbours, a)
	}
	for k := range w.Elements {
		e := &w.Elements[k]
		if e.Kind < circuit.Switch || e.Kind == circuit.Fuse || e.Kind == circuit.Breaker {
			continue
		}
		a, b := next(circuit.Contact, e.From), next(circuit.Contact, e.To)
		if a < 0 || b < 0 || a == b || len(w.Elements[a].Neighbours)+len(w.Elements[b].Neighbours) > 0 {
			continue
		}
		touch(a, b)
		x, y := next(circuit.Wiring, other(a, e.From)), next(circuit.Wiring, other(b, e.To))
		if x >= 0 && y >= 0 && x != y {
			touch(x, y)
		}
	}
}
