package cases_test

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"knowngood.example/cases"
	"knowngood.example/cases/scenario"
)

// Shapes of entries of invented cases: ONE and OTHER are components, PLACE an
// earlier entry, OUTCOME pass or fail.
var (
	fits = []string{
		`part-fitted component="ONE" state=new why=guess cost="12.50 EUR"`, `part-fitted component="ONE" state=used why=test cost="40.00 EUR"`,
		`part-fitted component="ONE" state=original`, `part-fitted component="ONE" state=borrowed borrowed-from="OTHER" why=trial`,
	}
	works = []string{
		`part-put-back component="ONE"`, `part-put-back component="ONE" reseated-only`, `part-removed component="ONE"`,
		`repair component="ONE" what=cleaned cost="5.00 EUR"`, `repair-checked repairs=#PLACE concern-tried=yes concern=absent outcome=pass`,
		`temporary-on temporary=pierced what=probe where="ONE"`, `temporary-on temporary=unplugged what=plug where="ONE"`, `temporary-off temporary=#PLACE`,
	}
	// Independent of each other; an exchange rests on the unplugging before it.
	finds = []string{
		`test what=ran manner=function covers="ONE" outcome=pass concern=present`,
		`test what=ran manner=function covers="ONE, mostly OTHER" outcome=fail`,
		`test what=bench manner=bench covers="ONE" outcome=OUTCOME`,
		`test what=lead manner=bypass covers="ONE" outcome=pass concern=present concern-change=stayed`,
		`test what=lead manner=bypass covers="ONE, OTHER" outcome=fail concern=present concern-change=went-and-came-back`,
		`test what=drop manner=drop covers="ONE" outcome=OUTCOME concern=present conditions.commanded=on conditions.current="8 A"`,
		`test what=idle manner=function covers="ONE" outcome=pass concern=absent`,
		`test what=shorted covers={component:"ONE" extent:EXTENT_WHOLE modes:FAULT_MODE_SHORT_TO_GROUND} outcome=OUTCOME concern=present`,
		`reading value="12.1 V" red="ONE pin" black=batt- covers="ONE" outcome=OUTCOME concern=present conditions.commanded=on conditions.loaded=lamp`,
		`reading value="0.2 Ohm" red="ONE in" black="ONE out" covers="ONE" outcome=OUTCOME`,
		`seen what="green" component="ONE" outcome=fail mode=high-resistance`,
	}
	exchanges = []string{
		`test what=replugged manner=reseat covers="ONE" outcome=pass concern=present concern-change=stayed`,
		`test what=swapped manner=substitution covers="ONE" outcome=fail concern=present concern-change=went-and-came-back`,
	}
	tells = []string{
		`concern-duplicated what=seen tries=3 failures=2`, `concern-acting-up what=still`, `concern-gone-away what=gone`,
		`concern-stated concern.statement="again" concern.frequency=always`, `worked-on components="ONE" what="bumper off"`,
		`belief statement="ONE is well" basis=assumed component="ONE"`, `belief-settled belief=#PLACE holds=no because=#PLACE`,
		`time-spent minutes=10 charge="15.00 EUR"`, `approval who=customer up-to="100.00 EUR"`,
		`correction entry=#PLACE why="misread"`, `closed outcome=declined`, `reopened why="came back"`,
	}
	anything = slices.Concat(fits, fits, works, works, finds, finds, finds, exchanges, tells)
	parts    = []string{"fan motor", "fan relay", "fan relay contacts", "fan fuse", "splice", "engine module"}
)

// teller draws the lines of an invented case.
type teller struct {
	*rapid.T
	parts []string
	lines []string
}

func newTeller(rt *rapid.T) *teller {
	frequency := rapid.SampledFrom([]string{"", " concern.frequency=always", " concern.frequency=sometimes"}).Draw(rt, "frequency")
	return &teller{
		T: rt, parts: parts[:rapid.IntRange(3, len(parts)).Draw(rt, "components")],
		lines: []string{strings.TrimSpace(opening) + frequency},
	}
}

