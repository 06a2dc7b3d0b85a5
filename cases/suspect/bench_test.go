package suspect_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"knowngood.example/cases/suspect"
)

// large is a problem of many parts and tests.
func large(parts, tests int) suspect.Problem {
	r := rand.New(rand.NewPCG(3, 4))
	name := func() string { return fmt.Sprint("part ", r.IntN(parts)) }
	var names []string
	for i := range parts {
		names = append(names, fmt.Sprint("part ", i))
	}
	p := suspect.Problem{Faults: faults(0.04, names...), Evidence: []suspect.Evidence{concern()}}
	for i := range tests {
		c := test(fmt.Sprint("t", i), i%7 == 0, name())
		for range r.IntN(4) {
			c.Covers = append(c.Covers, covers(name())...)
		}
		p.Evidence = append(p.Evidence, c)
	}
	return p
}

// BenchmarkJudge: 200 components and 300 tests, singles and pairs, with the
// probabilities read.
func BenchmarkJudge(b *testing.B) {
	p := large(200, 300)
	b.Run("cold", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			suspect.Judge(p).Probability(part("part 1"))
		}
	})
	b.Run("one more", func(b *testing.B) {
		j := suspect.Judge(p)
		e := test("more", true, "part 1", "part 2", "part 3")
		b.ReportAllocs()
		for b.Loop() {
			j.With(e).Probability(part("part 1"))
		}
	})
}
