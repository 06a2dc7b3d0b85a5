package main

import (
	"math"
	"os"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/proving"
)

// spice returns where ngspice is; without it the test is skipped, and under CI it
// fails.
func spice(t *testing.T) string {
	t.Helper()
	path, err := findSpice()
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program ngspice is missing: apt-get install ngspice")
		}
		t.Skip("install the package 'ngspice' to hold the truth of bench against it")
	}
	return path
}

// ngspice (https://ngspice.sourceforge.io) says what the second solver says of the
// very vehicles that bench plays, side by side in one deck: to 2e-6 of the supply.
func TestTruthAgainstNgspice(t *testing.T) {
	t.Parallel()
	path := spice(t)
	s := proving.Clean()
	s.Largest, s.Seed = 25, 20261125
	const many = 12
	b := newSpiceBatch(t.Context(), path, many)
	var mu sync.Mutex
	worst, held := 0.0, 0
	var side sync.WaitGroup
	records := make([]proving.Record, many)
	for n := range uint64(many) {
		side.Go(func() {
			defer b.leave()
			records[n] = proving.Play(s, proving.Random, n, func(c *plain.Circuit) ([]float64, error) {
				spiced, err := b.solve(c)
				if err != nil {
					return nil, err
				}
				other, err := proving.Plain(c)
				if err != nil {
					return nil, err
				}
				mu.Lock()
				defer mu.Unlock()
				for k := range other {
					if !math.IsNaN(other[k]) {
						held++
						worst = math.Max(worst, math.Abs(spiced[k]-other[k])/c.Elements[0].Value)
					}
				}
				return other, nil
			})
		})
		if testing.Short() && n == 3 {
			for range many - 4 {
				b.leave()
			}
			break
		}
	}
	side.Wait()
	t.Logf("worst difference of %d voltages, of the supply: %.1e", held, worst)
	require.Greater(t, held, 1000)
	require.LessOrEqual(t, worst, 2e-6)
	for _, r := range records {
		require.NotContains(t, r.Stop, "broken")
	}
}
