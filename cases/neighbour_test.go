package cases_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/path"
	"knowngood.example/cases/scenario"
)

func drawnCase(t *testing.T, lines ...string) *cases.Case {
	t.Helper()
	text := `ben@lantern-yard: case-opened invented vehicle.make=Alder vehicle.model=Knot vehicle.year=2013 vehicle.system-volts=12
    concern.statement="lamp lit though it should not" concern.frequency=always
`
	for _, l := range lines {
		text += l + "\n"
	}
	s, err := scenario.Read(text)
	require.NoError(t, err)
	for _, r := range s.Records {
		if d := r.Event.GetCircuitDrawn(); d != nil && len(d.GetElements()) == 0 {
			x, err := path.Read(d.GetSaid())
			require.NoError(t, err)
			d.Elements, d.Points = x.Event.GetElements(), append(d.GetPoints(), x.Event.GetPoints()...)
		}
	}
	c, err := s.Case()
	require.NoError(t, err)
	return c
}

func drawn(said string) string {
	return `circuit-drawn said="` + said + `" basis=looked-up source="wiring diagram"`
}

// touch lists what may touch a component, by name.
func touch(c *cases.Case, name string) []string {
	var out []string
	for _, d := range c.Circuits() {
		for i, e := range d.Elements {
			if e.Component == c.Find(name) {
				for _, n := range d.Circuit.Elements[i].Neighbours {
					out = append(out, d.Elements[n].Component.Name)
				}
			}
		}
	}
	return out
}

func TestNeighbours(t *testing.T) {
	t.Parallel()
	t.Run("the other pins of the connector, and the wires at them", func(t *testing.T) {
		t.Parallel()
		c := drawnCase(t,
			drawn("batt+ > fuse F1 10A > switch key > rear.C2-1 > 2 m red > lamp left 10W > gnd G1"),
			drawn("batt+ > fuse F2 10A > switch step > rear.C2-2 > 2 m blue > lamp right 10W > gnd G1"))
		require.Equal(t, []string{"rear.C2-2"}, touch(c, "rear.C2-1"))
		require.Equal(t, []string{"rear.C2-1"}, touch(c, "rear.C2-2"))
		require.Contains(t, touch(c, "wire rear.C2-1 out to lamp left in"), "wire rear.C2-2 out to lamp right in")
		require.NotContains(t, touch(c, "wire rear.C2-1 out to lamp left in"), "wire switch key out to rear.C2-1 in")
		require.Empty(t, touch(c, "wire batt+ to fuse F1 in"))
	})
	t.Run("the nearest of many", func(t *testing.T) {
		t.Parallel()
		c := drawnCase(t, drawn("batt+ > fuse F1 10A > splice S1 > (box.C1-1 > 1 m red > lamp a 5W); (box.C1-2 > 1 m red > lamp b 5W); (box.C1-4 > 1 m red > lamp c 5W); (box.C1-9 > 1 m red > lamp d 5W); (box.C1-12 > 1 m red > lamp e 5W) > splice S2 > gnd G1"))
		require.Equal(t, []string{"box.C1-2", "box.C1-4", "box.C1-9"}, touch(c, "box.C1-1"))
		require.Equal(t, []string{"box.C1-12", "box.C1-4", "box.C1-2"}, touch(c, "box.C1-9"))
	})
	t.Run("other connectors, and pins without one", func(t *testing.T) {
		t.Parallel()
		c := drawnCase(t, drawn("batt+ > fuse F1 10A > inline 4 > 1 m red > inline 7 > 1 m red > fog.C1-1 > 1 m red > lamp fog 55W > 1 m red > beam.C1-2 > gnd G1"))
		for _, name := range []string{"inline 4", "inline 7", "fog.C1-1", "beam.C1-2"} {
			require.Empty(t, touch(c, name), name)
		}
	})
	t.Run("circuits that share nothing but a connector are one", func(t *testing.T) {
		t.Parallel()
		c := drawnCase(t,
			drawn("batt+ > fuse F1 10A > switch key > rear.C2-1 > 2 m red > lamp left 10W > gnd G1"),
			drawn("batt+ > fuse F2 10A > switch step > rear.C2-2 > 2 m blue > lamp right 10W > gnd G2"))
		require.Len(t, c.Circuits(), 1)
		require.Equal(t, []string{"rear.C2-2"}, touch(c, "rear.C2-1"))
	})
	t.Run("but not with a signal, nor with a supply of its own", func(t *testing.T) {
		t.Parallel()
		lamp := drawn("batt+ > fuse F1 10A > switch key > rear.C2-1 > 2 m red > lamp left 10W > gnd G1")
		require.Len(t, drawnCase(t, lamp,
			drawn("batt+ > fuse F2 10A > switch step > rear.C2-2 > 2 m blue > lamp right 10W > gnd G2"),
			drawn("point rear.C2-2: blue, pin 2, rear, airbag")).Circuits(), 2)
		require.Len(t, drawnCase(t, lamp,
			drawn("supply reference 5.0 V > pin box C1-2 > rear.C2-2 > 1 m blue > sensor level 4000 ohm > splice S1 > gnd G9")).Circuits(), 2)
	})
}

// A neighbour is called by its name and the colour of its wire wherever a fault is put into
// words.
func TestNeighbourWords(t *testing.T) {
	t.Parallel()
	c := drawnCase(t,
		drawn("batt+ > fuse F1 10A > switch key when key on > rear.C2-1 > 2 m red > lamp left 10W > gnd G1"),
		drawn("batt+ > fuse F2 10A > switch step > rear.C2-2 > 2 m blue > lamp right 10W > gnd G1"),
		`reading value="12.2 V" red="lamp right in" black="batt-" conditions.key=on conditions.commanded=off conditions.supply="12.5 V" instrument.kind=meter`)
	var all []string
	for _, a := range c.Judge(nil).Next().Advice {
		for _, f := range a.Expect {
			all = append(all, f.If)
		}
	}
	text := strings.Join(all, "\n")
	require.Contains(t, text, "rear.C2-2 is shorted to rear.C2-1 (red)")
	require.NotContains(t, text, "short to neighbour")
}
