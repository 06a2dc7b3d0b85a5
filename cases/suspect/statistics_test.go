package suspect_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// figure is a recorded number of stats_reference.csv.
func figure(t *testing.T, quantity string) float64 {
	t.Helper()
	for _, row := range published(t, "stats_reference.csv") {
		if row["quantity"] == quantity {
			return number(t, row["value"])
		}
	}
	require.Fail(t, "no such figure", quantity)
	return 0
}

// scipy.stats.entropy; Cover and Thomas, Elements of Information Theory, 2.1.2.
func TestEntropyAsPublished(t *testing.T) {
	t.Parallel()
	require.InDelta(t, figure(t, "H(fair)"), suspect.Entropy(0.5, 0.5), 1e-12)
	require.InDelta(t, figure(t, "H(1/2,1/4,1/8,1/8)"), suspect.Entropy(0.5, 0.25, 0.125, 0.125, 0), 1e-12)
	require.InDelta(t, figure(t, "H(9,5) bits"), suspect.Entropy(9.0/14, 5.0/14), 1e-12)
	require.Zero(t, suspect.Entropy(1))
}

// asking looks one column of the table of days up.
type asking struct {
	column string
	day    func(suspect.Hypothesis) map[string]string
	values []string
}

func (a *asking) Setup() string       { return "" }
func (a *asking) Cost(string) float64 { return 1 }
func (a *asking) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	var out []suspect.Chance
	for _, v := range a.values {
		c := suspect.Chance{Outcome: v}
		if a.day(h)[a.column] == v {
			c.P = 1
		}
		out = append(out, c)
	}
	return out
}

// The play-tennis table of Quinlan, Induction of decision trees, Machine Learning
// 1, 1986, as days that may be the one there is: play and no play are two parts,
// the days ways of each, all alike. What is to be found out is the part, not the
// day. The gains of Mitchell, Machine Learning, 1997, section 3.4.
func TestGainsOfPlayTennis(t *testing.T) {
	t.Parallel()
	rows := published(t, "play_tennis.csv")
	require.Len(t, rows, 14)
	days := map[suspect.Part]map[suspect.Mode]map[string]string{part("yes"): {}, part("no"): {}}
	problem := suspect.Problem{}
	for _, row := range rows {
		p := part(row["play"])
		m := suspect.Mode(len(days[p]))
		days[p][m] = row
		problem.Faults = append(problem.Faults, suspect.Fault{Part: p, Mode: m, Prior: 0.01})
	}
	day := func(h suspect.Hypothesis) map[string]string {
		if len(h) != 1 {
			return nil
		}
		return days[h[0].Part][h[0].Mode]
	}
	problem.Evidence = []suspect.Evidence{possible(func(h suspect.Hypothesis) bool { return day(h) != nil })}
	var all []suspect.Candidate
	for _, column := range []string{"wind", "temperature", "outlook", "humidity"} {
		a := &asking{column: column, day: day}
		for _, row := range rows {
			if !slices.Contains(a.values, row[column]) {
				a.values = append(a.values, row[column])
			}
		}
		all = append(all, a)
	}
	gains := func(j *suspect.Judgement) map[string]float64 {
		out := map[string]float64{}
		for _, r := range j.Next(all, "") {
			out[r.Candidate.(*asking).column] = r.Gain
		}
		return out
	}
	j := suspect.Judge(problem)
	require.InDelta(t, 9.0/14, j.Probability(part("yes")), 1e-12)
	require.InDelta(t, figure(t, "H(9,5) bits"), suspect.Entropy(j.Probability(part("yes")), j.Probability(part("no"))), 1e-12)
	got := gains(j)
	require.Len(t, got, 4)
	for column, gain := range got {
		require.InDelta(t, figure(t, "gain "+column), gain, 1e-9, column)
	}

	// Once it is sunny; Mitchell, as above, to three places and from memory. What is
	// known already tells nothing and is left out.
	j = j.With(possible(func(h suspect.Hypothesis) bool { return day(h)["outlook"] == "sunny" }))
	got = gains(j)
	require.Len(t, got, 3)
	require.InDelta(t, 0.970, got["humidity"], 0.001)
	require.InDelta(t, 0.570, got["temperature"], 0.001)
	require.InDelta(t, 0.019, got["wind"], 0.001)
	// Under overcast they always play.
	require.Empty(t, suspect.Judge(problem).With(possible(func(h suspect.Hypothesis) bool { return day(h)["outlook"] == "overcast" })).Next(all, ""))
}

// answering makes a test on one part that fails with the probability sick when the
// part is bad and well when it is not. The engine takes a hundredth of all
// observations as saying nothing; the shares given are such that with these the
// wanted ones come out.
func answering(t *testing.T, id string, fails bool, sick, well float64) *suspect.Coverage {
	t.Helper()
	const slips = 0.01
	before := func(p float64) float64 { return (p - slips/2) / (1 - slips) }
	c := test(id, fails, "a")
	c.Shares = suspect.Shares{FalseFail: before(well)}
	c.Shares.FalsePass = (1 - before(sick)) / (1 - c.Shares.FalseFail)
	a := suspect.Hypothesis{{Part: part("a"), Prior: 0.5}}
	want := func(p float64) float64 {
		if fails {
			return p
		}
		return 1 - p
	}
	require.InDelta(t, want(sick), math.Exp(c.LogLik(a)), 1e-12)
	require.InDelta(t, want(well), math.Exp(c.LogLik(nil)), 1e-12)
	return c
}

