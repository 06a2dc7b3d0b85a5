package cases_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	tail = opening + `circuit-drawn said="batt+ > fuse F3 10A > switch lights > inline 4 > tail.C1-2 > lamp tail 10W > tail.C1-1 > gnd G5"
concern-duplicated what="dark with the lights on" conditions.key=on conditions.commanded=on
`
	// The lamp is out, and the feed is there at its plug with nothing on it.
	lampOut = tail + `part-removed component="lamp tail"
reading value="12.4 V" red="tail.C1-2 in" black="batt-" conditions.key=on conditions.commanded=on conditions.unplugged="tail C1" concern=present
`
	// Something lies on ground behind the fuse.
	onGround = tail + `reading value="0.2 Ohm" red="fuse F3 out" black="batt-" conditions.key=on conditions.commanded=on conditions.unplugged="fuse F3" concern=present
`
)

// line is the entry that the advice makes, with a value.
func line(a cases.Advice, value string) string {
	r := a.Records
	c := r.GetConditions()
	asked := "on"
	if c.GetCommanded() == eventv1.Command_COMMAND_OFF {
		asked = "off"
	}
	out := fmt.Sprintf("reading value=%q red=%q black=%q conditions.key=on conditions.commanded=%s concern=present", value, r.GetRed(), r.GetBlack(), asked)
	for _, u := range c.GetUnplugged() {
		out += fmt.Sprintf(" conditions.unplugged=%q", u)
	}
	for _, l := range c.GetLoaded() {
		out += fmt.Sprintf(" conditions.loaded=%q", l)
	}
	return out + "\n"
}

// TestLampIsAskedForWhereNothingElseLoadsTheWire: a feed that nothing is on proves
// little, and with the load out nothing is on the way to ground either.
func TestLampIsAskedForWhereNothingElseLoadsTheWire(t *testing.T) {
	t.Parallel()
	all := fold(t, lampOut).Judge(nil).Next().Advice
	a := all[slices.IndexFunc(all, func(a cases.Advice) bool { return a.Red != "" })]
	require.Equal(t, suspect.TestLamp, a.Manner, "the first that reads something")
	require.Equal(t, "tail.C1-1 out", a.Red)
	require.Equal(t, "batt-", a.Black)
	require.Contains(t, a.Do, "unplug tail.C1")
	require.Contains(t, a.Do, "clip a filament test lamp from tail.C1-1 out to battery positive")
	require.Contains(t, a.Do, "red lead at tail.C1-1 out on the harness side, black lead at batt-")
	require.Contains(t, a.Do, "Take the lamp off and put the plug back afterwards")
	require.Contains(t, a.Tools, "test lamp")
	require.Contains(t, a.Caution, "never on airbag, bus, 5 V reference or module pins")
	require.Contains(t, a.String(), `Write down with it: tail.C1 unplugged, loaded with "test lamp from batt+ to tail.C1-1 out".`)
	require.Equal(t, []string{"tail.C1"}, a.Records.GetConditions().GetUnplugged())
	// A good ground draws the lamp down, an open one leaves it at the feed.
	require.Less(t, a.Expect[0].High, 0.3)
	open := slices.IndexFunc(a.Expect, func(f cases.Foretold) bool { return strings.Contains(f.If, "wire tail.C1-1 out to gnd G5 in is open") })
	require.Positive(t, open)
	require.Greater(t, a.Expect[open].Low, 11.5)
	// Once taken, it is not asked for again, and it tells what it said.
	j := fold(t, lampOut+line(a, "0.05 V")).Judge(nil)
	require.Less(t, j.Judgement().Probability(j.Part(j.Component("gnd G5"))), 0.1)
	for _, b := range j.Next().Advice {
		require.False(t, b.Manner == a.Manner && b.Red == a.Red, b.Do)
	}
	j = fold(t, lampOut+line(a, "12.3 V")).Judge(nil)
	require.Greater(t, j.Judgement().Probability(j.Part(j.Component("gnd G5")))+j.Judgement().Probability(j.Part(j.Component("wire tail.C1-1 out to gnd G5 in"))), 0.9)
}

// TestPlugComesOffWhereAShortIsSought: ohms with a plug off part what lies on ground in
// two; the rest hides it.
func TestPlugComesOffWhereAShortIsSought(t *testing.T) {
	t.Parallel()
	first := fold(t, onGround).Judge(nil).Next().Advice[:3] // reseating the plug and going round it take about as long for what they tell
	at := slices.IndexFunc(first, func(a cases.Advice) bool { return a.Manner == suspect.OhmsUnplugged })
	require.NotEqual(t, -1, at)
	a := first[at]
	require.Equal(t, "tail.C1-2 in", a.Red)
	require.Contains(t, a.Do, "unplug tail.C1 and take out fuse F3; make sure that nothing is live")
	require.Contains(t, a.Do, "Put plug and fuses back afterwards")
	require.Equal(t, []string{"tail.C1", "fuse F3"}, a.Records.GetConditions().GetUnplugged())
	require.Greater(t, a.Expect[0].Low, 1e5)
	j := fold(t, onGround+line(a, "0.2 Ohm")).Judge(nil)
	require.Less(t, j.Judgement().Probability(j.Part(j.Component("lamp tail"))), 0.05)
}

