package cases_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"knowngood.example/cases"
	"knowngood.example/cases/scenario"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func read(t testing.TB, text string) *scenario.Scenario {
	t.Helper()
	s, err := scenario.Read(text)
	require.NoError(t, err)
	return s
}

func fold(t testing.TB, text string) *cases.Case {
	t.Helper()
	c, err := read(t, text).Case()
	require.NoError(t, err)
	return c
}

// jobs is the seqs in job order.
func jobs(c *cases.Case) []uint64 {
	var out []uint64
	for _, s := range c.Jobs() {
		out = append(out, s.Seq)
	}
	return out
}

const opening = `mara@north: case-opened shop=north concern.statement="fan does not run when hot" vehicle.year=2011 vehicle.make=Tarn vehicle.model=Hauler
`

func TestJobOrder(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		text string
		want []uint64
	}{
		"as the log took it":           {opening + "note text=a\nnote text=b", []uint64{1, 2, 3}},
		"before the opening":           {opening + "note text=a\npart-fitted component=fan before-opening", []uint64{3, 1, 2}},
		"behind an entry":              {opening + "note text=a\nnote text=b\nnote text=c after=#2", []uint64{1, 2, 4, 3}},
		"behind one that is placed":    {opening + "note text=a\nnote text=b before-opening\nnote text=c after=#3", []uint64{3, 4, 1, 2}},
		"siblings by when":             {opening + "note text=a after=#1 happened=2026-03-05\nnote text=b after=#1 happened=2026-03-04\nnote text=c", []uint64{1, 3, 2, 4}},
		"siblings without a date last": {opening + "note text=a before-opening\nnote text=b before-opening happened=2026-02-01", []uint64{3, 2, 1}},
		"waits at its log place":       {opening + "note text=a after=#9\nnote text=b", []uint64{1, 2, 3}},
		"till its place comes":         {opening + "note text=a after=#4\nnote text=b\nnote text=c", []uint64{1, 3, 4, 2}},
		"a circle stands in the log":   {opening + "note text=a after=#3\nnote text=b after=#2\nnote text=c", []uint64{1, 2, 3, 4}},
		"a circle of three":            {opening + "note text=a after=#4\nnote text=b after=#2\nnote text=c after=#3\nnote text=d", []uint64{1, 2, 3, 4, 5}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tc.want, jobs(fold(t, tc.text)))
		})
	}
}

func TestWaitingIsMarked(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+"note text=a after=#9\nnote text=b after=#4\nnote text=c after=#3")
	require.True(t, c.Step(2).Waiting, "its place is not here")
	require.True(t, c.Step(3).Waiting, "its place comes after itself")
	require.False(t, c.Step(4).Waiting)
	require.True(t, c.Step(4).Placed)
}

func TestCorrections(t *testing.T) {
	t.Parallel()
	withdrawn := opening + `part-fitted component="fan motor" cost="189.00 EUR" why=guess
correction entry=#2 why="wrong vehicle"
`
	c := fold(t, withdrawn)
	require.Empty(t, c.Fittings)
	require.Empty(t, c.Judge(nil).Spend().Total())
	row := c.Row(c.Step(2), nil)
	require.Contains(t, row.Text, "fan motor", "the old one stays visible")
	require.Equal(t, []string{"withdrawn by #3"}, row.Marks)
	require.Len(t, c.AsOf(2).Fittings, 1, "as of its own moment it stood")

	back := fold(t, withdrawn+`correction entry=#3 why="it was this vehicle after all"`)
	require.Len(t, back.Fittings, 1, "a withdrawn correction corrects nothing")
	require.Equal(t, int64(18900), back.Judge(nil).Spend().Total()["EUR"])
}

// correct is a record that replaces an entry.
func correct(t testing.TB, s *scenario.Scenario, target uint64, replacement *eventv1.Event) cases.Record {
	t.Helper()
	more := read(t, strings.Repeat("note text=x\n", len(s.Records))+fmt.Sprintf("correction entry=#%d why=\"misread\"", target))
	r := more.Records[len(s.Records)]
	b, err := proto.Marshal(replacement)
	require.NoError(t, err)
	r.Event.GetCorrection().Replacement = b
	return r
}