// posterior is how likely one part is bad at a prior probability, when nothing else
// can be. A fault's prior is weighed against no fault, which weighs 1.
func posterior(prior float64, all ...suspect.Evidence) float64 {
	fs := []suspect.Fault{{Part: part("a"), Prior: prior / (1 - prior)}}
	return suspect.Judge(suspect.Problem{Faults: fs, Evidence: all}).Probability(part("a"))
}

// Bayes' theorem, by its closed form: prior 0.01, sensitivity 0.99, specificity 0.95.
func TestBayesAsPublished(t *testing.T) {
	t.Parallel()
	const prior, sens, spec = 0.01, 0.99, 0.95
	positive := func(id string) suspect.Evidence { return answering(t, id, true, sens, 1-spec) }
	negative := func(id string) suspect.Evidence { return answering(t, id, false, sens, 1-spec) }
	require.InDelta(t, prior, posterior(prior), 1e-12)
	require.InDelta(t, figure(t, "bayes posterior prior .01 sens .99 spec .95"), posterior(prior, positive("1")), 1e-12)
	odds := prior / (1 - prior)
	for _, c := range []struct {
		all   []suspect.Evidence
		ratio float64
	}{
		{[]suspect.Evidence{positive("1"), positive("2")}, sens / (1 - spec) * sens / (1 - spec)},
		{[]suspect.Evidence{positive("1"), negative("2")}, sens / (1 - spec) * (1 - sens) / spec},
		{[]suspect.Evidence{negative("1"), negative("2")}, (1 - sens) / spec * (1 - sens) / spec},
	} {
		p := posterior(prior, c.all...)
		require.InDelta(t, odds*c.ratio/(1+odds*c.ratio), p, 1e-12)
		require.InEpsilon(t, odds*c.ratio, suspect.Odds(p), 1e-9)
	}
}

// tail is how likely one of so many results is, of n tests each of which fails with
// the probability p, by what the engine makes of single tests.
func tail(t *testing.T, n int, p float64, counts func(fails int, likely float64) bool) float64 {
	t.Helper()
	fail, pass := answering(t, "fail", true, 0.9, p).LogLik(nil), answering(t, "pass", false, 0.9, p).LogLik(nil)
	sum := 0.0
	for k := range n + 1 {
		all, _ := math.Lgamma(float64(n + 1))
		some, _ := math.Lgamma(float64(k + 1))
		rest, _ := math.Lgamma(float64(n - k + 1))
		if likely := math.Exp(all - some - rest + float64(k)*fail + float64(n-k)*pass); counts(k, likely) {
			sum += likely
		}
	}
	return sum
}

// Repeated tests are binomial: scipy.stats.binomtest; Clopper and Pearson's limits;
// Mendel's peas from Conover, Practical Nonparametric Statistics, as in the
// documentation of R.
func TestRepeatedTestsAreBinomial(t *testing.T) {
	t.Parallel()
	atLeast := func(n int) func(int, float64) bool { return func(k int, _ float64) bool { return k >= n } }
	exactly := func(n int) func(int, float64) bool { return func(k int, _ float64) bool { return k == n } }
	atMost := func(n int) func(int, float64) bool { return func(k int, _ float64) bool { return k <= n } }
	require.InDelta(t, 1, tail(t, 20, 0.3, atLeast(0)), 1e-12)
	require.InDelta(t, figure(t, "binom one-sided p 15/20"), tail(t, 20, 0.5, atLeast(15)), 1e-12)
	require.InDelta(t, figure(t, "binom two-sided p 15/20 vs .5"), tail(t, 20, 0.5, func(k int, _ float64) bool { return k >= 15 || k <= 5 }), 1e-12)
	require.InDelta(t, 0.05, tail(t, 20, figure(t, "CP90 4/20 low"), atLeast(4)), 1e-9)
	require.InDelta(t, 0.05, tail(t, 20, figure(t, "CP90 4/20 high"), atMost(4)), 1e-9)
	require.InDelta(t, 0.05, tail(t, 30, figure(t, "rule of three 0/30 95% upper exact one-sided"), atMost(0)), 1e-9)
	// Two-sided as R has it: all that is no likelier than what was seen.
	seen := tail(t, 925, 0.75, exactly(682))
	noLikelier := func(_ int, likely float64) bool { return likely <= seen*(1+1e-7) }
	require.InDelta(t, figure(t, "Mendel 682/925 p=.75 pvalue"), tail(t, 925, 0.75, noLikelier), 1e-9)

	// Fifteen of twenty that failed, through a judgement, in any order.
	var all []suspect.Evidence
	for k := range 20 {
		all = append(all, answering(t, fmt.Sprint(k), k%4 != 0, 0.8, 0.5))
	}
	odds := 0.01 / 0.99 * tail(t, 20, 0.8, exactly(15)) / tail(t, 20, 0.5, exactly(15))
	require.InEpsilon(t, odds, suspect.Odds(posterior(0.01, all...)), 1e-9)
}
