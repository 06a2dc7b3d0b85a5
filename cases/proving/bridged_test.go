package proving

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// suspecting suspects one component and nothing else.
type suspecting struct {
	judge
	key string
}

func (s suspecting) Suspects() []suspect.Suspect {
	return []suspect.Suspect{{Part: suspect.Part{Key: s.key}}}
}

// TestARelayIsBridgedAtItsContact: a coil that is found open is gone round where its contact
// is, and what is read behind that is what a jumper there feeds. A jumper over the coil would
// show nothing, and a fuse across it would blow.
func TestARelayIsBridgedAtItsContact(t *testing.T) {
	t.Parallel()
	w := &drawing{Circuit: &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+"}}, shape: "chain", d: throw(1, 1, "chain"), counts: map[string]int{}}
	behind := w.relay(w.guard(plus, 3), 2)
	contact := len(w.Elements) - 1
	coil := w.Elements[contact].Follows
	w.load(circuit.Lamp, 2, behind, minus)
	w.Compile()
	s := small()
	truth := build(throw(1, 1, "vehicle"), w, 1, Plain)
	c := &scenario{truth: truth, asked: true, seen: true, present: 1, posts: circuit.Span{Lo: 12.1, Hi: 12.7}, damages: []damage{{element: coil, mode: suspect.Open, ohms: math.Inf(1)}}}
	p := &player{scenario: c, settings: &s, strategy: Own, table: suspect.Default(), rec: new(Record), judge: suspecting{key: w.Elements[coil].Key}}
	p.readings()
	p.clearings()
	volts := map[int]float64{}
	for _, o := range p.options {
		r := o.(*reading)
		if r.jumper >= 0 {
			require.Equal(t, contact, r.jumper)
			require.Equal(t, []circuit.Bridge{{A: w.Elements[contact].From, B: behind, Ohms: circuit.Span{Lo: 0, Hi: 2 * jumperMost}}}, r.state(p).Bridges)
		}
		if r.Manner == suspect.Volts && r.red == behind && r.black == minus && p.asked != r.turned && !r.dead {
			got, err := p.read(r, 0)
			require.NoError(t, err)
			volts[r.jumper] = got.real
		}
	}
	require.Len(t, volts, 2)
	require.InDelta(t, 0, volts[-1], 0.2, "the contact is open")
	require.Greater(t, volts[contact], 11.)
}
