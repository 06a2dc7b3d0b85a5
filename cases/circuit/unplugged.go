package circuit

import (
	"cmp"
	"slices"

	"knowngood.example/cases/suspect"
)

// Replugging is what unplugging and putting back takes of a reading, in minutes, risk
// included: it is saved where the plug is off already. Assumed.
const Replugging = 7

// TestLamp is the resistance of a filament test lamp, and what it mostly has while it is
// lit: 15 to 70 ohm hot, a tenth of that cold; a quarter of an ampere (common practice, by
// 12 V). One for a higher voltage has more by the square of it.
func TestLamp(system float64) (ohms Span, usual float64) {
	k := max(system/12, 1)
	return Span{1.5, 70 * k * k}, 50 * k * k
}

// Apart is a reading with a plug off.
type Apart struct {
	// Manner is Unplugged, TestLamp or OhmsUnplugged.
	Manner     suspect.Manner
	Red, Black int
	// Lamp is the post to which the lamp leads from the red lead's point: the negative one
	// loads a feed, the positive one a ground side.
	Lamp int
	// Dead: the fuses are out.
	Dead bool
}

// PlugOff are the readings worth taking with the elements of a plug off, in the state with
// them Gone: where a feed or a way to ground ends, with a lamp on it, or without one where
// none may be; ohms from there to the negative post, and over a load that nothing lies
// beside any more. It says nothing of the part's own side of a plug.
func (c *Circuit) PlugOff(setup *Setup, plug []int, lamp func(n int) bool) (out []Apart) {
	might := *setup // what is open now is in question too: it may be stuck
	might.Position = slices.Clone(setup.Position)
	for k, p := range might.Position {
		if p == Open {
			might.Position[k] = Closed
		}
	}
	low := func(k Kind) bool { return k < Load }
	fed, through := c.reached(&might, plus, low), c.reached(&might, plus, func(Kind) bool { return true })
	back := c.reached(&might, minus, low)
	dead, _ := c.Dead(*setup)
	ohms := func(red, black int) {
		a := Apart{Manner: suspect.OhmsUnplugged, Red: red, Black: black, Dead: c.Live(&might, red, black)}
		if !a.Dead || !c.Live(&dead, red, black) {
			out = append(out, a)
		}
	}
	for _, n := range c.ends(plug) {
		feed := fed[n] || through[n] && !back[n]
		switch {
		case feed && lamp(n):
			out = append(out, Apart{Manner: suspect.TestLamp, Red: n, Black: minus, Lamp: minus})
		case feed:
			out = append(out, Apart{Manner: suspect.Unplugged, Red: n, Black: minus})
		case back[n] && lamp(n):
			out = append(out, Apart{Manner: suspect.TestLamp, Red: n, Black: minus, Lamp: plus})
		}
		if (feed || back[n]) && lamp(n) { // what a lamp would hurt, an ohmmeter may
			ohms(n, minus)
		}
	}
	for _, e := range c.Elements {
		if (e.Kind == Load || e.Kind == Lamp || e.Kind == Motor) && (c.alone(setup, e.From) || c.alone(setup, e.To)) && lamp(e.From) && lamp(e.To) && c.touches(plug, e) {
			ohms(e.From, e.To)
		}
	}
	return out
}

