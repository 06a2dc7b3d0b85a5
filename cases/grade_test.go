package cases_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
)

// TestGradesAsPlainly: every part fitted has the grade that the plain way gives it,
// with the same odds and the same tests.
func TestGradesAsPlainly(t *testing.T) {
	t.Parallel()
	table := suspect.Default()
	met := map[cases.Grade]int{}
	alike := func(rt *rapid.T) {
		told := newTeller(rt)
		// Of modes that are equally likely, as those of a drawing are, the last digit says
		// which stands for its part among three faults.
		tolerance := 1e-9
		if rapid.Bool().Draw(rt, "drawn") {
			tolerance = 1e-4
			told.lines = append(told.lines, `circuit-drawn said="batt+ > fan fuse 10A > fan relay > splice > fan motor 100W > gnd G1"`)
		}
		told.story(4, 24)
		c := inOrder(rt, told.records()...)
		j := c.Judge(&table)
		for _, f := range c.Fittings {
			got, want := j.Graded(f), c.PlainGrade(&table, f)
			require.Equal(rt, want.Grade, got.Grade, "#%d", f.Step.Seq)
			require.InDelta(rt, want.Probability, got.Probability, tolerance)
			require.InDelta(rt, want.Before, got.Before, tolerance)
			require.Equal(rt, want.WrittenUp, got.WrittenUp)
			met[got.Grade]++
		}
	}
	for rounds := 0; rounds < 20 && (met[cases.PointedTo] == 0 || met[cases.AgainstEvidence] == 0); rounds++ {
		rapid.Check(t, alike) // few stories fit a part against a test, or with one behind it
	}
	t.Logf("grades met: %v", met)
	require.Contains(t, met, cases.PointedTo)
	require.Contains(t, met, cases.AgainstEvidence)
}

// TestThereAsPlainly: what was in place at any step is what looking through all lives
// finds.
func TestThereAsPlainly(t *testing.T) {
	t.Parallel()
	table := suspect.Default()
	rapid.Check(t, func(rt *rapid.T) {
		told := newTeller(rt)
		told.story(4, 24)
		c := inOrder(rt, told.records()...)
		last := c.Step(c.Head())
		job := rapid.IntRange(1, int(c.Head())+1).Draw(rt, "job")
		require.Empty(rt, c.PlainlyThere(&table, job, rapid.Uint64Range(0, c.Head()).Draw(rt, "seen"), last.Shop))
	})
}

// stuck is an invented case of so many parts fitted, one after another of some kind:
// each found by a test, changed, and the concern still there. Apart says of how many
// components they are; corrected, that each test was misread and is taken back after.
func stuck(parts, apart int, corrected bool, idle int) string {
	var b strings.Builder
	b.WriteString("case-opened concern.statement=\"fan does not run when hot\"\n")
	n := 1
	say := func(f string, a ...any) { n++; fmt.Fprintf(&b, f+"\n", a...) }
	for i := range parts {
		p := fmt.Sprintf("part %d", i%apart)
		say("test what=worked manner=function covers=%q outcome=fail", p+", feed")
		say("part-fitted component=%q state=new why=guess cost=\"12.50 EUR\"", p)
		if corrected {
			say("correction entry=#%d why=misread", n-1)
		} else {
			say("concern-acting-up what=still")
		}
		for k := range idle {
			say("reading value=\"12.%d V\" red=\"pin %d\" black=batt-", k%10, k)
		}
	}
	return b.String()
}

// TestGradesOfManyAsPlainly: the same of the cases that are measured.
func TestGradesOfManyAsPlainly(t *testing.T) {
	t.Parallel()
	table := suspect.Default()
	for _, text := range []string{stuck(60, 12, false, 0), stuck(70, 70, false, 0), stuck(40, 10, true, 3)} {
		c := fold(t, text)
		j := c.Judge(&table)
		for _, f := range c.Fittings {
			got, want := j.Graded(f), c.PlainGrade(&table, f)
			require.Equal(t, want.Grade, got.Grade, "#%d", f.Step.Seq)
			require.InDelta(t, want.Probability, got.Probability, 1e-9)
		}
	}
}

// BenchmarkGrades grades all parts of a case: of as many components as parts, of
// twenty, and of twenty with each test taken back later, among other entries.
func BenchmarkGrades(b *testing.B) {
	for _, s := range []struct {
		name      string
		apart     int
		corrected bool
		idle      int
	}{{"each its own", 1 << 20, false, 0}, {"of twenty", 20, false, 0}, {"corrected", 20, true, 30}} {
		for _, n := range []int{100, 300, 1000} {
			if s.idle > 0 && n > 300 {
				continue // ten thousand entries are there with three hundred
			}
			c := fold(b, stuck(n, s.apart, s.corrected, s.idle))
			b.Run(fmt.Sprintf("%s/%d", s.name, n), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					j := c.Judge(nil)
					for _, f := range j.Fittings {
						j.Graded(f)
					}
				}
				b.ReportMetric(float64(c.Head()), "entries")
			})
		}
	}
}
