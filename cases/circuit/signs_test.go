package circuit

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is said to work one way does so whatever everything conducts, in networks drawn at
// random; and the middle of a Wheatstone bridge, which works either way by the balance of the
// arms, is said to be unknown.
func TestSignsHold(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 7))
	signed, unknown := 0, 0
	for range 3000 {
		n := 5 + r.IntN(5)
		var ends [][2]int32
		for len(ends) < n+r.IntN(2*n) {
			if a, b := r.IntN(n), r.IntN(n); a != b {
				ends = append(ends, [2]int32{int32(a), int32(b)})
			}
		}
		red, black := r.IntN(n), r.IntN(n)
		if red == black || red+black == plus+minus {
			continue
		}
		s := new(taker).takeApart(n, ends, red, black, true)
		unknown += len(s.either)
		for range 5 {
			f := make([]float64, s.slots)
			for i := range ends {
				f[i] = math.Pow(10, r.Float64()*6-3)
			}
			s.work(s.ops[:s.core], f)
			was := slices.Clone(f)
			shown := func(slot int32, factor float64) float64 {
				copy(f, was)
				f[slot] *= factor
				s.work(s.ops[s.core:], f)
				return s.share(f)
			}
			for sign, slots := range map[float64][]int32{1: s.rises, -1: s.falls} {
				for _, slot := range slots {
					more, less := shown(slot, 3), shown(slot, 1./3)
					require.GreaterOrEqual(t, sign*(more-less), -1e-12, "%v, from %d to %d: slot %d of %v is said to work by %v", ends, red, black, slot, was, sign)
					signed++
				}
			}
		}
	}
	require.Greater(t, signed, 20000)
	require.Greater(t, unknown, 500, "nothing was left to the corners")

	// plus - 2 - minus, plus - 3 - minus, and 4 - 5 hung on as the bridge, so that what the
	// leads see between 4 and 5 is not in question but the bridge between 2 and 3.
	bridge := [][2]int32{{plus, 2}, {2, minus}, {plus, 3}, {3, minus}, {2, 3}, {2, 4}, {4, minus}, {3, 5}, {5, minus}}
	s := new(taker).takeApart(6, bridge, 4, minus, true)
	require.NotEmpty(t, append(append([]int32{}, s.either...), s.rises...))
	worksBoth := false
	for _, slot := range s.either {
		worksBoth = worksBoth || slot == 4
	}
	require.True(t, worksBoth, "the bridge is taken for one that works one way: %+v", s)
}

// With the signs the corners give what all corners give.
func TestSignsGiveAllCorners(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 8))
	met := 0
	for range 400 {
		n := 5 + r.IntN(3)
		var ends [][2]int32
		for len(ends) < n+r.IntN(n) {
			if a, b := r.IntN(n), r.IntN(n); a != b {
				ends = append(ends, [2]int32{int32(a), int32(b)})
			}
		}
		red, black := r.IntN(n), r.IntN(n)
		if red == black || red+black == plus+minus {
			continue
		}
		s := new(taker).takeApart(n, ends, red, black, true)
		g := make([]Span, s.slots)
		for i := range ends {
			lo := math.Pow(10, r.Float64()*4-2)
			g[i] = Span{lo, lo * (1 + 5*r.Float64())}
		}
		s.workSpans(s.ops[:s.core], g)
		all := slices.Concat(s.rises, s.falls, s.either)
		if len(all) == 0 || len(all) > 12 || len(s.either) == len(all) {
			continue
		}
		met++
		bounds := func(vary []int32, ends func(f []float64, high bool)) Span {
			out := Span{math.Inf(1), math.Inf(-1)}
			for corner := range 1 << len(vary) {
				for _, high := range [2]bool{false, true} {
					f := make([]float64, s.slots)
					ends(f, high)
					for k, i := range vary {
						f[i] = g[i].Lo
						if corner>>k&1 == 1 {
							f[i] = g[i].Hi
						}
					}
					s.work(s.ops[s.core:], f)
					v := s.share(f)
					out = Span{math.Min(out.Lo, v), math.Max(out.Hi, v)}
				}
			}
			return out
		}
		every := bounds(all, func([]float64, bool) {})
		few := bounds(s.either, func(f []float64, high bool) {
			for _, i := range s.rises {
				f[i] = g[i].Lo
				if high {
					f[i] = g[i].Hi
				}
			}
			for _, i := range s.falls {
				f[i] = g[i].Hi
				if high {
					f[i] = g[i].Lo
				}
			}
		})
		require.InDelta(t, every.Lo, few.Lo, 1e-9, "%v from %d to %d", ends, red, black)
		require.InDelta(t, every.Hi, few.Hi, 1e-9, "%v from %d to %d", ends, red, black)
	}
	require.Greater(t, met, 50)
}

// What is carried out again gives what all of it gives, to the last bit.
func TestReworkIsWork(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(9, 9))
	for range 100 {
		n := 6 + r.IntN(20)
		var ends [][2]int32
		for len(ends) < n+r.IntN(2*n) {
			if a, b := r.IntN(n), r.IntN(n); a != b {
				ends = append(ends, [2]int32{int32(a), int32(b)})
			}
		}
		s := new(taker).takeApart(n, ends, minus, minus, false)
		g := make([]Span, len(ends))
		for i := range g {
			g[i] = Exactly(r.Float64())
		}
		for range 30 {
			for range r.IntN(4) {
				g[r.IntN(len(g))] = Exactly(math.Floor(2*r.Float64()) * math.Pow(10, 6*r.Float64()-3))
			}
			f := make([]float64, s.slots)
			for i := range g {
				f[i] = g[i].Lo
			}
			s.work(s.ops, f)
			require.Equal(t, f, s.rework(g))
		}
	}
}
