package proving

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// dice is a stream of random numbers of its own: what one part of a case draws does
// not move what another draws.
type dice struct{ *rand.Rand }

// throw makes the dice for one purpose in one case.
func throw(seed, number uint64, purpose string) dice {
	h := fnv.New64a()
	h.Write([]byte(purpose)) // cannot fail
	return dice{rand.New(rand.NewPCG(seed^h.Sum64(), number*0x9e3779b97f4a7c15+h.Sum64()))}
}

// in is uniform from lo to hi.
func (d dice) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// decades is uniform by order of size.
func (d dice) decades(lo, hi float64) float64 {
	if hi <= lo {
		return lo
	}
	return lo * math.Pow(hi/lo, d.Float64())
}

// yes comes true with the probability.
func (d dice) yes(p float64) bool { return d.Float64() < p }

// within is normal, of the standard deviation, and thrown again beyond the limit.
func (d dice) within(sigma, limit float64) float64 {
	for {
		if x := sigma * d.NormFloat64(); math.Abs(x) <= limit {
			return x
		}
	}
}

// one of the list.
func one[T any](d dice, of ...T) T { return of[d.IntN(len(of))] }
