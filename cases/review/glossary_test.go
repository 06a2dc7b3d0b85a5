package review

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases/notation"
)

// TestGlossaryAsOneByOne: it finds what going through all names one by one finds.
func TestGlossaryAsOneByOne(t *testing.T) {
	t.Parallel()
	text := rapid.Custom(func(t *rapid.T) string {
		var all string
		for _, w := range rapid.SliceOfN(rapid.SampledFrom([]string{"fan", "fans", "a", "b a", "ac", "fan relay", "c1-2", "c1", "-", "+++", "é", "é fan", " ", ".", "/"}), 0, 7).Draw(t, "words") {
			all += w + rapid.SampledFrom([]string{" ", " ", ""}).Draw(t, "gap")
		}
		return notation.Key(all)
	})
	rapid.Check(t, func(rt *rapid.T) {
		names := rapid.SliceOfN(text, 0, 8).Draw(rt, "names")
		said := text.Draw(rt, "said")
		var in, by []int
		for i, name := range names {
			if mentionsKey(said, name) {
				in = append(in, i)
			}
			if mentionsKey(name, said) {
				by = append(by, i)
			}
		}
		g := glossaryOf(names)
		require.True(rt, slices.Equal(in, inOrder(g.mentionedIn(said))))
		require.True(rt, slices.Equal(by, inOrder(g.mentioning(said))))
	})
}
