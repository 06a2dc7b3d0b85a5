package proving

import "knowngood.example/cases/circuit/plain"

// Together puts circuits side by side into one, so that one run of a solver does
// for all; node 0 is the same for all of them. Node n of circuit k is node at[k]+n.
func Together(all []*plain.Circuit) (one *plain.Circuit, at []int) {
	one = &plain.Circuit{Nodes: 1}
	for _, c := range all {
		off := one.Nodes - 1
		at = append(at, off)
		move := func(n int) int {
			if n == 0 {
				return 0
			}
			return n + off
		}
		for _, e := range c.Elements {
			e.A, e.B = move(e.A), move(e.B)
			one.Elements = append(one.Elements, e)
		}
		one.Nodes += c.Nodes - 1
	}
	return one, at
}
