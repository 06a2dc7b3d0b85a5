package suspect_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

func part(name string) suspect.Part { return suspect.Part{Key: name} }

func parts(names ...string) []suspect.Part {
	var out []suspect.Part
	for _, n := range names {
		out = append(out, part(n))
	}
	return out
}

// faults of named parts, each in any way, with something not named.
func faults(prior float64, names ...string) []suspect.Fault {
	out := []suspect.Fault{{Part: suspect.NotNamed, Prior: prior}}
	for _, n := range names {
		out = append(out, suspect.Fault{Part: part(n), Prior: prior})
	}
	return out
}

func covers(names ...string) []suspect.Cover {
	var out []suspect.Cover
	for _, n := range names {
		out = append(out, suspect.Cover{Part: part(n)})
	}
	return out
}

var shares = suspect.Shares{FalsePass: 0.05, FalsePassMostly: 0.25, FalseFail: 0.03, NotNamed: 0.1}

// test makes evidence of a test; every one is a set-up of its own.
func test(id string, fails bool, names ...string) *suspect.Coverage {
	return &suspect.Coverage{ID: id, Setup: id, Covers: covers(names...), Fails: fails, Shares: shares}
}

func concern() *suspect.Sighting {
	return &suspect.Sighting{ID: "concern", Setup: "concern", There: func(suspect.Part) bool { return true },
		Shares: suspect.SightingShares{WithoutFault: 0.02, GoneWithFault: 0.03}}
}

// bayes works the same probabilities out plainly: every set of at most two parts,
// written down and added up. It is the reference, not a second engine.
func bayes(fs []suspect.Fault, all []suspect.Evidence) map[suspect.Part]float64 {
	out := map[suspect.Part]float64{}
	total := 0.0
	weigh := func(h suspect.Hypothesis) {
		w := 1.0
		for _, f := range h {
			w *= f.Prior
		}
		for _, e := range all {
			w *= math.Exp(e.(suspect.Plain).LogLik(h))
		}
		total += w
		for _, f := range h {
			out[f.Part] += w
		}
	}
	weigh(nil)
	for i := range fs {
		weigh(suspect.Hypothesis{fs[i]})
		for k := i + 1; k < len(fs); k++ {
			if fs[i].Part != fs[k].Part {
				weigh(suspect.Hypothesis{fs[i], fs[k]})
			}
		}
	}
	for p := range out {
		out[p] /= total
	}
	return out
}

// random makes a problem of a few parts in a few modes, and tests on them.
func random(r *rand.Rand) suspect.Problem {
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.03}}, Evidence: []suspect.Evidence{concern()}}
	n := 2 + r.IntN(6)
	for i := range n {
		for m := range 1 + r.IntN(3) {
			p.Faults = append(p.Faults, suspect.Fault{Part: part(string(rune('a' + i))), Mode: suspect.Mode(m), Prior: 0.001 + 0.05*r.Float64()})
		}
	}
	for t := range r.IntN(12) {
		c := test(fmt.Sprint("t", t), r.IntN(3) == 0)
		for range 1 + r.IntN(3) {
			cover := suspect.Cover{Part: part(string(rune('a' + r.IntN(n)))), Mostly: r.IntN(4) == 0}
			if r.IntN(3) == 0 {
				cover.Modes = []suspect.Mode{suspect.Mode(r.IntN(3))}
			}
			c.Covers = append(c.Covers, cover)
		}
		c.Setup = fmt.Sprint("s", r.IntN(8))
		p.Evidence = append(p.Evidence, c)
	}
	return p
}

// opaque hides that evidence is classed.
type opaque struct{ suspect.Plain }

func TestProbabilitiesAreBayes(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for n := range 400 {
		p := random(r)
		want := bayes(p.Faults, p.Evidence)
		j := suspect.Judge(p)
		// One by one, in another order, and without classes: the same.
		mixed := suspect.Problem{Faults: p.Faults}
		one := suspect.Judge(mixed)
		for _, k := range r.Perm(len(p.Evidence)) {
			one = one.With(p.Evidence[k])
		}
		plain := suspect.Problem{Faults: p.Faults}
		for _, e := range p.Evidence {
			plain.Evidence = append(plain.Evidence, opaque{e.(suspect.Plain)})
		}
		other := suspect.Judge(plain)
		if len(j.Wide())+len(one.Wide()) > 0 {
			continue // the reference stops at two
		}
		for q, w := range want {
			require.InDelta(t, w, j.Probability(q), 1e-9, "case %d %v", n, q)
			require.InDelta(t, w, one.Probability(q), 1e-9, "case %d %v", n, q)
			require.InDelta(t, w, other.Probability(q), 1e-9, "case %d %v", n, q)
		}
	}
}

func TestSomethingNotNamedKeepsTheFirstPartFromBeingTheCulprit(t *testing.T) {
	t.Parallel()
	j := suspect.Judge(suspect.Problem{Faults: faults(0.02, "fan motor"), Evidence: []suspect.Evidence{concern()}})
	require.Less(t, j.Probability(part("fan motor")), 0.6)
	require.Greater(t, j.Probability(suspect.NotNamed), 0.3)
}

