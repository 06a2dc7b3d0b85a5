package proving

import "testing"

// BenchmarkStep plays clean cases as the command does, and tells what a step takes.
func BenchmarkStep(b *testing.B) {
	s, steps := Clean(), 0
	for n := range b.N {
		steps += len(Play(s, Own, uint64(n), Plain).Steps)
	}
	b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(steps), "ms/step")
}
