package suspect

import (
	"cmp"
	"slices"
)

// MinimalHittingSets returns every set of at most max parts that has a part in
// common with each of the sets and loses that property with any part taken away:
// the minimal diagnoses of the conflicts (R. Reiter, A theory of diagnosis from
// first principles, Artificial Intelligence 32, 1987). Max 0 means no bound. An
// empty set among them cannot be hit: there is no answer, nil. No sets at all are
// hit by nothing: one empty answer.
//
// Candidates grow set by set (J. de Kleer and B. C. Williams, Diagnosing multiple
// faults, Artificial Intelligence 32, 1987), and one that holds another is never
// kept. No part of a tree is pruned by what has been seen so far,
// which is where Reiter's own procedure loses answers (R. Greiner, B. A. Smith and
// R. W. Wilkerson, Artificial Intelligence 41, 1989).
func MinimalHittingSets(sets [][]Part, max int) [][]Part {
	sets = slices.Clone(sets)
	for k, set := range sets {
		set = slices.Clone(set)
		if !slices.IsSortedFunc(set, comparePart) {
			slices.SortFunc(set, comparePart)
		}
		sets[k] = slices.Compact(set)
	}
	// The smallest first: then there are few candidates on the way.
	slices.SortStableFunc(sets, func(a, b []Part) int { return cmp.Compare(len(a), len(b)) })
	if max > 0 && apart(sets, max) {
		return nil
	}
	found := [][]Part{{}}
	for _, set := range sets {
		var hit, missed [][]Part
		for _, f := range found {
			if slices.ContainsFunc(f, func(p Part) bool { return slices.Contains(set, p) }) {
				hit = append(hit, f)
			} else {
				missed = append(missed, f)
			}
		}
		for _, f := range missed {
			if max > 0 && len(f) >= max {
				continue
			}
			for _, p := range set {
				grown := insert(f, p)
				if !slices.ContainsFunc(hit, func(h []Part) bool { return subset(h, grown) }) {
					hit = append(hit, grown)
				}
			}
		}
		found = hit
	}
	slices.SortFunc(found, func(a, b []Part) int {
		return cmp.Or(cmp.Compare(len(a), len(b)), slices.CompareFunc(a, b, comparePart))
	})
	return found
}

// apart reports whether more than max of the sets have no part in common, so that
// no max parts hit them all.
func apart(sets [][]Part, max int) bool {
	taken := map[Part]bool{}
	n := 0
	for _, set := range sets {
		if slices.ContainsFunc(set, func(p Part) bool { return taken[p] }) {
			continue
		}
		for _, p := range set {
			taken[p] = true
		}
		if n++; n > max {
			return true
		}
	}
	return false
}

func comparePart(a, b Part) int {
	return cmp.Or(cmp.Compare(a.Key, b.Key), cmp.Compare(a.Life, b.Life))
}

// insert returns a new sorted set with p in it.
func insert(set []Part, p Part) []Part {
	i, _ := slices.BinarySearchFunc(set, p, comparePart)
	return slices.Insert(slices.Clone(set), i, p)
}

// subset reports whether all of a, sorted, is in b, sorted.
func subset(a, b []Part) bool {
	i := 0
	for _, p := range b {
		if i < len(a) && a[i] == p {
			i++
		}
	}
	return i == len(a)
}
