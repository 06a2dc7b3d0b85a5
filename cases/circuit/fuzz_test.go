package circuit

import (
	"encoding/binary"
	"fmt"
	"math"
	"testing"

	"knowngood.example/cases/suspect"
)

// bytes that are used up give zeros.
type bytesOf struct{ b []byte }

func (s *bytesOf) next() int {
	if len(s.b) == 0 {
		return 0
	}
	v := s.b[0]
	s.b = s.b[1:]
	return int(v)
}

// below is a number from 0 to n-1.
func (s *bytesOf) below(n int) int { return (s.next()<<8 | s.next()) % n }

// ohms are any that a drawing may hold, and some that it may not.
func (s *bytesOf) number() float64 {
	switch k := s.next(); {
	case k == 1:
		return math.NaN()
	case k == 2:
		return math.Inf(1)
	case k == 3:
		return math.Inf(-1)
	case k == 4:
		return -1
	case k == 5:
		return 5e-324
	case k == 6:
		return math.MaxFloat64
	case k < 8:
		return 0
	case k < 12:
		var raw [8]byte
		for i := range raw {
			raw[i] = byte(s.next())
		}
		return math.Float64frombits(binary.LittleEndian.Uint64(raw[:]))
	default:
		return math.Pow(10, float64(k%16)-6) * float64(1+s.next()%9)
	}
}

func (s *bytesOf) span() Span {
	lo := s.number()
	if s.next()%2 == 0 {
		return Exactly(lo)
	}
	return Span{lo, s.number()}
}

// anything is a circuit of any shape in any state, and a reading of it.
func anything(b []byte) (*Circuit, Setup, Reading, []suspect.Part) {
	s := &bytesOf{b}
	c := &Circuit{System: []float64{12, 24, 48}[s.next()%3], Points: make([]string, 2+s.next()%12)}
	elements := s.next()
	if elements < 254 {
		elements %= 11
	} else {
		elements = 500
		c.Points = make([]string, 2+s.below(300))
	}
	n := len(c.Points)
	var parts []suspect.Part
	for k := range elements {
		e := Element{Key: fmt.Sprint(k), Kind: Kind(s.next()) % (Diode + 1), From: s.below(n), To: s.below(n), Follows: -1}
		if s.next()%4 == 0 {
			e.Ohms = s.span()
		} else {
			e.Ohms = Usual(e.Kind, 0)
		}
		if e.Kind == Fuse || e.Kind == Breaker {
			e.Rating = s.number()
		}
		if len(c.Elements) > 100 && e.Kind == Diode {
			e.Kind = Resistor // with hundreds of diodes it takes minutes
		}
		if s.next()%8 == 7 && len(c.Elements) < 12 {
			e.Follows = s.below(elements)
		}
		c.Elements = append(c.Elements, e)
		parts = append(parts, suspect.Part{Key: e.Key, Life: s.next() % 2})
	}
	setup := Setup{Posts: Exactly(12), Position: make([]Position, s.next()%(elements+1))}
	if s.next()%4 == 0 {
		setup.Posts = s.span()
	}
	for k := range setup.Position {
		setup.Position[k] = Position(s.next() % 4)
	}
	for range s.next() % 3 {
		setup.Bridges = append(setup.Bridges, Bridge{A: s.below(n), B: s.below(n), Ohms: s.span()})
	}
	setup.Off = s.next()%2 == 1
	r := Reading{ID: "x", Setup: "x", Quantity: Quantity(s.next()) % 4, Red: []int{s.below(n)}, Black: []int{s.below(n)}, Sigma: 0.05}
	if s.next()%4 == 0 {
		r.Red = append(r.Red, s.below(n))
	}
	if r.Quantity == Amps {
		if elements == 0 {
			r.Quantity = Volts
		} else {
			r.Along = s.below(elements)
		}
	}
	r.Shown = Exactly([]float64{0, 12, 5, 1e6, -3, 200}[s.next()%6])
	if s.next()%3 == 0 {
		r.Shown = Span{r.Shown.Lo, r.Shown.Lo + 5}
	}
	switch s.next() % 4 {
	case 0:
		r.Lead = Exactly(MeterOhms)
	case 1:
		r.Lead = Span{15, 70}
	case 2:
		r.Lead = s.span()
	}
	if s.next()%4 == 0 {
		r.Through = Span{1, 2}
	}
	if s.next()%4 == 0 {
		r.Duty = Span{0.4, 0.5}
	}
	return c, setup, r, parts
}

// FuzzCircuit: whatever is drawn and read, nothing panics, no figure is not a number,
// and no span is turned round.
func FuzzCircuit(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("a circuit of any shape, in any state, read in any way"))
	for k := range 40 {
		b := make([]byte, 60+10*k)
		for i := range b {
			b[i] = byte((i*i*7 + i*k*13 + k) % 251)
		}
		f.Add(b)
	}
	long := make([]byte, 4000)
	for i := range long {
		long[i] = byte(i * 37 % 255)
	}
	long[2] = 255
	f.Add(long)
	f.Fuzz(func(t *testing.T, b []byte) {
		c, setup, r, parts := anything(b)
		c.Compile()
		c.Only(setup, r.Red, r.Black)
		o := c.Observe(setup, r, parts)
		o.Across()
		hold := func(what string, s Span) {
			if math.IsNaN(s.Lo) || math.IsNaN(s.Hi) || s.Lo > s.Hi+1e-9*math.Abs(s.Hi) {
				t.Fatalf("%s: %v; circuit %+v, setup %+v, reading %+v", what, s, c, setup, r)
			}
		}
		hypotheses := []suspect.Hypothesis{nil, {{Part: suspect.NotNamed}}, {{Part: suspect.NotAsDrawn}}}
		for k := range min(len(c.Elements), 2) {
			e := &c.Elements[k*7%len(c.Elements)]
			for _, m := range e.Kind.Modes() {
				fault := suspect.Fault{Part: parts[k*7%len(c.Elements)], Mode: m.Mode}
				hypotheses = append(hypotheses, suspect.Hypothesis{fault})
				if other := hypotheses[len(hypotheses)/2]; len(other) == 1 && len(hypotheses)%3 == 0 {
					hypotheses = append(hypotheses, suspect.Hypothesis{other[0], fault})
				}
			}
		}
		for i, h := range hypotheses {
			if len(c.Elements) > 100 && i%8 > 0 {
				continue
			}
			what := fmt.Sprint("under ", h, " ")
			hold(what+"expected", o.Expect(h))
			hold(what+"beyond", Exactly(o.Beyond(h)))
			if len(c.Elements) <= 100 && i%4 == 0 {
				hold(what+"foretold", o.Foretold(h))
				var classes [3]int
				for k, f := range h {
					classes[k] = o.Class(f)
				}
				for _, b := range []suspect.Box{suspect.Everywhere, {{From: 0, To: 32}, {From: 63, To: 64}}} {
					l := o.Within(classes, b)
					hold(what+"likelihood", Span{l.Mean, l.Most})
				}
			}
		}
	})
}