func TestPassesProveOnlyInTwoSetUps(t *testing.T) {
	t.Parallel()
	fs := faults(0.02, "fan motor", "relay")
	proven := func(all ...suspect.Evidence) int {
		p, _ := suspect.Judge(suspect.Problem{Faults: fs, Evidence: all}).Proofs()
		return len(p)
	}
	a, b := test("a", false, "fan motor"), test("b", false, "fan motor")
	require.Equal(t, 1, proven(a, b))
	require.Zero(t, proven(a))
	same := test("c", false, "fan motor")
	same.Setup = "a"
	require.Zero(t, proven(a, same), "a repeat counts once")
	weak := test("d", false, "fan motor")
	weak.Weak = true
	require.Zero(t, proven(a, weak), "the concern was absent")
	require.Zero(t, proven(a, test("e", false, "fan motor", "relay")), "it covers two")
	mostly := test("f", false, "fan motor")
	mostly.Covers[0].Mostly = true
	require.Zero(t, proven(a, mostly))
	require.Zero(t, proven(a, b, test("g", true, "fan motor")), "a failure disagrees")
	require.Zero(t, proven(a, b, test("h", true, "fan motor", "fan motor")), "a failure disagrees")
}

func TestContradictedEvidenceIsNamed(t *testing.T) {
	t.Parallel()
	fs := faults(0.02, "fan motor", "relay", "horn")
	all := []suspect.Evidence{
		test("a", false, "fan motor"), test("b", false, "fan motor"), test("c", true, "fan motor"),
		test("d", false, "horn"), test("e", false, "horn"),
	}
	proofs, again := suspect.Judge(suspect.Problem{Faults: fs, Evidence: all}).Proofs()
	require.Len(t, again, 1)
	require.Equal(t, "c", again[0].Entry)
	require.Equal(t, parts("fan motor"), again[0].Parts)
	require.Empty(t, proofs, "until it is settled nothing counts as proven")

	// A failure of which everything named is proven good is one, too.
	all = []suspect.Evidence{
		test("a", false, "fan motor"), test("b", false, "fan motor"), test("c", false, "relay"), test("d", false, "relay"),
		test("e", true, "fan motor", "relay"),
	}
	proofs, again = suspect.Judge(suspect.Problem{Faults: fs, Evidence: all}).Proofs()
	require.Empty(t, proofs)
	require.Equal(t, "e", again[0].Entry)
}

func TestTwoFailuresElsewhereProveNothingOfAPartNobodyTested(t *testing.T) {
	t.Parallel()
	fs := faults(0.02, "a", "b", "c")
	all := []suspect.Evidence{test("1", true, "a"), test("2", true, "a"), test("3", true, "b"), test("4", true, "b")}
	proofs, _ := suspect.Judge(suspect.Problem{Faults: fs, Evidence: all}).Proofs()
	require.Empty(t, proofs)
}

func TestNarrowedToNeedsATestOnThePart(t *testing.T) {
	t.Parallel()
	fs := faults(0.02, "a", "b", "c")
	j := suspect.Judge(suspect.Problem{Faults: fs, Evidence: []suspect.Evidence{
		concern(), test("1", true, "a", "b"), test("2", true, "a", "c"), test("3", true, "a", "b"), test("4", true, "a", "c"),
		test("5", false, "b"), test("6", false, "c"),
	}})
	require.Greater(t, j.Probability(part("a")), 0.95)
	require.False(t, j.NarrowedTo(part("a")))
	require.True(t, j.With(test("7", true, "a")).NarrowedTo(part("a")))
}

func TestTriples(t *testing.T) {
	t.Parallel()
	fs := faults(0.02, "a", "b", "c")
	j := suspect.Judge(suspect.Problem{Faults: fs, Evidence: []suspect.Evidence{
		test("1", true, "a"), test("2", true, "b"), test("3", true, "c"), test("4", true, "a"), test("5", true, "b"), test("6", true, "c"),
	}})
	require.Len(t, j.Wide(), 1)
	for _, n := range []string{"a", "b", "c"} {
		require.Greater(t, j.Probability(part(n)), 0.5)
	}
	require.Contains(t, j.Explanations()[0].Parts, part("a"))
	require.Len(t, j.Explanations()[0].Parts, 3)
}

func TestIfPrior(t *testing.T) {
	t.Parallel()
	// The closed form against a judgement with the prior changed.
	fs := faults(0.02, "a", "b")
	e := []suspect.Evidence{concern(), test("1", true, "a", "b"), test("2", false, "a")}
	j := suspect.Judge(suspect.Problem{Faults: fs, Evidence: e})
	fs = faults(0.02, "a", "b")
	fs[2].Prior *= 3
	want := suspect.Judge(suspect.Problem{Faults: fs, Evidence: e}).Probability(part("b"))
	require.InDelta(t, want, suspect.IfPrior(j.Probability(part("b")), 3), 1e-12)
}