func TestReplacementStandsInItsPlace(t *testing.T) {
	t.Parallel()
	s := read(t, opening+`part-fitted component="fan motor" cost="189.00 EUR" why=guess
test what="ran the fan from the battery" outcome=pass covers="fan motor"
`)
	s.Records = append(s.Records, correct(t, s, 2, &eventv1.Event{Kind: &eventv1.Event_PartFitted{PartFitted: &eventv1.PartFitted{
		Component: "fan motor", Cost: &eventv1.Money{Minor: 18400, Currency: "EUR"}, Why: eventv1.Why_WHY_DAMAGE_SEEN,
	}}}))
	c, err := s.Case()
	require.NoError(t, err)
	require.Equal(t, []uint64{1, 2, 3, 4}, jobs(c))
	require.Equal(t, int64(18400), c.Judge(nil).Spend().Parts[cases.NoEvidence]["EUR"])
	require.Equal(t, "damage seen", c.Fittings[0].Reason())
	require.Len(t, c.Fittings[0].After, 1, "the test after it still bears on it")
	row := c.Row(c.Step(2), nil)
	require.Contains(t, row.Text, "189.00 EUR")
	require.Contains(t, row.Now, "184.00 EUR")
	require.Equal(t, []string{"corrected by #4"}, row.Marks)
	require.Contains(t, c.Describe(c.Step(4), nil), "#2 now reads")

	s.Records = append(s.Records, correct(t, s, 2, &eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: "nothing was fitted"}}}))
	c, err = s.Case()
	require.NoError(t, err)
	require.Empty(t, c.Fittings, "the later of two corrections counts")
	require.Len(t, c.Notes, 1)
}

func TestErased(t *testing.T) {
	t.Parallel()
	s := read(t, opening+`note text="the customer's telephone number"
erased entry=#2 why="personal"
`)
	for _, gone := range []bool{false, true} {
		if gone {
			s.Records[1].Event = nil // as the log gives it afterwards
		}
		c, err := s.Case()
		require.NoError(t, err)
		require.Empty(t, c.Notes)
		row := c.Row(c.Step(2), nil)
		require.Equal(t, "(erased)", row.Text, "also where a copy still holds the bytes")
		require.Equal(t, []string{"erased"}, row.Marks)
	}
}

func TestLives(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what="fan from the battery" outcome=fail covers="fan motor"
part-fitted component="Fan  motor" state=new why=test
test what="fan from the battery" outcome=pass covers="fan motor"
temporary-on temporary=unplugged what="fan connector" where="fan motor"
temporary-off temporary=#5
temporary-on temporary=pierced what="brown wire" where="brown wire"
test what="drop over the wire" outcome=pass covers="brown wire"
repair component="brown wire" what="new length soldered in"
`)
	fan := c.Component("FAN MOTOR")
	require.Equal(t, 1, fan.Present())
	require.Len(t, fan.Since(), 1, "what was found of the old one says nothing of the new one")
	require.Equal(t, eventv1.Outcome_OUTCOME_PASS, fan.Since()[0].Outcome)
	require.Equal(t, uint64(6), fan.ContactsSince.Seq, "unplugging suspends the contacts only")
	require.Len(t, c.Fittings[0].Failing, 1)
	require.Len(t, c.Fittings[0].After, 1)
	require.Equal(t, cases.PointedTo, grade(c))
	require.Empty(t, c.Component("brown wire").Since(), "a repair starts empty")
	require.Len(t, c.StillOn(), 1, "the pierced wire was never handed over")
}

func TestFittedBeforeTheCallWithoutATest(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what="fan from the battery" outcome=fail covers="fan motor"
part-fitted component="fan motor" state=new cost="189.00 EUR" why=test before-opening
`)
	require.Empty(t, c.Fittings[0].Failing, "the test came later in job order")
	require.Equal(t, cases.NoEvidence, grade(c))
	require.Len(t, c.Fittings[0].After, 1)
	require.Equal(t, int64(18900), c.Judge(nil).Spend().Guessed["EUR"])
}

