package picture

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// contrast of two colours written '#1d2023', from 1 to 21 (WCAG 2.2, contrast ratio).
func contrast(t *testing.T, a, b string) float64 {
	luminance := func(colour string) float64 {
		if len(colour) == 4 {
			colour = "#" + strings.Repeat(colour[1:2], 2) + strings.Repeat(colour[2:3], 2) + strings.Repeat(colour[3:4], 2)
		}
		sum := 0.0
		for i, share := range []float64{0.2126, 0.7152, 0.0722} {
			v, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
			require.NoError(t, err, colour)
			c := float64(v) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += share * c
		}
		return sum
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// TestContrast: each colour can be read on paper white and on a page a little darker, or
// on black and a page a little lighter, and on what lies behind suspects: 4.5 to 1.
func TestContrast(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 21, contrast(t, "#000", "#ffffff"), 0.01)
	require.InDelta(t, 4.54, contrast(t, "#767676", "#fff"), 0.01, "a known value")
	property := regexp.MustCompile(`--circuit-(\w+): (#\w+);`)
	blocks := regexp.MustCompile(`(?s)\.circuit \{(.*?)\}`).FindAllStringSubmatch(string(Style), -1)
	require.Len(t, blocks, 3, "light, dark, print")
	for i, grounds := range [][]string{{"#ffffff", "#f2f3f4"}, {"#000000", "#1e2226"}, {"#ffffff"}} {
		colours := property.FindAllStringSubmatch(blocks[i][1], -1)
		require.GreaterOrEqual(t, len(colours), 5)
		behind := grounds
		for _, c := range colours {
			if c[1] == "band" {
				behind = append(behind, c[2])
			}
		}
		for _, c := range colours {
			for _, ground := range behind {
				if c[1] != "band" {
					require.GreaterOrEqual(t, contrast(t, c[2], ground), 4.5, "%s on %s", c[1], ground)
				}
			}
		}
	}
}