// ends are the nodes of some elements but for the posts, each once.
func (c *Circuit) ends(of []int) (out []int) {
	for _, k := range of {
		for _, n := range []int{c.Elements[k].From, c.Elements[k].To} {
			if n > plus && !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

// alone reports whether nothing is joined to a node but one load and what is off.
func (c *Circuit) alone(setup *Setup, n int) bool {
	joined := 0
	for k, e := range c.Elements {
		if (e.From == n || e.To == n) && (setup.Position[k] != Gone || e.Kind >= Load) {
			joined++
		}
	}
	return n > plus && joined == 1
}

// touches reports whether an element is one of some, or next to one of them.
func (c *Circuit) touches(some []int, e Element) bool {
	all := c.ends(some)
	return slices.Contains(all, e.From) || slices.Contains(all, e.To)
}

// With is the state with a plug off, and for the reading the lamp on or the fuses out.
func (c *Circuit) With(setup Setup, plug []int, a Apart) Setup {
	setup = c.Off(setup, plug)
	if a.Dead {
		setup, _ = c.Dead(setup)
	}
	if a.Manner == suspect.TestLamp {
		ohms, usual := TestLamp(c.System)
		setup.Bridges = append(slices.Clone(setup.Bridges), Bridge{A: a.Red, B: a.Lamp, Ohms: ohms, Usual: usual})
	}
	return setup
}

// Off is the state with the elements of a plug off.
func (c *Circuit) Off(setup Setup, plug []int) Setup {
	setup.Position = append(slices.Clone(setup.Position), make([]Position, len(c.Elements)-len(setup.Position))...)
	for _, k := range plug {
		setup.Position[k] = Gone
	}
	return setup
}

// Outputs reports whether wire, contacts or splices join the node to a module's output:
// a module's pin.
func (c *Circuit) Outputs(n int) bool {
	joined := c.Joined([]int{n})
	return slices.ContainsFunc(c.Elements, func(e Element) bool {
		return e.Kind == Output && (slices.Contains(joined, e.From) || slices.Contains(joined, e.To))
	})
}

// Joined are the nodes that wire, contacts and splices join to some, without the posts.
func (c *Circuit) Joined(nodes []int) []int {
	out := slices.Clone(nodes)
	for i := 0; i < len(out); i++ {
		for _, e := range c.Elements {
			if e.Kind > Splice || e.From != out[i] && e.To != out[i] {
				continue
			}
			if far := e.From + e.To - out[i]; far > plus && !slices.Contains(out, far) {
				out = append(out, far)
			}
		}
	}
	return out
}

const (
	// nearPlugs bounds how many plugs readings are offered at, nearParts the suspects that
	// they are looked for by, each of nearMass at least. Assumed: unplugging costs, and far
	// from what is likely it tells little.
	nearPlugs = 4
	nearParts = 4
	nearMass  = 0.03
)

// Near are the plugs, by their number, next to the likeliest elements: of each the two that
// the fewest elements lie between.
func (c *Circuit) Near(plugs [][]int, mass func(k int) float64) (out []int) {
	likely := make([]float64, len(c.Elements))
	order := make([]int, len(c.Elements))
	for k := range c.Elements {
		likely[k], order[k] = mass(k), k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(likely[b], likely[a]) })
	for _, k := range order[:min(nearParts, len(order))] {
		if likely[k] < nearMass {
			break
		}
		away := c.away(k)
		near := make([]int, len(plugs))
		for p := range plugs {
			near[p] = p
		}
		far := func(p int) int {
			least := len(c.Elements) + 1
			for _, x := range plugs[p] {
				least = min(least, away[x])
			}
			return least
		}
		slices.SortStableFunc(near, func(a, b int) int { return cmp.Compare(far(a), far(b)) })
		for _, p := range near[:min(2, len(near))] {
			if len(out) < nearPlugs && !slices.Contains(out, p) && far(p) <= len(c.Elements) {
				out = append(out, p)
			}
		}
	}
	return out
}

// away is of each element how many lie between it and one of them, by way of anything but
// the posts; more than there are where nothing leads there.
func (c *Circuit) away(from int) []int {
	out := make([]int, len(c.Elements))
	for k := range out {
		out[k] = len(c.Elements) + 1
	}
	out[from] = 0
	for queue := []int{from}; len(queue) > 0; queue = queue[1:] {
		at := &c.Elements[queue[0]]
		for k := range c.Elements {
			if out[k] > len(c.Elements) && slices.ContainsFunc(c.ends([]int{k}), func(n int) bool { return n == at.From || n == at.To }) {
				out[k] = out[queue[0]] + 1
				queue = append(queue, k)
			}
		}
	}
	return out
}
