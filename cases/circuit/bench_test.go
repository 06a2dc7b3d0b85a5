package circuit_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// vehicle is an invented circuit of a hundred elements: a feed with a fuse and a
// relay to a splice, eight branches with a load each, and their shared grounds.
func vehicle() *circuit.Circuit {
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+"}}
	add := func(kind circuit.Kind, from, to int, ohms circuit.Span, rating float64) int {
		if to < 0 {
			to = len(c.Points)
			c.Points = append(c.Points, fmt.Sprint("p", to))
		}
		c.Elements = append(c.Elements, circuit.Element{Key: fmt.Sprint("e", len(c.Elements)), Kind: kind, From: from, To: to, Ohms: ohms, Rating: rating, Follows: -1})
		return to
	}
	usual := func(kind circuit.Kind, from, to int) int { return add(kind, from, to, circuit.Usual(kind, 0), 0) }
	wire := func(from int) int { return add(circuit.Wiring, from, -1, circuit.Wire(1, 1.5), 0) }
	trunk := usual(circuit.Splice, wire(usual(circuit.Switch, wire(1), -1)), -1)
	grounds := []int{wire(usual(circuit.Ground, 0, -1)), wire(usual(circuit.Ground, 0, -1))}
	for k := range 8 {
		at := wire(trunk)
		at = add(circuit.Fuse, at, -1, circuit.Usual(circuit.Fuse, 15), 15)
		at = usual(circuit.Contact, wire(at), -1)
		at = usual(circuit.Contact, wire(at), -1)
		kind := []circuit.Kind{circuit.Lamp, circuit.Motor, circuit.Load}[k%3]
		at = add(kind, at, -1, circuit.About(12.5/float64(1+k%5), 0.2), 0)
		at = wire(usual(circuit.Contact, at, -1))
		at = usual(circuit.Splice, at, -1)
		usual(circuit.Contact, at, grounds[k%2])
	}
	for len(c.Elements) < 100 {
		wire(len(c.Points) - 1)
	}
	c.Compile()
	return c
}

// judged is the vehicle with a high resistance in one branch and readings all over
// it, as they would come out.
func judged(n int) (suspect.Problem, *circuit.Circuit) {
	c := vehicle()
	p := suspect.Problem{}
	for k, e := range c.Elements {
		for _, m := range e.Kind.Modes() {
			p.Faults = append(p.Faults, suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: m.Mode, Prior: 0.01 * m.Share})
		}
	}
	p.Faults = append(p.Faults, suspect.Fault{Part: suspect.NotNamed, Prior: 0.02}, suspect.Fault{Part: suspect.NotAsDrawn, Prior: 0.005})
	for k := range n {
		p.Evidence = append(p.Evidence, shownBy(c, k))
	}
	return p, c
}

func shownBy(c *circuit.Circuit, k int) *circuit.Observation {
	r := rand.New(rand.NewPCG(uint64(k), 5))
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	at := func() int { return r.IntN(len(c.Points)) }
	reading := circuit.Reading{ID: fmt.Sprint("r", k), Setup: fmt.Sprint("s", k), Red: []int{at()}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}
	switch k % 4 {
	case 1:
		e := c.Elements[r.IntN(len(c.Elements))]
		reading.Red, reading.Black = []int{e.From}, []int{e.To}
	case 2:
		setup.Position[r.IntN(len(c.Elements))] = circuit.Gone
	case 3:
		reading.Black = []int{at()}
	}
	// The truth: the contact of the first branch has an ohm too much, all else is as it
	// usually is, and the meter shows hundredths.
	truth := vehicle()
	truth.Elements[10].Ohms = circuit.Exactly(1)
	seen := truth.Observe(setup, reading, parts(c)).Foretold(nil)
	reading.Shown = circuit.Exactly(math.Round(100*(seen.Lo+seen.Hi)/2) / 100)
	return c.Observe(setup, reading, parts(c))
}

// BenchmarkJudge: 100 elements and 200 readings, no fault, every fault and every
// pair, probabilities and proofs, on one core; then one reading more.
func BenchmarkJudge(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for _, readings := range []int{5, 20, 200} {
		b.Run(fmt.Sprint("cold, readings ", readings), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				b.StopTimer()
				p, _ := judged(readings)
				runtime.GC() // what the true vehicle left behind is not the judgement's to sweep
				b.StartTimer()
				j := suspect.Judge(p)
				j.Probability(p.Faults[0].Part)
				j.Proofs()
			}
		})
	}
	b.Run("one more", func(b *testing.B) {
		p, c := judged(200)
		j := suspect.Judge(p)
		j.Probability(p.Faults[0].Part)
		j.Proofs()
		b.ReportAllocs()
		k := 200
		for b.Loop() {
			b.StopTimer()
			o := shownBy(c, k)
			k++
			b.StartTimer()
			more := j.With(o)
			more.Probability(p.Faults[0].Part)
			more.Proofs()
		}
	})
}