func TestBorrowedIsTemporaryUntilPutBack(t *testing.T) {
	t.Parallel()
	text := opening + `
part-fitted component="fan relay" state=borrowed borrowed-from="horn relay socket" why=trial
`
	c := fold(t, text)
	require.Len(t, c.StillOn(), 1)
	require.Contains(t, c.StillOn()[0].What, "horn relay socket, which is open")
	require.Equal(t, cases.NoEvidence, grade(c), "a trial that was not put back is no reason")
	for name, back := range map[string]string{
		"into the socket it came from": `part-put-back component="horn relay socket"`,
		"out of where it was tried":    `part-put-back component="fan relay"`,
		"by its entry":                 `part-put-back component="fan relay" undoes=#2`,
		"as a temporary":               `temporary-off temporary=#2 said="relay is home"`,
	} {
		t.Run(name, func(t *testing.T) { require.Empty(t, fold(t, text+back).StillOn()) })
	}
	require.Len(t, fold(t, text+`part-put-back component="headlamp"`).StillOn(), 1)
	require.Empty(t, c.Fittings[0].Reason())
	require.Equal(t, "a trial, put back", fold(t, text+`part-put-back component="fan relay"`).Fittings[0].Reason())
}

func TestTakenOutIsOpenUntilFilled(t *testing.T) {
	t.Parallel()
	text := opening + `part-removed component=thermostat kept=yes
`
	require.Len(t, fold(t, text).StillOn(), 1)
	require.Empty(t, fold(t, text+`part-fitted component=thermostat state=new`).StillOn())
	require.Empty(t, fold(t, text+`part-put-back component=thermostat`).StillOn())
	require.Len(t, fold(t, text+`part-fitted component=radiator state=new`).StillOn(), 1)
}

func TestBeliefs(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
belief statement="the ground is good" basis=assumed component="splice S4"
part-fitted component="fan motor" why=guess because=#2
reading value="0.9 V drop" red="fan C1-1" black=batt- outcome=fail covers="splice S4"
belief-settled belief=#2 holds=no how="drop under load" because=#4
belief statement="relay was changed last year" basis=told told-by=customer
`)
	require.Len(t, c.Beliefs, 2)
	ground := c.Beliefs[0]
	require.Equal(t, []*cases.Step{c.Step(3)}, ground.ReliedOn)
	require.Equal(t, eventv1.Answer_ANSWER_NO, ground.Holds)
	require.Equal(t, []*cases.Step{c.Step(4)}, ground.Behind)
	require.Equal(t, []*cases.Belief{c.Beliefs[1]}, c.Unsettled())
	require.Equal(t, "told by customer", c.Step(6).OnWhoseWord(nil))
	require.Empty(t, c.AsOf(4).Beliefs[0].Settled)
}

func TestSameAsJoinsNames(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what=ran outcome=fail covers="blower"
part-fitted component="cooling fan" why=test
same-as one="cooling fan" other=blower
reading value="12.1 V" red=X1 black=batt-
same-as one="fan C1-2" other=X1 points=yes
reading value="0.1 V" red="fan C1-2" black=batt-
`)
	require.Same(t, c.Component("blower"), c.Component("cooling fan"))
	require.Equal(t, cases.PointedTo, grade(c), "the failing test was on it under its other name")
	require.Same(t, c.Point("X1"), c.Point("fan C1-2"))
	require.Equal(t, uint64(7), c.Point("x1").Last.Seq)
	require.Equal(t, cases.NoEvidence, grade(c.AsOf(3)), "the failing test was of something else as far as anybody said")
}

func TestHandOffAndBack(t *testing.T) {
	t.Parallel()
	text := opening + `handed-off to-shop=south question="why does the fan not run" access=write
`
	who, shop := fold(t, text).Waits()
	require.Equal(t, "south", shop)
	require.Contains(t, who, "take it up")
	c := fold(t, text+`taken-up handoff=#2`)
	who, _ = c.Waits()
	require.Contains(t, who, "hand back")
	c = fold(t, text+"taken-up handoff=#2\nhanded-back handoff=#2 found=\"ground splice\"\n")
	_, shop = c.Waits()
	require.Equal(t, "north", shop)
	require.Equal(t, "open", c.Standing())
	closed := fold(t, text+"closed outcome=fixed-and-checked\n")
	require.Equal(t, "closed: fixed and checked", closed.Standing())
	require.Nil(t, fold(t, text+"closed outcome=declined\nreopened why=\"came in again\"").Closed)
}

