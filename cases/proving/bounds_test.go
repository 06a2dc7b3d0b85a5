package proving

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// figures recorded by scipy, see the file.
func figures(t *testing.T) map[string]float64 {
	t.Helper()
	f, err := os.Open("../../testdata/published/stats_reference.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	out := map[string]float64{}
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		out[row[0]] = v
	}
	return out
}

// scipy.stats.binomtest, and the closed form for none of thirty.
func TestLimitsAsPublished(t *testing.T) {
	t.Parallel()
	f := figures(t)
	l := Exact(4, 20, 0.05)
	require.InDelta(t, f["CP90 4/20 low"], l.Lo, 1e-12)
	require.InDelta(t, f["CP90 4/20 high"], l.Hi, 1e-12)
	require.InDelta(t, f["rule of three 0/30 95% upper exact one-sided"], Exact(0, 30, 0.05).Hi, 1e-12)
	require.InDelta(t, 3/20000., Exact(0, 20000, 0.05).Hi, 1e-6, "the rule of three")
	require.Equal(t, Limits{0, 1}, Exact(0, 0, 0.05))
	require.InDelta(t, 1, Exact(7, 7, 0.025).Hi, 0)
}

// The distribution of the beta against the sum of binomials that it is.
func TestBetaIsBinomial(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 5, 40, 300} {
		for k := 1; k <= n; k += 1 + n/7 {
			for _, p := range []float64{0.01, 0.3, 0.5, 0.97} {
				sum := 0.0
				for i := k; i <= n; i++ {
					all, _ := math.Lgamma(float64(n + 1))
					some, _ := math.Lgamma(float64(i + 1))
					rest, _ := math.Lgamma(float64(n - i + 1))
					sum += math.Exp(all - some - rest + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
				}
				require.InDelta(t, sum, beta(p, float64(k), float64(n-k+1)), 1e-10, "%d of %d at %g", k, n, p)
			}
		}
	}
}

// What was drawn again and again lies about what a mean's standard error says.
func TestResampledMean(t *testing.T) {
	t.Parallel()
	var x, ones []float64
	for k := range 400 {
		x, ones = append(x, float64(k%10)), append(ones, 1)
	}
	mean, l := ratio(x, ones)
	require.InDelta(t, 4.5, mean, 1e-12)
	wide := 1.96 * math.Sqrt(8.25/400) // the variance of 0 to 9 is 8.25
	require.InDelta(t, 4.5-wide, l.Lo, 0.05)
	require.InDelta(t, 4.5+wide, l.Hi, 0.05)
	again, m := ratio(x, ones)
	require.Equal(t, mean, again)
	require.Equal(t, l, m)
}
