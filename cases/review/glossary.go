package review

import (
	"slices"
	"unicode/utf8"
)

// glossary holds names as they are compared in a case, so that what a text mentions,
// and what mentions a name, is found without going through all of them. It says what
// mentionsKey would say of each. Names go by their place among those given; answers
// are in no order and may hold one twice.
type glossary struct {
	names []string
	// is and holds are the places of a name, and of those that hold a word; every one
	// holds the word without a letter.
	is, holds map[string][]int
	longest   int
}

func glossaryOf(names []string) *glossary {
	g := &glossary{names: names, is: map[string][]int{}, holds: map[string][]int{}}
	for i, name := range names {
		g.is[name] = append(g.is[name], i)
		g.longest = max(g.longest, len(name))
	}
	for name, at := range g.is {
		all := append(words(name), "")
		slices.Sort(all)
		for _, w := range slices.Compact(all) {
			g.holds[w] = append(g.holds[w], at...)
		}
	}
	return g
}

// mentionedIn are the names that the text mentions: whatever lies between two ends of
// words is looked up.
func (g *glossary) mentionedIn(text string) []int {
	var out []int
	for from := range text {
		if before, _ := utf8.DecodeLastRuneInString(text[:from]); wordRune(before) {
			continue
		}
		for to := from; to < len(text) && to-from < g.longest; {
			_, n := utf8.DecodeRuneInString(text[to:])
			to += n
			after, _ := utf8.DecodeRuneInString(text[to:])
			if name := text[from:to]; !wordRune(after) && g.is[name] != nil && mentionsKey(text, name) {
				out = append(out, g.is[name]...)
			}
		}
	}
	return out
}

// mentioning are the names that mention the name: some of those with its rarest word.
func (g *glossary) mentioning(name string) []int {
	if name == "" {
		return nil
	}
	rarest := slices.MinFunc(append(words(name), ""), func(a, b string) int { return len(g.holds[a]) - len(g.holds[b]) })
	return slices.DeleteFunc(slices.Clone(g.holds[rarest]), func(i int) bool { return !mentionsKey(g.names[i], name) })
}

// inOrder are the places, each once.
func inOrder(at []int) []int {
	slices.Sort(at)
	return slices.Compact(at)
}
