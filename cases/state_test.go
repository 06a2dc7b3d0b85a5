package cases_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestWhatEndsALife tests a fan motor and then does something to it: what was
// shown before stands, or says nothing of what is there now.
func TestWhatEndsALife(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		text     string
		stands   bool
		contacts bool // suspended
	}{
		"a note":                    {"note text=\"looked at the fan motor\"", true, false},
		"worked on":                 {"worked-on area=front components=\"fan motor\"", true, false},
		"fitted":                    {"part-fitted component=\"fan motor\" state=new", false, false},
		"repaired":                  {"repair component=\"fan motor\" what=\"new brushes\"", false, false},
		"taken out":                 {"part-removed component=\"fan motor\"", false, false},
		"put back":                  {"part-put-back component=\"fan motor\"", false, false},
		"reseated":                  {"part-put-back component=\"fan motor\" reseated-only", true, true},
		"lent to another place":     {"part-fitted component=blower state=borrowed borrowed-from=\"fan motor\"", false, false},
		"pierced":                   {"temporary-on temporary=pierced what=w where=\"fan motor\"", false, false},
		"cut":                       {"temporary-on temporary=wire-cut what=w where=\"fan motor\"", false, false},
		"unplugged":                 {"temporary-on temporary=unplugged what=w where=\"fan motor\"", true, true},
		"its fuse out":              {"temporary-on temporary=fuse-out what=w where=\"fan motor\"", true, true},
		"jumped":                    {"temporary-on temporary=jumper what=w where=\"fan motor\"", true, false},
		"unplugged, then fitted":    {"temporary-on temporary=unplugged what=w where=\"fan motor\"\npart-fitted component=\"fan motor\" state=new", false, false},
		"fitted, before the test":   {"part-fitted component=\"fan motor\" state=new before-opening", true, false},
		"something else was fitted": {"part-fitted component=\"fan relay\" state=new", true, false},
	} {
		fan := fold(t, opening+"test what=t outcome=pass covers=\"fan motor\"\n"+tc.text).Component("fan motor")
		require.Equal(t, tc.stands, len(fan.Since()) == 1, name)
		require.Equal(t, tc.contacts, fan.ContactsSince != nil, name)
		require.Len(t, fan.Evidence, 1, "%s: nothing is thrown away", name)
	}
}

func TestEvidenceIsOfWhatIsFitted(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
part-fitted component="fan motor" state=new why=guess
repair component="fan motor" what="new brushes"
test what=t outcome=pass covers="fan motor"
test what="looked for a manual" covers="fan motor"
repair-checked repairs=#2 concern-tried=yes
repair-checked repairs=#2 outcome=pass
`)
	require.Empty(t, c.Fittings[0].After, "what came after the repair is of the repair")
	require.Len(t, c.Component("fan motor").Since(), 2, "what has no outcome is no evidence")
	require.Equal(t, []*cases.Step{c.Step(6), c.Step(7)}, c.Fittings[0].Credit, "a check that names it speaks of it")
}

func TestWhatATestIsAloneIn(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what=t outcome=pass covers="fan motor"
test what=t outcome=pass covers="mostly fan relay"
test what=t outcome=pass covers="fuse F4, splice S4"
repair component="brown wire" what=soldered
repair-checked repairs=#5 outcome=pass
`)
	alone := map[string]bool{}
	for _, e := range c.Evidence {
		alone[e.Component.Name] = e.Alone
	}
	require.Equal(t, map[string]bool{"fan motor": true, "fan relay": false, "fuse F4": false, "splice S4": false, "brown wire": false}, alone)
}

func TestPutBackEndsTheRightFitting(t *testing.T) {
	t.Parallel()
	text := opening + `
part-fitted component="fan relay" state=new why=trial
part-fitted component="fan relay" state=new why=trial
`
	back := func(line string) []bool {
		var out []bool
		for _, f := range fold(t, text+line).Fittings {
			out = append(out, f.PutBack != nil)
		}
		return out
	}
	require.Equal(t, []bool{false, true}, back(`part-put-back component="fan relay"`), "the last one")
	require.Equal(t, []bool{true, false}, back(`part-put-back component="fan relay" undoes=#2`), "the one that is named")
	require.Equal(t, []bool{false, false}, back(`part-put-back component="horn relay"`))
	require.Equal(t, []bool{true, true}, back("part-put-back component=\"fan relay\"\npart-put-back component=\"fan relay\""), "each once")
}

func TestTemporaryIsEndedOnce(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+"temporary-on temporary=jumper what=w where=\"relay K2\"\ntemporary-off temporary=#2\ntemporary-off temporary=#2")
	require.Equal(t, c.Step(3), c.Temporaries[0].Off)
}

