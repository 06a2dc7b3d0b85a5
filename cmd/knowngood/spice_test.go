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
// very vehicles that bench plays, side by side in one deck: to 2e-6 of the supply. What
// floats hangs on gigohms beside milliohms, of which ngspice, eliminating in doubles,
// loses the last digits (the ratio of the leaks tells which of the two is right): to a
// thousandth of the supply, which a meter does not show.
func TestTruthAgainstNgspice(t *testing.T) {
	t.Parallel()
	path := spice(t)
	s := proving.Clean()
	s.Largest, s.Seed = 25, 20261125
	const many = 6
	b := newSpiceBatch(t.Context(), path, many)
	var mu sync.Mutex
	worst, floating, held := 0.0, 0.0, 0
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
				fed := fed(c)
				for k := range other {
					off := math.Abs(spiced[k]-other[k]) / c.Elements[0].Value
					switch {
					case math.IsNaN(other[k]):
					case fed[k]:
						held++
						worst = math.Max(worst, off)
					default:
						floating = math.Max(floating, off)
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
	t.Logf("worst difference of %d voltages, of the supply: %.1e; of what floats: %.1e", held, worst, floating)
	require.Greater(t, held, 1000)
	require.LessOrEqual(t, worst, 2e-6)
	require.LessOrEqual(t, floating, 1e-3)
	for _, r := range records {
		require.NotContains(t, r.Stop, "broken")
	}
}

// fed are the nodes that a post reaches through less than ten megohm.
func fed(c *plain.Circuit) []bool {
	out := make([]bool, c.Nodes)
	out[0] = true
	for again := true; again; {
		again = false
		for _, e := range c.Elements {
			if (e.Kind == plain.Diode || e.Value >= 1e7) && e.Kind != plain.Voltage || out[e.A] == out[e.B] {
				continue
			}
			out[e.A], out[e.B], again = true, true, true
		}
	}
	return out
}
