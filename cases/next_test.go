package cases_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
)

// TestNothingIsAdvisedOnWhatIsNotSafe: a caution is not enough on airbags and high
// voltage; once made safe, tests are advised.
func TestNothingIsAdvisedOnWhatIsNotSafe(t *testing.T) {
	t.Parallel()
	for hazard, component := range map[string]string{"airbag": "airbag connector", "high-voltage": "high voltage cable"} {
		text := opening + "test what=t outcome=fail covers=\"" + component + ", horn\"\n"
		of := func(text string) (advised bool, withheld []cases.Withheld) {
			n := fold(t, text).Judge(nil).Next()
			for _, a := range n.Advice {
				advised = advised || a.Component.Name == component
			}
			return advised, n.Withheld
		}
		advised, withheld := of(text)
		require.False(t, advised, component)
		require.Len(t, withheld, 1)
		require.Equal(t, component, withheld[0].Component.Name)
		advised, withheld = of(text + "made-safe hazard=" + hazard + " locked-off=yes proven-dead=yes tester-proven=yes\n")
		require.True(t, advised, component)
		require.Empty(t, withheld)
	}
}

// TestVerdictsNeverSayGoodWithoutModeAndConditions: nor does the one word.
func TestVerdictsNeverSayGoodWithoutModeAndConditions(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what=a manner=drop outcome=pass covers=splice concern=present conditions.commanded=on conditions.current="8 A"
test what=b manner=bypass outcome=pass covers=splice concern=present concern-change=stayed
`)
	j := c.Judge(nil)
	all := j.Verdicts(c.Component("splice"))
	good := 0
	for _, v := range all {
		if v.Standing == cases.ProvenGood {
			good++
			require.NotEqual(t, suspect.AnyWay, v.Mode, "the drop shows an open and a high resistance only")
			require.Len(t, v.Conditions, len(v.Entries))
			require.NotEmpty(t, v.Assumes)
		}
	}
	require.Equal(t, 2, good)
	require.NotContains(t, cases.Word(all), "good")
}

// advised are the tests that are advised of one component, by manner.
func advised(j *cases.Judged, name string) map[suspect.Manner]cases.Advice {
	out := map[suspect.Manner]cases.Advice{}
	for _, a := range j.Next().Advice {
		if a.Component.Name == name {
			out[a.Manner] = a
		}
	}
	return out
}

// TestNothingFeedsBridgesOrMeasuresAnAirbag: made safe, it is looked at, and its
// plug undone and done up as the maker says; a repair of it is checked without a
// meter.
func TestNothingFeedsBridgesOrMeasuresAnAirbag(t *testing.T) {
	t.Parallel()
	const safe = "made-safe hazard=airbag locked-off=yes\n"
	never := []string{"lead", "ohms", "drop", "feed", "bench", "read the", "meter"}
	for _, name := range []string{
		"airbag module plug", "airbag module", "airbag fuse", "airbag wire", "air bag ground stud", "SRS relay", "belt tensioner", "left pretensioner connector", "squib thing",
	} {
		text := opening + "test what=t outcome=fail covers=\"" + name + ", horn\"\n" + safe
		for _, text := range []string{text, text + "repair component=\"" + name + "\" what=cleaned\n"} {
			all := fold(t, text).Judge(nil).Next()
			require.Empty(t, all.Withheld)
			found := 0
			for _, a := range all.Advice {
				if a.Component.Name != name {
					continue
				}
				found++
				require.Contains(t, []suspect.Manner{suspect.Look, suspect.Reseat}, a.Manner, name)
				require.Contains(t, a.Caution, "No meter, lamp or lead on airbag", name)
				for _, w := range never {
					require.NotContains(t, strings.ReplaceAll(a.Do, "read the codes", ""), w, name)
					require.NotContains(t, a.Tools, w, name)
				}
				if a.Manner == suspect.Reseat {
					require.Contains(t, a.Do, "Powered down, and after the wait that the maker gives", name)
				}
			}
			require.NotZero(t, found, name)
		}
	}
	// By its net on a drawing, and what leads to it.
	drawn := opening + `circuit-drawn said="batt+ > fuse F7 10A > wire feed 9 > plug 7 > lamp warning > gnd G1"
circuit-drawn points={point:"plug 7 out" net:NET_KIND_AIRBAG}
test what=t outcome=fail covers="feed 9, plug 7, fuse F7"
` + safe
	for _, name := range []string{"feed 9", "plug 7"} {
		for m := range advised(fold(t, drawn).Judge(nil), name) {
			require.Contains(t, []suspect.Manner{suspect.Look, suspect.Reseat}, m, name)
		}
	}
}

// TestHighVoltageMadeSafeIsDead: nothing is advised that needs it live.
func TestHighVoltageMadeSafeIsDead(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"high voltage cable", "high-voltage connector", "inverter", "traction relay", "HV fuse"} {
		all := advised(fold(t, opening+"test what=t outcome=fail covers=\""+name+", horn\"\nmade-safe hazard=high-voltage locked-off=yes proven-dead=yes tester-proven=yes\n").Judge(nil), name)
		require.Contains(t, all, suspect.Look, name)
		for m, a := range all {
			require.Contains(t, []suspect.Manner{suspect.Look, suspect.Continuity}, m, name)
			require.Contains(t, a.Caution, "proven dead", name)
		}
	}
}

// TestNoLeadGoesIntoTheTank: nothing in it or at it is fed or gone round, and the
// caution is there whatever the name, where the case is about fuel.
func TestNoLeadGoesIntoTheTank(t *testing.T) {
	t.Parallel()
	const fuel = "concern-stated concern.statement=\"fuel gauge reads empty with a full tank\"\n"
	for _, test := range []struct{ name, before string }{
		{"fuel sender", ""}, {"fuel pump", ""}, {"tank ground", ""}, {"petrol pump plug", ""}, {"sender ground", fuel}, {"sender wire", fuel}, {"level sender", fuel},
		{"sender ground", "note text=n about=\"fuel gauge\"\nseen what=x component=\"fuel gauge\"\n"},
	} {
		all := advised(fold(t, opening+test.before+"test what=t outcome=fail covers=\""+test.name+", horn\"\n").Judge(nil), test.name)
		require.NotEmpty(t, all, test.name)
		for m, a := range all {
			require.NotContains(t, []suspect.Manner{suspect.Bypass, suspect.Bench}, m, test.name)
			require.Contains(t, a.Caution, "Fuel vapour burns", test.name)
			require.NotContains(t, a.Do, "feed it", test.name)
			require.NotContains(t, a.Tools, "fused leads", test.name)
		}
	}
	// The wire and the contact that lead to it, by the drawing; not the fuse.
	drawn := fold(t, opening+`circuit-drawn said="batt+ > fuse F7 10A > wire feed 9 > plug 7 > load fuel sender > gnd G1 > batt-"
test what=t outcome=fail covers="feed 9, plug 7, fuse F7, gnd G1"
`).Judge(nil)
	for _, name := range []string{"feed 9", "plug 7", "gnd G1"} {
		all := advised(drawn, name)
		require.NotEmpty(t, all, name)
		require.NotContains(t, all, suspect.Bypass, name)
	}
	require.Contains(t, advised(drawn, "fuse F7"), suspect.Bypass)
	// Elsewhere a sender is fed and gone round as ever.
	require.Contains(t, advised(fold(t, opening+"test what=t outcome=fail covers=\"oil sender, horn\"\n").Judge(nil), "oil sender"), suspect.Bypass)
}

// TestJoinsAreUndoneAsTheyAreMade: what is bolted is not unplugged, and a splice
// is not undone to try.
func TestJoinsAreUndoneAsTheyAreMade(t *testing.T) {
	t.Parallel()
	of := func(name string) map[suspect.Manner]cases.Advice {
		return advised(fold(t, opening+"test what=t outcome=fail covers=\""+name+", horn\"\n").Judge(nil), name)
	}
	for _, name := range []string{"dash ground stud", "fan ground", "earth bolt", "battery clamp"} {
		require.Equal(t, "Undo the "+name+", clean it and do it up, and see what the concern does", of(name)[suspect.Reseat].Do)
	}
	for _, name := range []string{"ground splice", "crimp 4", "splices S4"} {
		require.NotEmpty(t, of(name))
		require.NotContains(t, of(name), suspect.Reseat)
	}
	require.Contains(t, of("ground plug")[suspect.Reseat].Do, "Unplug and replug")
}

// TestPromisedIsWhatRecordingGives: of every manner, and of both outcomes.
func TestPromisedIsWhatRecordingGives(t *testing.T) {
	t.Parallel()
	const change = " concern-change="
	record := map[suspect.Manner][2]string{ // as it should be, and not
		suspect.Function:     {"outcome=pass", "outcome=fail"},
		suspect.Bench:        {"outcome=pass", "outcome=fail"},
		suspect.Drop:         {"outcome=pass conditions.commanded=on", "outcome=fail conditions.commanded=on"},
		suspect.Continuity:   {"outcome=pass", "outcome=fail"},
		suspect.Bypass:       {"outcome=pass" + change + "stayed", "outcome=fail" + change + "went-and-came-back"},
		suspect.Substitution: {"outcome=pass" + change + "stayed", "outcome=fail" + change + "went-and-came-back"},
		suspect.Reseat:       {"outcome=pass" + change + "stayed", "outcome=fail" + change + "went-away"},
	}
	met := map[suspect.Manner]bool{}
	for _, before := range []string{
		"", "concern-stated concern.statement=\"fan stands\" concern.frequency=sometimes\n", "part-fitted component=\"fan relay\" state=new why=guess\n",
		"test what=o manner=continuity outcome=pass covers=\"feed wire\"\n",
	} {
		text := opening + before + "test what=t outcome=fail covers=\"feed plug, feed wire, fan relay, fan motor, thing\"\n"
		for _, a := range fold(t, text).Judge(nil).Next().Advice {
			met[a.Manner] = true
			for bad, promised := range []float64{a.AfterWell, a.AfterBad} {
				line := "test what=n manner=" + a.Manner.String() + " covers=\"" + a.Component.Name + "\" " + record[a.Manner][bad]
				switch {
				case a.Manner == suspect.Look:
					line = "seen what=n component=\"" + a.Component.Name + "\" outcome=" + []string{"pass", "fail"}[bad]
				case before != "" && before[0] == 'c':
					line += " concern=present"
				}
				j := fold(t, text+line+"\n").Judge(nil)
				got := j.Judgement().Probability(j.Part(j.Component(a.Component.Name)))
				require.InDelta(t, got, promised, 1e-9, "%q, then %s", before, line)
			}
		}
	}
	require.Len(t, met, len(record)+1, "every manner was met")
}

// TestContinuityIsNotOversold: an ohms reading as it should be leaves much of the
// doubt, and says so.
func TestContinuityIsNotOversold(t *testing.T) {
	t.Parallel()
	a := advised(fold(t, opening+"test what=t outcome=fail covers=\"feed wire, horn\"\n").Judge(nil), "feed wire")[suspect.Continuity]
	require.Greater(t, suspect.Odds(a.AfterWell), 0.3*suspect.Odds(a.NowBad))
}

// TestCauseIsAskedForOnceADropShowsIt: what a drop shows to be bad is gone round
// before anything less likely is tested; once that was done, it is not asked again.
func TestCauseIsAskedForOnceADropShowsIt(t *testing.T) {
	t.Parallel()
	text := opening + "test what=t outcome=fail covers=\"feed plug, feed wire, fan relay\"\ntest what=d manner=drop outcome=fail covers=\"feed plug\" conditions.commanded=on\n"
	n := fold(t, text).Judge(nil).Next()
	require.Equal(t, cases.ToProveCause, n.Advice[0].Aim)
	require.Equal(t, "to prove the cause", n.Advice[0].Aim.String())
	require.Equal(t, suspect.Bypass, n.Advice[0].Manner)
	require.Equal(t, "feed plug", n.Advice[0].Component.Name)
	for _, a := range fold(t, text+"test what=b manner=bypass outcome=fail concern-change=went-and-came-back covers=\"feed plug\"\n").Judge(nil).Next().Advice {
		require.NotEqual(t, cases.ToProveCause, a.Aim)
	}
}

// TestNoLeadOnWhatIsDrawnAsDangerous: of a circuit that is drawn no reading is
// advised with a lead on an airbag's wiring or on high voltage, made safe or not.
func TestNoLeadOnWhatIsDrawnAsDangerous(t *testing.T) {
	t.Parallel()
	for name, safe := range map[string]string{"airbag": "airbag", "high voltage": "high-voltage", "horn": "fuel"} {
		text := opening + `circuit-drawn said="batt+ > fuse F7 10A > wire feed 9 > plug ` + name + ` > load ` + name + ` module > splice S9 > gnd G1 > batt-"
test what=t outcome=fail covers="feed 9, plug ` + name + `, fuse F7, splice S9"
reading value="0.2 V" red="feed 9 in" black="batt-" conditions.key=on
`
		for _, text := range []string{text, text + "made-safe hazard=" + safe + " locked-off=yes proven-dead=yes tester-proven=yes\n"} {
			there := false
			for _, a := range fold(t, text).Judge(nil).Next().Advice {
				there = there || strings.Contains(a.Red+" | "+a.Black, name)
			}
			require.Equal(t, name == "horn", there, name)
		}
	}
}