func TestNamesOfPointsAndComponentsAreApart(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what=t outcome=pass covers="fan"
test what=t outcome=pass covers="blower"
reading value="1.0 V" red=fan black=batt-
same-as one=fan other=blower points=yes
`)
	require.NotSame(t, c.Component("fan"), c.Component("blower"), "two points of those names are one, the components are not")
	require.NotNil(t, c.Point("blower"))
	joined := fold(t, opening+"same-as one=\"cooling fan\" other=blower\ntest what=t outcome=pass covers=blower")
	require.Equal(t, "cooling fan", joined.Component("blower").Name, "the first of the two names stays")
	require.Equal(t, "cooling fan", joined.Key("blower"))
}

func TestBeliefRestsOnEvidenceOnly(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
part-fitted component="fan motor" state=new why=guess
belief statement="the fan is new" basis=told
seen what="bright copper" component="splice S4"
belief statement="the ground is good" basis=assumed because=#2,#3,#4
`)
	require.Equal(t, []*cases.Step{c.Step(4)}, c.Beliefs[1].Behind, "neither a fitting nor another belief shows anything")
}

func TestConcernSeen(t *testing.T) {
	t.Parallel()
	require.Nil(t, fold(t, opening+"concern-duplicated unsafe-to-repeat").Duplicated, "what is unsafe to repeat was not seen")
	c := fold(t, opening+"concern-duplicated\nconcern-duplicated")
	require.Equal(t, c.Step(2), c.Duplicated, "the first time")
	require.Len(t, c.Presence, 2)
}

func TestHandOffsGoByIdOrTheLastOpenOne(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
handed-off to-shop=south question=why access=write
handed-off to-shop=west question=why access=write
taken-up handoff=#2
taken-up handoff=#2
handed-back handoff=#3 found=nothing
handed-back found="ground splice"
`)
	require.Equal(t, c.Step(4), c.Handoffs[0].TakenUp, "once")
	require.Nil(t, c.Handoffs[1].TakenUp)
	require.Equal(t, c.Step(6), c.Handoffs[1].Back)
	require.Equal(t, c.Step(7), c.Handoffs[0].Back, "the one that was still out")
	what, shop := fold(t, opening+"handed-off to-shop=south question=why access=write\nclosed outcome=declined").Waits()
	require.Empty(t, what+shop, "a closed case waits for nobody")
}

func TestACaseOpensOnce(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`case-opened shop=south concern.statement="lamp is out" vehicle.make=Other`)
	require.Equal(t, c.Step(1), c.Opening)
	require.Equal(t, "Tarn", c.Vehicle.GetMake())
	require.Equal(t, "fan does not run when hot", c.ConcernWords())
}

func TestConcernAndVehicleInWords(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+"concern-stated concern.frequency=daily\nconcern-stated concern.statement=\"fan runs late\"\nconcern-stated concern.works=horn")
	require.Equal(t, "fan runs late", c.ConcernWords(), "as it was last stated")
	require.Equal(t, "2011 Tarn Hauler", c.VehicleWords())
	for vehicle, want := range map[string]string{"vehicle.plate=\"AB 12\"": "AB 12", "vehicle.vin=11111111111111111": "11111111111111111", "": "vehicle not described"} {
		require.Equal(t, want, fold(t, "case-opened concern.statement=x "+vehicle).VehicleWords())
	}
}

func TestGrantsFollowTheLastWord(t *testing.T) {
	t.Parallel()
	text := opening + "access-granted shop=south access=write\n"
	require.Equal(t, eventv1.Access_ACCESS_WRITE, fold(t, text).Grants["south"].Access)
	require.Equal(t, eventv1.Access_ACCESS_READ, fold(t, text+"access-withdrawn shop=south left=read").Grants["south"].Access)
	require.Equal(t, eventv1.Access_ACCESS_UNSPECIFIED, fold(t, text+"access-withdrawn shop=south").Grants["south"].Access)
}

func TestPointsAreKnownByTheLastDrawing(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`circuit-drawn basis=traced points={point:"fan C1-1" colour:"brown"}
circuit-drawn basis=traced points={point:"fan C1-1" colour:"brown/white"}`)
	p := c.Point("fan c1-1")
	require.Equal(t, "brown/white", p.Seen.GetColour())
	require.Equal(t, c.Step(3), p.Basis)
}

func TestLeftBehindIsWhatIsThereStill(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
part-fitted component="fan motor" state=new part="first"
part-fitted component="fan motor" state=new part="second"
part-fitted component="fan relay" state=new
part-removed component="fan relay"
repair component="splice S4" what="crimped anew"
temporary-on temporary=jumper what="30 to 87" where="relay K2"
temporary-off temporary=#7
`)
	var got []string
	for _, l := range c.Left() {
		got = append(got, fmt.Sprintf("%d %s %s", l.GetKind(), l.GetWhere(), l.GetEntry()))
	}
	require.Equal(t, []string{"1 fan relay " + c.Step(5).ID, "2 fan motor " + c.Step(3).ID, "3 splice S4 " + c.Step(6).ID}, got)

	next := read(t, opening)
	next.Records[0].Event.GetCaseOpened().LeftBehind = c.Left()
	n, err := next.Case()
	require.NoError(t, err)
	require.Equal(t, c.Left(), n.Left(), "as it was first said, with where")
}