// tell adds a line of one of the shapes; more stands behind it.
func (t *teller) tell(shapes []string, more string) {
	line := rapid.SampledFrom(shapes).Draw(t.T, "line")
	if strings.Contains(line, "PLACE") {
		line = strings.ReplaceAll(line, "PLACE", fmt.Sprint(t.place()))
	}
	part, outcome := rapid.SampledFrom(t.parts), rapid.SampledFrom([]string{"pass", "fail"})
	line = strings.NewReplacer("ONE", part.Draw(t.T, "one"), "OTHER", part.Draw(t.T, "other"), "OUTCOME", outcome.Draw(t.T, "outcome")).Replace(line)
	t.lines = append(t.lines, line+more)
}

// place of an entry that is there; not the opening when there is another.
func (t *teller) place() int {
	return rapid.IntRange(min(2, len(t.lines)), len(t.lines)).Draw(t.T, "place")
}

// by says who wrote the last line.
func (t *teller) by(who string) { t.lines[len(t.lines)-1] = who + ": " + t.lines[len(t.lines)-1] }

// story adds from low to high lines of anything, by two shops, some of them placed
// elsewhere in job order.
func (t *teller) story(low, high int) {
	for range rapid.IntRange(low, high).Draw(t.T, "entries") {
		t.tell(anything, rapid.SampledFrom([]string{"", "", "", "", " before-opening", fmt.Sprintf(" placed-after=#%d", t.place())}).Draw(t.T, "placed"))
		t.by(rapid.SampledFrom([]string{"mara@north", "mara@north", "jo@south"}).Draw(t.T, "who"))
	}
}

// records of what was told; the other shop may not have seen all that was there.
func (t *teller) records() []cases.Record {
	s, err := scenario.Read(strings.Join(t.lines, "\n"))
	require.NoError(t, err)
	for _, r := range s.Records {
		if r.Entry.GetShop() == scenario.PersonID("south") {
			r.Event.ObservedThrough = rapid.Uint64Range(1, r.Entry.GetSeq()-1).Draw(t.T, "seen")
		}
	}
	return s.Records
}

// inOrder is the case of the records in another order. Ids stay, so that entries
// can be told by them, and everybody has seen what they had seen.
func inOrder(t *rapid.T, records ...cases.Record) *cases.Case {
	seq := map[string]uint64{}
	for i, r := range records {
		seq[r.Entry.GetId()] = uint64(i + 1)
	}
	var out []cases.Record
	for i, r := range records {
		n := uint64(i + 1)
		seen := seq[scenario.EntryID(r.Event.GetObservedThrough())]
		if r.Event.GetObservedThrough()+1 == r.Entry.GetSeq() {
			seen = n - 1
		}
		r.Entry, r.Event = proto.CloneOf(r.Entry), proto.CloneOf(r.Event)
		r.Entry.Seq, r.Entry.Index, r.Event.ObservedThrough = n, n-1, min(seen, n-1)
		out = append(out, r)
	}
	c, err := cases.Fold(scenario.Stream, out)
	require.NoError(t, err)
	return c
}

func idOf(s *cases.Step) string {
	if s == nil {
		return "the beginning"
	}
	return s.ID
}

func ids(all []*cases.Step) []string {
	var out []string
	for _, s := range all {
		out = append(out, s.ID)
	}
	return out
}

func probabilities(j *cases.Judged) map[string]float64 {
	out := map[string]float64{"no fault": j.Judgement().NoFault()}
	for _, s := range j.Judgement().Suspects() {
		out[fmt.Sprint(s.Part)] = s.Probability
	}
	return out
}

// verdicts of every component without their numbers, in one order.
func verdicts(j *cases.Judged) []string {
	var out []string
	for _, c := range j.Components {
		for _, v := range j.Verdicts(c) {
			entries := []string{}
			for i, s := range v.Entries {
				entries = append(entries, s.ID+" "+v.Conditions[i])
			}
			slices.Sort(entries)
			out = append(out, fmt.Sprint(c.Key, ": ", v.Standing, ", ", v.Mode, ", since ", idOf(v.Since), ", ", entries, v.Assumes))
		}
	}
	slices.Sort(out)
	return out
}

var places = regexp.MustCompile(`#\d+`)