func TestLeftForTheNextCase(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
temporary-on temporary=jumper what="30 to 87" where="relay K2" undo="pull it"
part-fitted component="fan motor" state=new
part-fitted component="fan relay" state=borrowed borrowed-from="horn socket"
worked-on area="front bumper" what="replaced"
`)
	var kinds []eventv1.LeftKind
	for _, l := range c.Left() {
		kinds = append(kinds, l.GetKind())
	}
	require.Equal(t, []eventv1.LeftKind{1, 1, 2, 4}, kinds)

	next := read(t, opening)
	next.Records[0].Event.GetCaseOpened().LeftBehind = c.Left()
	n, err := next.Case()
	require.NoError(t, err)
	require.Len(t, n.StillOn(), 2)
	more := read(t, opening+fmt.Sprintf("temporary-off temporary=%s said=pulled", c.Step(2).ID))
	next.Records = append(next.Records, more.Records[1])
	n, err = next.Case()
	require.NoError(t, err)
	require.Len(t, n.StillOn(), 1)
	require.Len(t, n.Left(), 3, "what is still there goes on to the next case")
}

func TestNotUnderstood(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=a\nnote text=b")
	s.Records[1].Known, s.Records[1].Entry.Kind = false, 999
	s.Records[2].Strange = true
	c, err := s.Case()
	require.NoError(t, err)
	require.Empty(t, c.Notes, "what is not understood proves nothing")
	require.Len(t, c.Strange, 2)
	require.Equal(t, "kind 999", c.Step(2).KindWords())
	require.Equal(t, []string{"not understood here"}, c.Row(c.Step(2), nil).Marks)
	require.Contains(t, c.Describe(c.Step(3), nil), "not understood here")
}

func TestLate(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=a\njo@south: note text=b\nnote text=c")
	s.Records[3].Event.ObservedThrough = 1
	c, err := s.Case()
	require.NoError(t, err)
	require.Equal(t, uint64(1), c.Step(4).Unseen, "its own device's entry 3 it knew")
	require.Zero(t, c.Step(3).Unseen)
}

func TestApplyRefuses(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=a\nnote text=b")
	c := cases.New(scenario.Stream)
	require.ErrorIs(t, c.Apply(s.Records[1]), cases.ErrOrder)
	require.NoError(t, c.Apply(s.Records[0]))
	require.ErrorIs(t, c.Apply(s.Records[0]), cases.ErrOrder)
	require.ErrorIs(t, c.Apply(s.Records[2]), cases.ErrOrder)
	require.ErrorIs(t, cases.New("other").Apply(s.Records[0]), cases.ErrOrder)
}

// dump is everything a reader can see of a case.
func dump(t require.TestingT, c *cases.Case) string {
	var b strings.Builder
	for _, r := range c.Timeline(cases.Query{JobOrder: true}, nil) {
		fmt.Fprintln(&b, r.Step.Seq, r.Step.Job, r.Step.By, r.Text, "|", r.Now, "|", r.Marks, len(r.Step.Because))
	}
	var keys []string
	for k := range c.Components {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		comp := c.Components[k]
		fmt.Fprintln(&b, k, comp.Name, len(comp.Lives), len(comp.Evidence), len(comp.Since()), len(comp.Steps), comp.ContactsSince != nil)
	}
	judged := c.Judge(nil)
	for _, f := range c.Fittings {
		fmt.Fprintln(&b, f.Step.Seq, judged.Graded(f).Grade, f.Reason(), len(f.Failing), len(f.After), len(f.Credit), f.PutBack != nil)
	}
	for _, x := range c.Temporaries {
		fmt.Fprintln(&b, x.On.Seq, x.What, x.Off != nil)
	}
	for _, x := range c.Beliefs {
		fmt.Fprintln(&b, x.Step.Seq, x.Holds, len(x.ReliedOn), len(x.Behind))
	}
	j, err := json.Marshal(judged.Spend())
	require.NoError(t, err)
	fmt.Fprintln(&b, string(j), len(c.Points), c.Standing())
	return b.String()
}

// lines are shapes of entries; PLACE is an earlier or later place.
var lines = []string{
	`note text="n PLACE" because=#PLACE`, `note text=late after=#PLACE`, `note text=early before-opening`,
	`part-fitted component="part PART" state=new cost="PART.00 EUR" why=guess`,
	`part-fitted component="part PART" state=borrowed borrowed-from="part PLACE" after=#PLACE`,
	`part-put-back component="part PART"`, `part-put-back component="part PART" undoes=#PLACE`, `part-removed component="part PART"`,
	`test what=t outcome=fail covers="part PART"`, `test what=t outcome=pass covers="part PART, mostly part PLACE" because=#PLACE`,
	`reading value="1.0 V" red="p PART" black="batt-" outcome=pass covers="part PART"`,
	`belief statement=s basis=assumed component="part PART"`, `belief-settled belief=#PLACE holds=yes because=#PLACE`,
	`correction entry=#PLACE why=w`, `erased entry=#PLACE why=w`, `same-as one="part PART" other="part PLACE"`,
	`temporary-on temporary=pierced what=w where="part PART"`, `temporary-on temporary=unplugged what=w where="part PART"`, `temporary-off temporary=#PLACE`,
	`repair component="part PART" what=w`, `repair-checked repairs=#PLACE outcome=pass`, `closed outcome=declined`, `reopened why=w`,
}

