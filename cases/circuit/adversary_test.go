package circuit

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/suspect"
)

var (
	adversary = flag.Duration("adversary", 0, "how long TestBoundsHold searches for a corner outside the bounds")
	seed      = flag.Uint64("seed", 1, "of the circuits that TestBoundsHold begins with")
)

// invent draws a circuit of a few elements: feeds, grounds, loads between them,
// loops of either, branches, fuses in series and side by side, relays and diodes. With motors
// most loads are motors of which nobody knows what they take: these blow what nothing else does.
func invent(r *rand.Rand, size int, motors bool) *Circuit {
	c := &Circuit{System: []float64{12, 12, 24}[r.IntN(3)], Points: []string{"batt-", "batt+"}}
	feeds, grounds := []int{plus}, []int{minus}
	pick := func(of []int) int { return of[r.IntN(len(of))] }
	add := func(k Kind, from, to int) int {
		e := Element{Key: fmt.Sprint("e", len(c.Elements)), Kind: k, From: from, To: to, Ohms: Usual(k, 0), Follows: -1}
		switch k {
		case Wiring:
			if r.IntN(4) > 0 {
				e.Ohms = Wire(0.2+5*r.Float64(), []float64{0, 0.5, 1, 2.5, 6, 16}[r.IntN(6)])
			}
		case Fuse, Breaker:
			if r.IntN(4) > 0 {
				e.Rating = []float64{5, 10, 15, 30}[r.IntN(4)]
				e.Ohms = Usual(k, e.Rating)
			}
		case Load, Lamp, Motor:
			if r.IntN(4) > 0 != (motors && k == Motor) {
				e.Ohms = About(c.System/[]float64{0.25, 1, 2, 5, 11}[r.IntN(5)], 0.2)
			}
		case Resistor:
			e.Ohms = About(siemens(r, 10, 1e5), 0.05)
		}
		c.Elements = append(c.Elements, e)
		return len(c.Elements) - 1
	}
	point := func() int {
		c.Points = append(c.Points, fmt.Sprint("p", len(c.Points)))
		return len(c.Points) - 1
	}
	low := []Kind{Wiring, Wiring, Contact, Contact, Splice, Switch, Fuse, Fuse, Breaker, Output}
	load := []Kind{Load, Lamp, Lamp, Motor, Motor, Resistor}
	if motors {
		load = []Kind{Load, Motor, Motor, Motor, Motor, Motor}
	}
	add(pickKind(r, load), plus, minus)
	if size > 1 {
		c.Elements = c.Elements[:0]
	}
	if size > 5 && r.IntN(3) == 0 { // a path that nothing leads away from
		at := add(Fuse, plus, point())
		for range 2 + r.IntN(4) {
			at = add(pickKind(r, low[:5]), c.Elements[at].To, point())
		}
		if r.IntN(2) == 0 { // a resistor before its load, or two loads one behind the other
			at = add([]Kind{Resistor, Resistor, Lamp, Load}[r.IntN(4)], c.Elements[at].To, point())
			if e := &c.Elements[at]; e.Kind == Resistor {
				e.Ohms = About(siemens(r, 0.1, 10), 0.2)
			}
			at = add(pickKind(r, low[:5]), c.Elements[at].To, point())
		}
		add(pickKind(r, load), c.Elements[at].To, minus)
	}
	for len(c.Elements) < size {
		switch r.IntN(9) {
		case 0, 1, 2:
			p := point()
			add(pickKind(r, low), pick(feeds), p)
			feeds = append(feeds, p)
		case 3, 4:
			p := point()
			add(pickKind(r, low[:6]), p, pick(grounds))
			grounds = append(grounds, p)
		case 5, 6, 7:
			add(pickKind(r, load), pick(feeds), pick(grounds))
		default:
			switch r.IntN(5) {
			case 0, 1: // a loop, or a fuse beside another
				add(pickKind(r, low), pick(feeds), pick(feeds))
			case 2:
				add(pickKind(r, low[:6]), pick(grounds), pick(grounds))
			case 3:
				add(Diode, pick(feeds), pick(grounds))
				if r.IntN(2) == 0 {
					e := &c.Elements[len(c.Elements)-1]
					e.From, e.To = e.To, e.From
				}
			default:
				coil, p := add(Coil, pick(feeds), pick(grounds)), point()
				contact := add(Switch, pick(feeds), p)
				c.Elements[contact].Follows = coil
				feeds = append(feeds, p)
			}
		}
	}
	lieTogether(r, c)
	c.Compile()
	rate(r, c)
	return c
}

