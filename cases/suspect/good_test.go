package suspect_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// simulated is one invented vehicle: some of its parts are bad, and tests are made
// on it that tell the truth but for the shares of untruth.
func simulated(r *rand.Rand, s suspect.Shares) (p suspect.Problem, bad map[suspect.Part]bool, tests int) {
	names := []string{"a", "b", "c", "d", "e", "f"}[:3+r.IntN(4)]
	p.Faults = faults(0.04, names...)
	p.Evidence = []suspect.Evidence{concern()}
	bad = map[suspect.Part]bool{}
	for range r.IntN(3) {
		bad[part(names[r.IntN(len(names))])] = true
	}
	shares := suspect.Default().Tests[suspect.Function]
	tests = 4 + r.IntN(14)
	for t := range tests {
		n := 1
		if r.IntN(3) == 0 {
			n = 2 + r.IntN(2)
		}
		c := test(fmt.Sprint(t), false, names[r.IntN(len(names))])
		for range n - 1 {
			c.Covers = append(c.Covers, covers(names[r.IntN(len(names))])...)
		}
		c.Setup, c.Shares = fmt.Sprint(r.IntN(6)), shares
		c.Fails = r.Float64() < s.FalseFail
		for _, cover := range c.Covers {
			if bad[cover.Part] && r.Float64() >= s.FalsePass {
				c.Fails = true
			}
		}
		p.Evidence = append(p.Evidence, c)
	}
	return p, bad, tests
}

// count judges n vehicles and returns how many bad parts were proven good, of how
// many, and how many sound ones were, of how many.
func count(t *testing.T, n int, s suspect.Shares) (wrong, faulty, proven, sound int) {
	r := rand.New(rand.NewPCG(20260325, uint64(n)))
	for range n {
		p, bad, _ := simulated(r, s)
		proofs, _ := suspect.Judge(p).Proofs()
		good := map[suspect.Part]bool{}
		for _, x := range proofs {
			require.GreaterOrEqual(t, len(x.Entries), 2)
			good[x.Part] = true
		}
		for _, f := range p.Faults[1:] {
			switch {
			case bad[f.Part]:
				faulty++
				if good[f.Part] {
					wrong++
				}
			default:
				sound++
				if good[f.Part] {
					proven++
				}
			}
		}
	}
	return wrong, faulty, proven, sound
}

// TestNeverCallsAFaultyPartGood: where tests tell the truth no bad part is ever
// proven good, with up to two faults; and the proofs are not bought by proving
// nothing.
func TestNeverCallsAFaultyPartGood(t *testing.T) {
	t.Parallel()
	n := 20_000
	if testing.Short() {
		n = 2_000
	}
	wrong, faulty, proven, sound := count(t, n, suspect.Shares{})
	t.Logf("tests that tell the truth: %d of %d bad parts proven good (95 %% bound %.2g), %d of %d sound ones", wrong, faulty, 3/float64(faulty), proven, sound)
	require.Zero(t, wrong)
	require.Greater(t, float64(proven)/float64(sound), 0.1)

	// With untruths at the shares of the table it can happen; how often is reported.
	s := suspect.Default().Tests[suspect.Function]
	wrong, faulty, proven, sound = count(t, n, s)
	t.Logf("with %.3g false passes and %.3g false failures: %d of %d bad parts proven good, %d of %d sound ones", s.FalsePass, s.FalseFail, wrong, faulty, proven, sound)
	require.Less(t, float64(wrong)/float64(faulty), 0.005)
}