func TestOneAtATimeIsTheSameAsAllAtOnce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 24).Draw(rt, "n")
		text := opening
		for range n {
			l := rapid.SampledFrom(lines).Draw(rt, "line")
			text += strings.NewReplacer("PLACE", fmt.Sprint(rapid.IntRange(1, n+2).Draw(rt, "place")), "PART", fmt.Sprint(rapid.IntRange(1, 4).Draw(rt, "part"))).Replace(l) + "\n"
		}
		s, err := scenario.Read(text)
		require.NoError(rt, err)
		one := cases.New(scenario.Stream)
		for i, r := range s.Records {
			require.NoError(rt, one.Apply(r))
			whole, err := cases.Fold(scenario.Stream, s.Records[:i+1])
			require.NoError(rt, err)
			require.Equal(rt, dump(rt, whole), dump(rt, one), text)
		}
		at := uint64(rapid.IntRange(1, len(s.Records)).Draw(rt, "as of"))
		prefix, err := cases.Fold(scenario.Stream, s.Records[:at])
		require.NoError(rt, err)
		require.Equal(rt, dump(rt, prefix), dump(rt, one.AsOf(at)))
	})
}

// big is a case of n entries as a busy one is: mostly readings and tests.
func big(tb testing.TB, n int) []cases.Record {
	r := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	b.WriteString(opening)
	for i := 1; i < n; i++ {
		part := r.IntN(200)
		switch i % 10 {
		case 0:
			fmt.Fprintf(&b, "part-fitted component=\"part %d\" state=new cost=\"12.00 EUR\" why=test because=#%d\n", part, i)
		case 1:
			fmt.Fprintf(&b, "belief statement=\"part %d is good\" basis=assumed component=\"part %d\"\n", part, part)
		case 2, 3:
			fmt.Fprintf(&b, "test what=tried outcome=%s covers=\"part %d\" conditions.key=running\n", []string{"pass", "fail"}[i/10%2], part)
		case 4:
			fmt.Fprintf(&b, "note text=\"looked at part %d\"\n", part)
		default:
			fmt.Fprintf(&b, "reading value=\"12.%d V\" red=\"p %d\" black=batt- conditions.key=on\n", i%100, part)
		}
	}
	s, err := scenario.Read(b.String())
	require.NoError(tb, err)
	return s.Records
}

// BenchmarkFold10000 folds a case of 10,000 entries from nothing.
func BenchmarkFold10000(b *testing.B) {
	records := big(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := cases.Fold(scenario.Stream, records); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkOneMore applies a plain entry to a case of 10,000.
func BenchmarkOneMore(b *testing.B) {
	records := big(b, 10_000)
	extra := big(b, 20_000)[10_000:]
	c, err := cases.Fold(scenario.Stream, records)
	require.NoError(b, err)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if i == len(extra) {
			b.StopTimer()
			c, err = cases.Fold(scenario.Stream, records)
			require.NoError(b, err)
			i = 0
			b.StartTimer()
		}
		if err := c.Apply(extra[i]); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

// BenchmarkPlacedEarlier applies an entry that is placed before the opening to a
// case of 10,000: it folds anew.
func BenchmarkPlacedEarlier(b *testing.B) {
	records := big(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		c, err := cases.Fold(scenario.Stream, records[:9_999])
		require.NoError(b, err)
		r := records[9_999]
		r.Event = proto.CloneOf(r.Event)
		r.Event.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
		if err := c.Apply(r); err != nil {
			b.Fatal(err)
		}
	}
}

// grade of the first part fitted.
func grade(c *cases.Case) cases.Grade { return c.Judge(nil).Graded(c.Fittings[0]).Grade }