// offered are the manners with a plug off that are advised.
func offered(t *testing.T, text string) map[suspect.Manner]bool {
	t.Helper()
	out := map[suspect.Manner]bool{}
	for _, a := range fold(t, text).Judge(nil).Next().Advice {
		out[a.Manner] = out[a.Manner] || a.Manner.PlugOff()
	}
	return out
}

// TestNoLampWhereTheNetForbidsIt: on signals, 5 V and buses a meter alone is put to the
// pin; nothing is unplugged on an airbag's wiring or on high voltage, made safe or not; and
// no lamp is near fuel, nor at a module's pin.
func TestNoLampWhereTheNetForbidsIt(t *testing.T) {
	t.Parallel()
	all := offered(t, lampOut)
	require.True(t, all[suspect.TestLamp])
	require.True(t, all[suspect.OhmsUnplugged])
	require.False(t, all[suspect.Unplugged], "a lamp on the same pin tells more")
	for _, net := range []string{"SIGNAL", "REFERENCE_5V", "BUS"} {
		all := offered(t, tail+`circuit-drawn points={point:"tail.C1-2" net:NET_KIND_`+net+"}\n")
		require.False(t, all[suspect.TestLamp], net)
		require.False(t, all[suspect.OhmsUnplugged], net)
		require.True(t, all[suspect.Unplugged], net)
	}
	for net, safe := range map[string]string{"AIRBAG": "airbag", "HIGH_VOLTAGE": "high-voltage"} {
		for _, made := range []string{"", "made-safe hazard=" + safe + " locked-off=yes proven-dead=yes tester-proven=yes\n"} {
			for m, is := range offered(t, tail+`circuit-drawn points={point:"tail.C1-2" net:NET_KIND_`+net+"}\n"+made) {
				require.False(t, is, "%s: %v", net, m)
			}
		}
	}
	for _, drawn := range []string{
		"batt+ > fuse F3 10A > plug 4 > load fuel pump 60W > plug 5 > gnd G5",
		"batt+ > fuse F3 10A > output lights > inline 4 > tail.C1-2 > lamp tail 10W > tail.C1-1 > gnd G5",
		"batt+ > fuse F3 10A > inline 4 > cluster.C2-4 > lamp tail 10W > tail.C1-1 > gnd G5",
	} {
		text := opening + "circuit-drawn said=\"" + drawn + "\"\nconcern-duplicated what=\"dark\" conditions.key=on conditions.commanded=on\n"
		c := fold(t, text)
		require.Len(t, c.Circuits(), 1, drawn)
		for _, a := range c.Judge(nil).Next().Advice {
			if a.Manner == suspect.TestLamp || a.Manner == suspect.OhmsUnplugged { // behind the load it may be
				require.NotContains(t, "inline 4 in, inline 4 out, tail.C1-2 in, tail.C1-2 out, plug 4 in, plug 5 out, cluster.C2-4 in, cluster.C2-4 out", a.Red, drawn)
			}
		}
	}
}

// TestUnpluggedPromisesWhatRecordingGives: what a reading with a plug off would show under
// each explanation is what the same reading, recorded, is held against.
func TestUnpluggedPromisesWhatRecordingGives(t *testing.T) {
	t.Parallel()
	met := map[suspect.Manner]int{}
	for _, text := range []string{
		tail, lampOut, onGround, tail + "circuit-drawn points={point:\"tail.C1-2\" net:NET_KIND_SIGNAL}\n",
		strings.ReplaceAll(lampOut, "vehicle.year", "vehicle.system-volts=24 vehicle.year"),
		opening + "circuit-drawn said=\"batt+ > fuse F3 10A > wire feed > load heater 60W > wire back > gnd G5\"\nconcern-duplicated what=\"cold\" conditions.key=on conditions.commanded=on\n",
	} {
		for _, a := range fold(t, text).Judge(nil).Next().Advice {
			if !a.Manner.PlugOff() {
				continue
			}
			value := "1 V"
			if a.Manner == suspect.OhmsUnplugged {
				value = "1 Ohm"
			}
			j := fold(t, text+line(a, value)).Judge(nil)
			j.Judgement()
			reads := j.Reads()
			require.NotEmpty(t, reads)
			r := reads[len(reads)-1]
			require.Equal(t, j.Head(), r.Step.Seq, line(a, value))
			well := r.Foretold(nil)
			require.InDelta(t, well.Lo, a.Expect[0].Low, 1e-6, a.Do)
			require.InDelta(t, well.Hi, a.Expect[0].High, 1e-6, a.Do)
			for _, x := range a.Expect[1:] {
				require.True(t, slices.ContainsFunc(r.Drawn.Elements, func(e cases.DrawnElement) bool {
					for m := suspect.Open; m <= suspect.Defective; m++ {
						v := r.Foretold(suspect.Hypothesis{{Part: j.Part(e.Component), Mode: m}})
						if strings.HasPrefix(x.If, e.Component.Name+" ") && fmt.Sprintf("%.4g %.4g", v.Lo, v.Hi) == fmt.Sprintf("%.4g %.4g", x.Low, x.High) {
							return true
						}
					}
					return false
				}), "%s: %+v", a.Do, x)
			}
			met[a.Manner]++
		}
	}
	for _, m := range suspect.PlugsOff {
		require.Positive(t, met[m], m)
	}
}
