package suspect_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// TestManyFaultsEachFoundByItself: tests each of one part alone never contradict
// one another, however many failed, and each part they found is probable; beside
// them what two tests excluded stays proven, and what nobody tested is neither.
func TestManyFaultsEachFoundByItself(t *testing.T) {
	t.Parallel()
	for _, manner := range []suspect.Manner{suspect.Function, suspect.Bench, suspect.Drop, suspect.AnyManner, suspect.Bypass} {
		for n := 1; n <= 12; n++ {
			p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.04}}, Evidence: []suspect.Evidence{concern()}}
			add := func(name string, fails bool, setup string) {
				p.Evidence = append(p.Evidence, &suspect.Coverage{
					ID: name + setup, Setup: setup, Covers: []suspect.Cover{{Part: part(name)}}, Fails: fails, Shows: fails, Shares: suspect.Default().Tests[manner],
					Twice: fails && manner == suspect.Bypass,
				})
			}
			for k := range n {
				p.Faults = append(p.Faults, suspect.Fault{Part: part(fmt.Sprint("bad ", k)), Prior: 0.02})
				add(fmt.Sprint("bad ", k), true, "one")
			}
			p.Faults = append(p.Faults, suspect.Fault{Part: part("sound"), Prior: 0.02}, suspect.Fault{Part: part("untested"), Prior: 0.02})
			add("sound", false, "one")
			add("sound", false, "two")
			all := suspect.Judge(p)
			grown := suspect.Judge(suspect.Problem{Faults: p.Faults})
			for _, e := range p.Evidence {
				grown = grown.With(e)
			}
			for _, j := range []*suspect.Judgement{all, grown} {
				proofs, again := j.Proofs()
				require.Empty(t, again, "%v, %d", manner, n)
				require.Len(t, proofs, 1, "%v, %d", manner, n)
				require.Equal(t, part("sound"), proofs[0].Part)
				require.Less(t, j.Probability(part("sound")), 0.01)
				if n > 3 || manner != suspect.Bypass {
					require.Greater(t, j.Probability(part("untested")), 0.002, "%v, %d: nothing speaks against it", manner, n)
				}
				if manner != suspect.Bypass {
					continue // something not named may be behind so many failures
				}
				for k := range n {
					require.Greater(t, j.Probability(part(fmt.Sprint("bad ", k))), 0.9, "%v, %d of %d", manner, k, n)
				}
				require.Len(t, j.Explanations()[0].Parts, n)
				require.Greater(t, j.Explanations()[0].Probability, 0.8)
			}
		}
	}
}

// TestManyFaultsAndOneContradiction: among many that failed, one that passed as
// well is still asked for again, and nothing counts as proven until then.
func TestManyFaultsAndOneContradiction(t *testing.T) {
	t.Parallel()
	for _, n := range []int{4, 7} {
		p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.04}}}
		test := func(name string, fails bool, setup string) {
			p.Evidence = append(p.Evidence, &suspect.Coverage{
				ID: name + setup, Setup: setup, Covers: []suspect.Cover{{Part: part(name)}}, Fails: fails, Shares: suspect.Default().Tests[suspect.Bench],
			})
		}
		for k := range n {
			name := fmt.Sprint("bad ", k)
			p.Faults = append(p.Faults, suspect.Fault{Part: part(name), Prior: 0.02})
			test(name, true, "one")
		}
		test("bad 0", false, "two")
		test("bad 0", false, "three")
		proofs, again := suspect.Judge(p).Proofs()
		require.Empty(t, proofs)
		require.NotEmpty(t, again)
		for _, a := range again {
			require.Equal(t, []suspect.Part{part("bad 0")}, a.Parts)
		}
	}
}