// lieTogether lets wires and contacts touch each other.
func lieTogether(r *rand.Rand, c *Circuit) {
	var can []int
	for k, e := range c.Elements {
		if e.Kind == Wiring || e.Kind == Contact {
			can = append(can, k)
		}
	}
	for range len(can) / 2 {
		a, b := can[r.IntN(len(can))], can[r.IntN(len(can))]
		if a != b && !contains(c.Elements[a].Neighbours, b) {
			c.Elements[a].Neighbours = append(c.Elements[a].Neighbours, b)
			c.Elements[b].Neighbours = append(c.Elements[b].Neighbours, a)
		}
	}
}

// rate gives each fuse the smallest usual rating that carries what it has to with
// all contacts closed, as whoever builds a car does; of a quarter nobody knows it.
func rate(r *rand.Rand, c *Circuit) {
	at := make([]int, len(c.Elements))
	p := &plain.Circuit{Nodes: len(c.Points), Elements: []plain.Element{{Kind: plain.Voltage, A: plus, B: minus, Value: 1.2 * c.System}}}
	for k, e := range c.Elements {
		if e.From == e.To || e.Kind == Diode {
			continue
		}
		at[k] = len(p.Elements)
		p.Elements = append(p.Elements, plain.Element{A: e.From, B: e.To, Value: math.Max(e.Ohms.Lo, touching)})
	}
	s, err := p.Solve()
	for k := range c.Elements {
		e := &c.Elements[k]
		if e.Kind != Fuse && e.Kind != Breaker || e.Rating <= 0 || err != nil || at[k] == 0 {
			continue
		}
		e.Rating = 0
		for _, usual := range []float64{5, 10, 15, 20, 30, 60, 100, 250} {
			if r.IntN(4) > 0 && e.Rating == 0 && math.Abs(s.Amps[at[k]]) < 0.8*usual {
				e.Rating = usual
			}
		}
	}
}

func pickKind(r *rand.Rand, of []Kind) Kind { return of[r.IntN(len(of))] }

// situation is a state of the circuit and a reading in it.
func situation(r *rand.Rand, c *Circuit) (Setup, Reading) {
	s := Setup{Posts: Span{c.System * 1.02, c.System * 1.06}, Position: make([]Position, len(c.Elements))}
	if r.IntN(4) == 0 {
		s.Posts = Span{c.System * 0.7, c.System * 1.2}
	}
	for k, e := range c.Elements {
		if r.IntN(5) > 0 {
			continue
		}
		switch e.Kind {
		case Switch, Output:
			if e.Follows < 0 {
				s.Position[k] = []Position{Open, Either}[r.IntN(2)]
			}
		case Contact:
			s.Position[k] = Open
		default:
			if r.IntN(3) == 0 {
				s.Position[k] = Gone
			}
		}
	}
	n := len(c.Points)
	if r.IntN(4) == 0 {
		b := Bridge{A: r.IntN(n), B: r.IntN(n)}
		b.Ohms = []Span{{0.005, 0.1}, {15, 70}, {2, 8}}[r.IntN(3)]
		if b.A != b.B && b.A+b.B != plus+minus {
			s.Bridges = []Bridge{b}
		}
	}
	at := func() []int {
		out := []int{r.IntN(n)}
		if r.IntN(6) == 0 {
			out = append(out, r.IntN(n))
		}
		return out
	}
	read := Reading{ID: "x", Setup: "x", Red: at(), Black: at(), Sigma: 0.05, Lead: Exactly(MeterOhms)}
	switch r.IntN(8) {
	case 0:
		read.Black = []int{minus}
	case 1:
		read.Quantity, read.Along, read.Lead = Amps, r.IntN(len(c.Elements)), Span{}
		read.Red, read.Black = []int{c.Elements[read.Along].From}, []int{c.Elements[read.Along].To}
	case 2:
		read.Lead = Span{15, 70}
	case 3:
		read.Quantity, read.Lead = Shine, Span{15, 70}
	case 4:
		read.Quantity, read.Lead, s.Off = Ohms, Span{}, r.IntN(2) == 0
		if !s.Off { // what a fault feeds is all that is live
			s, _ = c.Dead(s)
			s.Off = c.Live(&s, append(read.Red, read.Black...)...)
		}
	case 5:
		read.Duty = Span{0.4, 0.5}
	case 6:
		read.Quantity, read.Duty = Swing, Span{0, 1}
	}
	return s, read
}

