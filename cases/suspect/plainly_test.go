package suspect_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases/suspect"
)

// blunt is evidence that tells nothing of which faults are alike to it: every
// hypothesis is asked about by itself. It is the plain way.
type blunt struct{ suspect.Plain }

// bluntCoverage is blunt and still says which part it covers alone.
type bluntCoverage struct {
	blunt
	of *suspect.Coverage
}

func (b bluntCoverage) Direct(p suspect.Part) (fails, shows bool) { return b.of.Direct(p) }

func bluntly(p suspect.Problem) suspect.Problem {
	out := suspect.Problem{Faults: p.Faults}
	for _, e := range p.Evidence {
		if c, ok := e.(*suspect.Coverage); ok {
			out.Evidence = append(out.Evidence, bluntCoverage{blunt{c}, c})
			continue
		}
		out.Evidence = append(out.Evidence, blunt{e.(suspect.Plain)})
	}
	return out
}

// lived is a problem of parts with several lives, seen between the changes and tested
// in each.
func lived(t *rapid.T) suspect.Problem {
	names := []string{"fan", "fuse", "plug", "relay", "wire"}[:rapid.IntRange(2, 5).Draw(t, "parts")]
	lives := map[string]int{}
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.05}}}
	kinds := [][]suspect.Mode{{suspect.AnyWay}, {suspect.Open, suspect.AnyWay}, {suspect.Open, suspect.ShortToGround, suspect.AnyWay}}
	ways := map[string][]suspect.Mode{}
	for _, n := range names {
		ways[n] = rapid.SampledFrom(kinds).Draw(t, "ways")
	}
	sight := func(n int, gone bool) {
		there := map[suspect.Part]bool{}
		var all []suspect.Part
		for _, name := range names {
			q := suspect.Part{Key: name, Life: lives[name]}
			there[q], all = true, append(all, q)
		}
		p.Evidence = append(p.Evidence, &suspect.Sighting{
			ID: fmt.Sprint("s", n), Setup: fmt.Sprint("s", n), Gone: gone, Shares: suspect.SightingShares{WithoutFault: 0.02, GoneWithFault: 0.1},
			There: func(q suspect.Part) bool { return there[q] }, Parts: func() []suspect.Part { return all },
		})
	}
	sight(0, false)
	for n := range rapid.IntRange(1, 10).Draw(t, "entries") {
		name := rapid.SampledFrom(names).Draw(t, "name")
		if rapid.IntRange(0, 2).Draw(t, "what") == 0 {
			lives[name]++
			sight(n+1, rapid.IntRange(0, 9).Draw(t, "gone") == 0)
			continue
		}
		c := test(fmt.Sprint("t", n), rapid.Bool().Draw(t, "fails"))
		for _, name := range rapid.SliceOfNDistinct(rapid.SampledFrom(names), 1, 2, rapid.ID).Draw(t, "covers") {
			cover := suspect.Cover{Part: suspect.Part{Key: name, Life: lives[name]}, Mostly: rapid.IntRange(0, 3).Draw(t, "mostly") == 0}
			if rapid.Bool().Draw(t, "of modes") {
				cover.Modes = ways[name][:1]
			}
			c.Covers = append(c.Covers, cover)
		}
		c.Setup = rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "set-up")
		c.Shows = c.Fails && rapid.Bool().Draw(t, "shows")
		p.Evidence = append(p.Evidence, c)
	}
	for k, name := range names {
		for life := range lives[name] + 1 {
			for _, m := range ways[name] {
				p.Faults = append(p.Faults, suspect.Fault{Part: suspect.Part{Key: name, Life: life}, Mode: m, Prior: 0.01 * float64(k+1), Ended: life < lives[name]})
			}
		}
	}
	if rapid.IntRange(0, 15).Draw(t, "many") == 0 {
		for n := range 310 { // pairs of so many are held otherwise
			p.Faults = append(p.Faults, suspect.Fault{Part: part(fmt.Sprint("spare ", n)), Prior: 0.0001 * float64(1+n%5)})
		}
	}
	return p
}

// TestPlainly: evidence that says which faults are alike to it, and what it touches,
// is judged as when every hypothesis is asked about by itself.
func TestPlainly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) { sameAnswers(rt, lived(rt)) })
}

func sameAnswers(t require.TestingT, p suspect.Problem) {
	gone := slices.ContainsFunc(p.Evidence, func(e suspect.Evidence) bool { s, ok := e.(*suspect.Sighting); return ok && s.Gone })
	last := len(p.Evidence) - 1
	grown := func(p suspect.Problem) *suspect.Judgement {
		return suspect.Judge(suspect.Problem{Faults: p.Faults, Evidence: p.Evidence[:last]}).With(p.Evidence[last])
	}
	for j, other := range map[*suspect.Judgement]*suspect.Judgement{suspect.Judge(p): suspect.Judge(bluntly(p)), grown(p): grown(bluntly(p))} {
		require.InDelta(t, other.NoFault(), j.NoFault(), 1e-9)
		proofs, again := j.Proofs()
		plain, plainAgain := other.Proofs()
		require.Equal(t, plain, proofs)
		require.Len(t, again, len(plainAgain))
		for k, a := range again {
			require.Equal(t, plainAgain[k].Entry, a.Entry)
		}
		for _, s := range other.Suspects() {
			require.InDelta(t, s.Probability, j.Probability(s.Part), 1e-9, s.Part)
			require.Equal(t, other.NarrowedTo(s.Part), j.NarrowedTo(s.Part), s.Part)
			ways, n := 0, 0
			for _, f := range p.Faults {
				if f.Part == s.Part {
					ways++
					require.InDelta(t, other.ProbabilityOf(f.Part, f.Mode), j.ProbabilityOf(f.Part, f.Mode), 1e-9)
				}
			}
			for _, x := range plain {
				if x.Part == s.Part {
					n++
				}
			}
			require.Equal(t, ways == n, j.ProvenGood(s.Part), s.Part)
		}
		if gone {
			continue // a blunt sighting does not say that it is one
		}
		a, b := other.Explanations(), j.Explanations()
		require.Len(t, b, len(a))
		sum := func(all []suspect.Explanation) map[string]float64 {
			out := map[string]float64{}
			for _, e := range all {
				out[fmt.Sprint(e.Parts)] = e.Probability
			}
			return out
		}
		require.InDeltaMapValues(t, sum(a), sum(b), 1e-9)
	}
}

// TestPlainlyMany: the same of more faults than are held in pairs.
func TestPlainlyMany(t *testing.T) {
	t.Parallel()
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.05}}}
	at := func(from, to int) suspect.Evidence {
		var all []suspect.Part
		for n := from; n < to; n++ {
			all = append(all, part(fmt.Sprint("part ", n)))
		}
		return &suspect.Sighting{
			ID: fmt.Sprint(from), Setup: fmt.Sprint(from), Shares: suspect.SightingShares{WithoutFault: 0.02, GoneWithFault: 0.1},
			There: func(q suspect.Part) bool { return slices.Contains(all, q) }, Parts: func() []suspect.Part { return all },
		}
	}
	for n := range 760 {
		p.Faults = append(p.Faults, suspect.Fault{Part: part(fmt.Sprint("part ", n)), Prior: 0.001 * float64(1+n%7)})
	}
	p.Evidence = []suspect.Evidence{at(0, 30), test("a", true, "part 3", "part 700"), at(20, 50), test("b", false, "part 3"), at(30, 760), test("c", true, "part 700")}
	sameAnswers(t, p)
}
