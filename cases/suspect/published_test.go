package suspect_test

import (
	"cmp"
	"encoding/csv"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases/suspect"
)

// published reads a table of testdata/published; each names its source in its
// first lines.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	var out []map[string]string
	for _, row := range rows[1:] {
		m := make(map[string]string)
		for i, column := range rows[0] {
			m[column] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

// example returns a row of the published diagnoses.
func example(t *testing.T, name string) map[string]string {
	t.Helper()
	for _, row := range published(t, "mbd_reference.csv") {
		if row["example"] == name {
			return row
		}
	}
	require.Fail(t, "no such example", name)
	return nil
}

// sets reads {a,b};{c}, in the order of MinimalHittingSets.
func sets(written string) [][]suspect.Part {
	out := [][]suspect.Part{}
	for _, set := range strings.Split(written, ";") {
		list := []suspect.Part{}
		for _, name := range strings.FieldsFunc(set, func(r rune) bool { return strings.ContainsRune("{,} ", r) }) {
			list = append(list, part(name))
		}
		out = append(out, list)
	}
	return sorted(out)
}

func compare(a, b suspect.Part) int {
	return cmp.Or(strings.Compare(a.Key, b.Key), cmp.Compare(a.Life, b.Life))
}

func sorted(all [][]suspect.Part) [][]suspect.Part {
	for _, set := range all {
		slices.SortFunc(set, compare)
	}
	slices.SortFunc(all, func(a, b []suspect.Part) int {
		return cmp.Or(cmp.Compare(len(a), len(b)), slices.CompareFunc(a, b, compare))
	})
	return all
}

// minimal lists the subsets of n things for which holds says yes and of no part
// of which it does: every subset is looked at.
func minimal(n int, holds func(subset uint) bool) []uint {
	var all, out []uint
	for s := range uint(1) << n {
		all = append(all, s)
	}
	slices.SortStableFunc(all, func(a, b uint) int { return cmp.Compare(bits.OnesCount(a), bits.OnesCount(b)) })
	for _, s := range all {
		if !slices.ContainsFunc(out, func(o uint) bool { return o&s == o }) && holds(s) {
			out = append(out, s)
		}
	}
	return out
}

// named turns subsets of the parts into lists.
func named(subsets []uint, of []suspect.Part) [][]suspect.Part {
	out := [][]suspect.Part{}
	for _, s := range subsets {
		list := []suspect.Part{}
		for i, p := range of {
			if s>>i&1 == 1 {
				list = append(list, p)
			}
		}
		out = append(out, list)
	}
	return sorted(out)
}

// The published conflicts and their minimal hitting sets. polybox: J. de Kleer and
// B. C. Williams, Diagnosing multiple faults, Artificial Intelligence 32, 1987;
// seven sets: R. Reiter, A theory of diagnosis from first principles, the same
// volume; pruning trap: R. Greiner, B. A. Smith and R. W. Wilkerson, A correction to
// the algorithm in Reiter's theory of diagnosis, Artificial Intelligence 41, 1989.
func TestHittingSetsAsPublished(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"polybox", "seven sets", "pruning trap"} {
		row := example(t, name)
		conflicts, want := sets(row["conflicts"]), sets(row["minimal_diagnoses"])
		require.Equal(t, want, suspect.MinimalHittingSets(conflicts, 0), name)
		// The trap is one of order, so every order of the sets.
		orders(conflicts, func(all [][]suspect.Part) {
			require.Equal(t, want, suspect.MinimalHittingSets(all, 0), "%s: %v", name, all)
		})
	}
}

// orders calls f with all orders.
func orders(all [][]suspect.Part, f func([][]suspect.Part)) {
	var place func(k int)
	place = func(k int) {
		if k == len(all) {
			f(all)
			return
		}
		for i := k; i < len(all); i++ {
			all[k], all[i] = all[i], all[k]
			place(k + 1)
			all[k], all[i] = all[i], all[k]
		}
	}
	place(0)
}

// Against every subset of up to seven parts, two of which are one component in two
// lives.
func TestHittingSetsAgainstAllSubsets(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		universe := append([]suspect.Part{{Key: "a", Life: 1}}, parts("a", "b", "c", "d", "e", "f")...)
		universe = universe[:rapid.IntRange(1, len(universe)).Draw(t, "parts")]
		set := rapid.SliceOfN(rapid.SampledFrom(universe), 0, 5) // a part may be in it twice
		if rapid.IntRange(0, 9).Draw(t, "may be empty") > 0 {
			set = rapid.SliceOfN(rapid.SampledFrom(universe), 1, 5)
		}
		all := rapid.SliceOfN(set, 0, 8).Draw(t, "sets")
		most := rapid.IntRange(0, 4).Draw(t, "max")

		want := named(minimal(len(universe), func(subset uint) bool {
			for _, s := range all {
				if !slices.ContainsFunc(s, func(p suspect.Part) bool { return subset>>slices.Index(universe, p)&1 == 1 }) {
					return false
				}
			}
			return true
		}), universe)
		want = slices.DeleteFunc(want, func(s []suspect.Part) bool { return most > 0 && len(s) > most })
		if len(want) == 0 {
			want = nil
		}

		given := make([][]suspect.Part, len(all))
		for i, s := range all {
			given[i] = slices.Clone(s)
		}
		require.Equal(t, want, suspect.MinimalHittingSets(given, most))
		require.Equal(t, all, given, "what was given is left as it was")

		// The order of the sets, or one of them twice, changes nothing.
		given = rapid.Permutation(all).Draw(t, "order")
		if len(given) > 0 {
			given = append(given, given[0])
		}
		require.Equal(t, want, suspect.MinimalHittingSets(given, most))
	})
	require.Equal(t, [][]suspect.Part{{}}, suspect.MinimalHittingSets(nil, 0), "nothing to hit")
	require.Nil(t, suspect.MinimalHittingSets([][]suspect.Part{parts("a"), {}}, 0), "nothing hits the empty set")
}