// bad draws a fault.
func bad(r *rand.Rand, c *Circuit) broken {
	k := r.IntN(len(c.Elements))
	modes := c.Modes(k)
	if n := len(c.Elements[k].Neighbours); n > 0 && r.IntN(2) == 0 {
		modes = modes[len(modes)-n:]
	}
	return broken{k, modes[r.IntN(len(modes))].Mode}
}

// grounds reports whether it is a short to ground.
func (f broken) grounds(c *Circuit) bool {
	d, _ := c.Elements[f.element].effect(f.mode, c.high[f.element])
	return d == toMinus
}

// climb moves one unknown after the other towards what is wanted most, to either
// end of its span or within.
func climb(r *rand.Rand, t *truth, want func(float64) float64, passes int) (best, value float64) {
	best = math.Inf(-1)
	try := func() bool {
		v, ok := t.shown()
		if !ok || want(v) <= best {
			return false
		}
		best, value = want(v), v
		return true
	}
	t.knobs = t.knobs[:0]
	try()
	for k := range t.knobs {
		if r.IntN(3) > 0 {
			t.knobs[k] = r.Float64()
		} else {
			t.knobs[k] = float64(r.IntN(2))
		}
	}
	try()
	for range passes {
		better := false
		for _, k := range r.Perm(len(t.knobs)) {
			was := t.knobs[k]
			for _, x := range []float64{0, 1, r.Float64(), was + 0.1*(r.Float64()-0.5)} {
				t.knobs[k] = math.Min(math.Max(x, 0), 1)
				if try() {
					better, was = true, t.knobs[k]
				} else {
					t.knobs[k] = was
				}
			}
		}
		if !better {
			break
		}
	}
	return best, value
}

// outside is a truth outside the bounds.
type outside struct {
	c      *Circuit
	setup  Setup
	r      Reading
	faults []broken
	bounds Span
	value  float64
	knobs  []float64
}

func (o *outside) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "shows %.9g, bounds %.9g to %.9g\n  system %g, posts %v, bridges %v, off %v\n  reading: quantity %d red %v black %v along %d lead %v duty %v\n",
		o.value, o.bounds.Lo, o.bounds.Hi, o.c.System, o.setup.Posts, o.setup.Bridges, o.setup.Off, o.r.Quantity, o.r.Red, o.r.Black, o.r.Along, o.r.Lead, o.r.Duty)
	for k, e := range o.c.Elements {
		fmt.Fprintf(&b, "  %d: kind %d, %d-%d, %.4g to %.4g ohm", k, e.Kind, e.From, e.To, e.Ohms.Lo, e.Ohms.Hi)
		if e.Rating > 0 {
			fmt.Fprintf(&b, ", %g A", e.Rating)
		}
		if e.Follows >= 0 {
			fmt.Fprintf(&b, ", follows %d", e.Follows)
		}
		if p := o.setup.Position[k]; p != Closed {
			fmt.Fprintf(&b, ", position %d", p)
		}
		for _, f := range o.faults {
			if f.element == k {
				does, ohms := e.effect(f.mode, o.c.high[k])
				fmt.Fprintf(&b, "  <- %v (does %d, %v)", f.mode, does, ohms)
				if n, ok := f.mode.Neighbour(); ok {
					fmt.Fprintf(&b, " of %d", n)
				}
			}
		}
		b.WriteByte('\n')
	}
	fmt.Fprintf(&b, "  unknowns at %.4g", o.knobs)
	return b.String()
}

// sort of the violation, so that one of each is told.
func (o *outside) sort() string {
	var does []string
	for _, f := range o.faults {
		d, _ := o.c.Elements[f.element].effect(f.mode, o.c.high[f.element])
		does = append(does, fmt.Sprint(d))
	}
	sort.Strings(does)
	side := "above"
	if o.value < o.bounds.Lo {
		side = "below"
	}
	return fmt.Sprint("quantity ", o.r.Quantity, " ", side, ", faults do ", does)
}