// stands is what stands now, entries by id.
func stands(j *cases.Judged) []string {
	var out []string
	say := func(a ...any) { out = append(out, fmt.Sprint(a...)) }
	for _, key := range slices.Sorted(maps.Keys(j.Components)) {
		c := j.Components[key]
		say(key, c.Name, ids(c.Steps), idOf(c.ContactsSince))
		for _, l := range c.Lives {
			say("  ", l.Why, " since ", idOf(l.From))
		}
		for _, e := range c.Evidence {
			say("  ", e.Outcome, e.Step.ID, e.Life, e.Alone)
		}
	}
	for _, f := range j.Fittings {
		say("fitted ", f.Step.ID, len(f.Failing), ids(f.Damage), len(f.After), idOf(f.PutBack), f.Reason())
	}
	for _, t := range j.Temporaries {
		say("temporary ", t.On.ID, t.What, idOf(t.Off))
	}
	for _, b := range j.Beliefs {
		say("belief ", b.Step.ID, idOf(b.Settled), b.Holds, ids(b.Behind), ids(b.ReliedOn))
	}
	for _, r := range j.Repairs {
		say("repair ", r.Step.ID, ids(r.Checks))
	}
	for _, all := range [][]*cases.Step{j.Concerns, j.Presence, j.Readings, j.Seen, j.Worked, j.Approvals, j.Time, j.Closings, {j.Closed}, {j.Duplicated}} {
		for _, s := range all {
			say(idOf(s))
		}
	}
	say(j.Proven(), j.Again())
	next := j.Next()
	for _, a := range next.Advice {
		key := a.Component.Key
		a.Component, a.Do = nil, places.ReplaceAllString(a.Do, "#")
		say(key, fmt.Sprintf("%+v", a))
	}
	for _, w := range next.Withheld {
		say("withheld ", w.Component.Key, w.Why)
	}
	return out
}

// graded is the grade of a part fitted with what it rests on.
func graded(j *cases.Judged, f *cases.Fitting) string {
	g := j.Graded(f)
	return fmt.Sprintf("%s: %v, %v, before %v, written up %v", f.Step.ID, g.Grade, g.Probability, g.Before, ids(g.WrittenUp))
}

// fitting that the entry of the id is; nil when it is none, or struck.
func fitting(j *cases.Judged, id string) *cases.Fitting {
	if s := j.ByID(id); s != nil {
		return j.FittingOf(s)
	}
	return nil
}

// TestWithdrawnLeavesNothing: an entry that was withdrawn changes nothing that
// stands now; the parts fitted while it stood keep the grade they were given.
func TestWithdrawnLeavesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		told := newTeller(rt)
		told.story(4, 18)
		n := len(told.lines)
		told.tell(anything, rapid.SampledFrom([]string{"", " before-opening", fmt.Sprintf(" placed-after=#%d", told.place())}).Draw(rt, "placed"))
		told.lines = append(told.lines, fmt.Sprintf("mara@north: correction entry=#%d why=\"wrong vehicle\"", n+1))
		all := told.records()
		base, extra, withdrawal := all[:n], all[n], all[n+1]
		from := rapid.IntRange(1, n).Draw(rt, "entered after")
		until := rapid.IntRange(from, n).Draw(rt, "withdrawn after")

		without := inOrder(rt, base...).Judge(nil)
		with := inOrder(rt, slices.Concat(base[:from], []cases.Record{extra}, base[from:until], []cases.Record{withdrawal}, base[until:])...).Judge(nil)
		while := inOrder(rt, slices.Concat(base[:from], []cases.Record{extra}, base[from:])...).Judge(nil)

		require.Equal(rt, probabilities(without), probabilities(with))
		require.Equal(rt, verdicts(without), verdicts(with))
		require.Equal(rt, stands(without), stands(with))
		between := false
		for i, r := range base {
			f := fitting(with, r.Entry.GetId())
			switch {
			case f == nil:
			case i >= from && i < until:
				between = true
				if stood := fitting(while, r.Entry.GetId()); stood != nil {
					require.Equal(rt, graded(while, stood), graded(with, f), "fitted while it stood")
				}
			default:
				require.Equal(rt, graded(without, fitting(without, r.Entry.GetId())), graded(with, f), "fitted before, or knowing better")
			}
		}
		spent, before := with.Spend(), without.Spend()
		require.Equal(rt, before.Total(), spent.Total())
		if !between {
			require.Equal(rt, before, spent)
		}
	})
}

