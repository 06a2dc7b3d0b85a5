package proving

import "knowngood.example/cases/circuit/plain"

// apart is the resistance in ohms from which two pieces of wiring are two.
const apart = 1e7

// leak lets each piece of wiring that floats leak from one point of it.
func (t *truth) leak(c *plain.Circuit) {
	root := make([]int, c.Nodes)
	for k := range root {
		root[k] = k
	}
	find := func(k int) int {
		for root[k] != k {
			k = root[k]
		}
		return k
	}
	for _, e := range c.Elements {
		if e.Kind != plain.Diode && !(e.Value >= apart) {
			root[find(e.A)] = find(e.B)
		}
	}
	at := map[int]int{} // of each piece the point that leaks
	for k := range t.Points {
		r := find(k)
		if r == find(minus) || r == find(plus) {
			continue
		}
		if p, met := at[r]; !met || t.leaks[k][2] < t.leaks[p][2] {
			at[r] = k
		}
	}
	for k := range t.Points { // in an order that stays
		if p, met := at[find(k)]; met && p == k {
			c.Elements = append(c.Elements,
				plain.Element{A: k, B: plus, Value: t.leaks[k][0]},
				plain.Element{A: k, B: minus, Value: t.leaks[k][1]})
		}
	}
}
