package notation

import (
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"
)

func TestKeysOfOneName(t *testing.T) {
	t.Parallel()
	for _, same := range [][]string{
		{"fan motor", "Fan motor ", "  FAN\u00A0 motor.", `"fan motor"`, "(Fan Motor)", "'fan motor',", "«fan motor»", "fan mo\u00ADtor", "fan\tmotor!"},
		{"batt+", "Batt+", "batt+.", `"batt+"`},
		{"batt-", "BATT\u2212", "batt\u2013", "batt\u2011"},
		{"c3-14", "C3-14", "C3\u201114", "C3-14,"},
		{"relay k2 30", "relay K2  30"},
		{"relay (k2)", "Relay (K2)", "relay (K2)."},
		{`hose 5/8"`, "hose 5/8\u2033"},
		{"kühler", "Ku\u0308hler", "KÜHLER"},
		{"", "?", " ", "...", "()", `""`, "\u1FEF"},
		{"fan motor", "\u1FEFfan motor\u1FEF", "fan motor\u037E"}, // doubles of ` and ;
	} {
		for _, s := range same {
			require.Equal(t, same[0], Key(s), "%q", s)
		}
	}
}

func TestKeysTellPointsApart(t *testing.T) {
	t.Parallel()
	seen := make(map[string]string)
	for _, s := range []string{
		"batt+", "batt-", "batt", "+", "-", "C3-14", "C3 14", "C314", "C3-1", "C3-4", "bcm.C3-14", "bcm.C3-14+", "relay K2 30", "relay K2 3", "relay K2", "relay (K2)",
		"relay K2 30-87", "fuse #7", "fuse 7", `hose 5"`, "hose 5'", "hose 5", ".5 ohm resistor", "5 ohm resistor", "left/right", "5V", "5V*", "lamp A&B",
		"batt+ post", "batt+ clamp", "~W", "W", "pin 1", "pin 1=", "%",
	} {
		k := Key(s)
		require.NotEmpty(t, k, s)
		require.NotContains(t, seen, k, "%q and %q", s, seen[k])
		seen[k] = s
	}
}

func TestKeyOfKeyIsItself(t *testing.T) {
	t.Parallel()
	pieces := rapid.SampledFrom([]string{"fan", "Ä", "a\u0308", "J\u030C", "İ", "\u212A", "ſ", "(", ")", "[", "]", `"`, "'", "+", "-", "\u2212", ".", ",", " ", "\u00A0", "5", "\u200B", "\u0301", "!", "\xff", "ß", "ẞ", "Σ"})
	text := rapid.OneOf(rapid.String(), rapid.Custom(func(t *rapid.T) string {
		s := ""
		for _, p := range rapid.SliceOfN(pieces, 0, 12).Draw(t, "pieces") {
			s += p
		}
		return s
	}))
	rapid.Check(t, func(t *rapid.T) {
		s := text.Draw(t, "name")
		k := Key(s)
		require.Equal(t, k, Key(k), "%q", s)
		require.Equal(t, k, Key(" "+s+" "))
		require.True(t, norm.NFC.IsNormalString(k), "%q", k)
	})
}