// attack searches for a truth outside the bounds of one reading under one
// hypothesis.
func attack(r *rand.Rand, c *Circuit, setup Setup, read Reading, o *Observation, faults []broken) *outside {
	var h suspect.Hypothesis
	for _, f := range faults {
		h = append(h, suspect.Fault{Part: suspect.Part{Key: c.Elements[f.element].Key}, Mode: f.mode})
	}
	bounds := o.Expect(h)
	t := newTruth(c, &setup, &read, faults)
	// What leaks feeds a live ohmmeter by two thousandths of what it shows.
	far := func(a, b float64) float64 { return a - b }
	if t.live() {
		far = func(a, b float64) float64 { return logOhms(Exactly(a)).Lo - logOhms(Exactly(b)).Lo }
	}
	for _, want := range []func(float64) float64{
		func(v float64) float64 { return far(v, bounds.Hi) },
		func(v float64) float64 { return far(bounds.Lo, v) },
	} {
		off, value := climb(r, t, want, 3)
		t.shown()                         // as it was best
		slack := 1e-6 + 1/most*2*t.supply // bounds have what lies at one place a billionth of an ohm apart
		switch {
		case t.live():
			slack = 2e-3 // decades
		case read.Quantity == Amps || read.Quantity == Ohms:
			slack = 2e-5 * math.Max(1, math.Abs(value))
		}
		// A proof asks whether it lies outside in another way, which takes less.
		shown := read
		shown.Shown = Exactly(value)
		asked := c.Observe(setup, shown, o.parts)
		if !math.IsInf(off, -1) && asked.Beyond(h)*read.Sigma > max(slack, 1e-4) {
			off, bounds = slack+1, Exactly(math.NaN())
		} else if off > slack && t.live() { // what leaks counts by what was shown, see highOhms
			bounds = asked.Expect(h)
			off = max(far(value, bounds.Hi), far(bounds.Lo, value))
		}
		if off > slack {
			return &outside{c, setup, read, faults, bounds, value, append([]float64{}, t.knobs...)}
		}
	}
	return nil
}

// TestBoundsHold is the test that matters most: what a proof rests on is that no
// truth shows a value outside the bounds. It invents circuits, states, readings and
// faults, single and in pairs, and climbs from a random truth towards either end of
// the bounds. A truth is worked out by the second solver, see truth.
//
// The short form runs a fixed number; the long one as long as told: go test -run
// TestBoundsHold -adversary 10m -seed 7.
func TestBoundsHold(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(*seed, 99))
	many, until := 160, time.Time{}
	if testing.Short() {
		many = 60
	}
	if *adversary > 0 {
		many, until = math.MaxInt, time.Now().Add(*adversary)
	}
	found := map[string]*outside{}
	attacks, circuits := 0, 0
	for n := range many {
		if !until.IsZero() && time.Now().After(until) {
			break
		}
		circuits++
		motors := n%3 == 2
		c := invent(r, 1+min(n/20, 2)+r.IntN(2+min(n/20, 9)), motors)
		var parts []suspect.Part
		for _, e := range c.Elements {
			parts = append(parts, suspect.Part{Key: e.Key})
		}
		for range 2 {
			setup, read := situation(r, c)
			if setup.Off && gates(c) {
				continue // an ohmmeter's own voltage decides how a diode stands
			}
			o := c.Observe(setup, read, parts)
			for k := range 6 {
				var faults []broken
				for len(faults) < min(k, 1+k%2) {
					f := bad(r, c)
					for i := 0; i < 9 && motors && len(faults) == 0 && !f.grounds(c); i++ {
						f = bad(r, c)
					}
					for range 9 { // two in one path
						if len(faults) == 1 && k%3 > 0 && o.model.of[f.element] != o.model.of[faults[0].element] {
							f = bad(r, c)
						}
					}
					if len(faults) == 1 && faults[0].element == f.element {
						if len(c.Elements) == 1 {
							break
						}
						continue
					}
					faults = append(faults, f)
				}
				attacks++
				if v := attack(r, c, setup, read, o, faults); v != nil {
					s := v.sort()
					if old, ok := found[s]; !ok || len(v.c.Elements) < len(old.c.Elements) {
						found[s] = v
					}
				}
			}
		}
	}
	t.Logf("%d attacks on the bounds of %d circuits", attacks, circuits)
	var sorts []string
	for s := range found {
		sorts = append(sorts, s)
	}
	sort.Strings(sorts)
	for _, s := range sorts {
		t.Errorf("%s: %s", s, found[s])
	}
	require.Greater(t, attacks, 100)
}

func gates(c *Circuit) bool {
	for _, e := range c.Elements {
		if e.Kind == Diode || e.Follows >= 0 {
			return true
		}
	}
	return false
}
