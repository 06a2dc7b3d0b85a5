package proving

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Limits are those between which a figure lies with the confidence of 0.95.
type Limits struct{ Lo, Hi float64 }

// Exact are the limits of a share of which k of n were counted (C. J. Clopper and E.
// S. Pearson, Biometrika 26, 1934), each side with the probability tail: 0.025 for
// both together at 0.95, 0.05 for one alone.
func Exact(k, n int, tail float64) Limits {
	out := Limits{0, 1}
	if n == 0 {
		return out
	}
	if k > 0 {
		out.Lo = solve(func(p float64) float64 { return beta(p, float64(k), float64(n-k+1)) }, tail)
	}
	if k < n {
		out.Hi = solve(func(p float64) float64 { return beta(p, float64(k+1), float64(n-k)) }, 1-tail)
	}
	return out
}

// solve finds where a rising function of a share reaches a value.
func solve(f func(float64) float64, want float64) float64 {
	lo, hi := 0.0, 1.0
	for range 200 {
		if mid := (lo + hi) / 2; f(mid) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// beta is the regularised incomplete beta function, by its continued fraction
// (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.5.8).
func beta(x, a, b float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case x > (a+1)/(a+b+2):
		return 1 - beta(1-x, b, a)
	}
	lab, _ := math.Lgamma(a + b)
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	front := math.Exp(lab - la - lb + a*math.Log(x) + b*math.Log1p(-x))
	// Lentz's way of evaluating it (W. J. Lentz, Applied Optics 15, 1976).
	const tiny = 1e-300
	f, c, d := 1.0, 1.0, 0.0
	for k := range 2000 {
		m := float64(k / 2)
		term := 1.0
		switch {
		case k > 0 && k%2 == 0:
			term = m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		case k%2 == 1:
			term = -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		}
		if d = 1 + term*d; math.Abs(d) < tiny {
			d = tiny
		}
		if c = 1 + term/c; math.Abs(c) < tiny {
			c = tiny
		}
		d = 1 / d
		f *= c * d
		if math.Abs(c*d-1) < 1e-15 {
			break
		}
	}
	return front * (f - 1) / a // the fraction was evaluated with 1 before it
}

// samples of the bootstrap.
const samples = 2000

// resampled are the limits of a figure of n cases by drawing n of them again and
// again (B. Efron, Annals of Statistics 7, 1979; percentiles). of works the figure
// out from how often each case counts. The draws are the same each time.
func resampled(n int, of func(weight []int) float64) Limits {
	if n == 0 {
		return Limits{math.NaN(), math.NaN()}
	}
	r := rand.New(rand.NewPCG(uint64(n), 0x5eed))
	all := make([]float64, 0, samples)
	weight := make([]int, n)
	for range samples {
		clear(weight)
		for range n {
			weight[r.IntN(n)]++
		}
		if v := of(weight); !math.IsNaN(v) && !math.IsInf(v, 0) {
			all = append(all, v)
		}
	}
	if len(all) == 0 {
		return Limits{math.NaN(), math.NaN()}
	}
	slices.Sort(all)
	at := func(p float64) float64 { return all[min(int(p*float64(len(all))), len(all)-1)] }
	return Limits{at(0.025), at(0.975)}
}

// ratio is the sum of one over the sum of the other, with its limits.
func ratio(over, under []float64) (float64, Limits) {
	of := func(weight []int) float64 {
		a, b := 0.0, 0.0
		for k := range over {
			w := 1.0
			if weight != nil {
				w = float64(weight[k])
			}
			a, b = a+w*over[k], b+w*under[k]
		}
		return a / b
	}
	return of(nil), resampled(len(over), of)
}