// TestOrderOfIndependentEvidence: in which order tests were made between which
// nothing changed does not matter.
func TestOrderOfIndependentEvidence(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		told := newTeller(rt)
		for range rapid.IntRange(0, 6).Draw(rt, "before") {
			told.tell(anything, "")
		}
		from := len(told.lines)
		for range rapid.IntRange(2, 8).Draw(rt, "tests") {
			told.tell(finds, "")
		}
		until := len(told.lines)
		for range rapid.IntRange(0, 3).Draw(rt, "after") {
			told.tell(anything, "")
		}
		all := told.records()
		order := slices.Concat(all[:from], rapid.Permutation(all[from:until]).Draw(rt, "order"), all[until:])

		one, other := inOrder(rt, all...).Judge(nil), inOrder(rt, order...).Judge(nil)
		require.InDeltaMapValues(rt, probabilities(one), probabilities(other), 1e-9)
		// Which of several failures is named to be read again, where they are equally
		// likely to be wrong, is not held here; that there is one, or none, is.
		require.Len(rt, other.Again(), len(one.Again()))
		if len(one.Again()) == 0 {
			require.Equal(rt, verdicts(one), verdicts(other))
		}
		for _, f := range one.Fittings {
			a, b := one.Graded(f), other.Graded(fitting(other, f.Step.ID))
			require.Equal(rt, a.Grade, b.Grade)
			require.InDelta(rt, a.Probability, b.Probability, 1e-9)
		}
	})
}

// TestGradesKnowNothingLater: nothing that comes later in job order, whether it
// was placed there or not, and nothing that the fitter could not know, changes the
// grade of a part.
func TestGradesKnowNothingLater(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		told := newTeller(rt)
		told.story(2, 12)
		told.tell(fits, "")
		told.by("mara@north")
		then := len(told.lines)
		const unseen = " before-opening"
		later := rapid.SampledFrom([]string{"", fmt.Sprintf(" placed-after=#%d", then), unseen}).Draw(rt, "later")
		for range rapid.IntRange(1, 6).Draw(rt, "after") {
			if later == unseen {
				told.tell(finds, later)
				told.by("jo@south")
			} else {
				told.tell(anything, later)
			}
		}
		now := inOrder(rt, told.records()...)
		atIt, whole := now.AsOf(uint64(then)).Judge(nil), now.Judge(nil)
		last := atIt.Step(uint64(then))
		for _, f := range atIt.Fittings {
			g := fitting(whole, f.Step.ID)
			// What was entered after the part, and placed before it, counts while it stands.
			struck := slices.ContainsFunc(whole.Steps()[f.Step.Seq:then], func(s *cases.Step) bool { return s.StruckBy != nil && s.StruckBy.Seq > last.Seq })
			if g != nil && !struck && f.Step.Job <= last.Job && (later != unseen || f.Step.Shop == last.Shop) {
				require.Equal(rt, graded(atIt, f), graded(whole, g))
			}
		}
	})
}

// TestJudgeLately: of few components it is the judgement of all; of many, that of
// those last spoken of, and a test that failed on something older points at none of
// them.
func TestJudgeLately(t *testing.T) {
	t.Parallel()
	text := opening
	for k := range 80 {
		text += fmt.Sprintf("seen what=x component=\"part %d\"\n", k)
	}
	both := text + "test what=t outcome=fail covers=\"part 3, part 60\"\n"
	for n := range 40 {
		both += fmt.Sprintf("seen what=y component=\"other %d\"\n", n)
	}
	c := fold(t, both)
	j := c.JudgeLately(c.Judge(nil))
	all := j.Judgement().Suspects()
	require.Len(t, all, 61, "60 and something not named")
	for _, s := range all {
		require.Less(t, s.Probability, 0.5, s.Part)
	}
	last := fold(t, both+"test what=t manner=bench outcome=fail covers=\"part 3\"\ntest what=u outcome=fail covers=\"other 39, part 3\"\n")
	require.Equal(t, "part 3", last.JudgeLately(last.Judge(nil)).Judgement().Suspects()[0].Part.Key)

	few := fold(t, opening+"test what=t outcome=fail covers=\"feed plug, feed wire\"\n")
	require.Equal(t, few.Judge(nil).Judgement().Suspects(), few.JudgeLately(few.Judge(nil)).Judgement().Suspects())
}
