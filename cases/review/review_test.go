package review_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/review"
	"knowngood.example/cases/scenario"
)

var update = flag.Bool("update", false, "rewrite the findings expected in testdata")

// golden is the scenario file of a rule: parts named 'fires: ...' with what they
// find in a part named 'finds: ...' of the same words, and parts named 'silent: ...'.
type golden struct {
	path string
	*txtar.Archive
}

func read(t *testing.T, slug string) golden {
	t.Helper()
	path := filepath.Join("testdata", slug+".txtar")
	a, err := txtar.ParseFile(path)
	require.NoError(t, err, "every rule has a scenario file named after it")
	return golden{path, a}
}

func (g golden) each(prefix string, yield func(rest string, text string)) (n int) {
	for _, f := range g.Files {
		if rest, ok := strings.CutPrefix(f.Name, prefix); ok {
			n++
			yield(strings.TrimSpace(rest), string(f.Data))
		}
	}
	return n
}

func fold(t *testing.T, text string) (*cases.Case, *scenario.Scenario) {
	t.Helper()
	s, err := scenario.Read(text)
	require.NoError(t, err)
	c, err := s.Case()
	require.NoError(t, err)
	return c, s
}

func of(found []review.Finding, slug string) []review.Finding {
	var out []review.Finding
	for _, f := range found {
		if f.Rule == slug {
			out = append(out, f)
		}
	}
	return out
}

func show(found []review.Finding) string {
	var b strings.Builder
	for _, f := range found {
		fmt.Fprintf(&b, "%s, entries %v, about %s\n  %s\n  clears: %s\n", f.Severity, f.Entries, strings.Join(f.About, "; "), f.Why, f.Clears)
	}
	return b.String()
}

// TestRules holds every rule against its scenarios: what it finds, word by word,
// and where it stays quiet. A rule without a doctrine, or without both parts,
// fails here.
func TestRules(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, r := range review.Rules() {
		t.Run(r.Slug, func(t *testing.T) {
			require.False(t, seen[r.Slug], "two rules of one name")
			seen[r.Slug] = true
			require.Regexp(t, `^[A-Z].+\.$`, r.Doctrine, "the doctrine is one sentence")
			require.NotContains(t, r.Severity.String(), "severity")
			g := read(t, r.Slug)
			fires := g.each("fires:", func(rest, text string) {
				c, _ := fold(t, text)
				got := show(of(review.Run(judged(c)), r.Slug))
				require.NotEmpty(t, got, "%s does not fire: %s", r.Slug, rest)
				g.expect(t, "finds: "+rest, got)
			})
			silent := g.each("silent:", func(rest, text string) {
				c, _ := fold(t, text)
				require.Empty(t, show(of(review.Run(judged(c)), r.Slug)), "%s cries wolf: %s", r.Slug, rest)
			})
			require.Positive(t, fires, "a rule needs a scenario in which it fires")
			require.Positive(t, silent, "a rule needs a scenario in which it stays quiet")
		})
	}
}

func (g golden) expect(t *testing.T, name, got string) {
	t.Helper()
	for i, f := range g.Files {
		if f.Name != name {
			continue
		}
		if *update {
			g.Files[i].Data = []byte(got)
			require.NoError(t, os.WriteFile(g.path, txtar.Format(g.Archive), 0o644))
			return
		}
		require.Equal(t, string(f.Data), got, name)
		return
	}
	t.Fatalf("%s: there is no part %q; add one, empty, and run with -update", g.path, name)
}

func TestEveryScenarioFileBelongsToARule(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	for _, r := range review.Rules() {
		known[r.Slug+".txtar"] = true
	}
	files, err := os.ReadDir("testdata")
	require.NoError(t, err)
	for _, f := range files {
		if f.IsDir() { // what rapid leaves of a failure
			continue
		}
		require.True(t, known[f.Name()], "%s belongs to no rule", f.Name())
	}
}

// TestAsOfAnyEntry runs the review at every moment of every scenario: it never
// fails, names only entries and a fix that were there by then, comes out the same
// twice, and names no person and no shop.
func TestAsOfAnyEntry(t *testing.T) {
	t.Parallel()
	ref := regexp.MustCompile(`#(\d+)`)
	for _, r := range review.Rules() {
		g := read(t, r.Slug)
		for _, f := range g.Files {
			if strings.HasPrefix(f.Name, "finds") {
				continue
			}
			c, s := fold(t, string(f.Data))
			for n := uint64(0); n <= c.Head(); n++ {
				at := c.AsOf(n)
				found := review.Run(judged(at))
				require.Equal(t, found, review.Run(judged(c.AsOf(n))))
				for i, f := range found {
					require.NotEmpty(t, f.Entries)
					require.NotEmpty(t, f.Clears)
					for _, e := range f.Entries {
						require.NotNil(t, at.Step(e), "%s names #%d as of #%d", f.Rule, e, n)
					}
					for _, m := range ref.FindAllStringSubmatch(f.Why, -1) {
						require.Contains(t, fmt.Sprint(f.Entries), m[1], "%s: every entry named is listed", f.Why)
					}
					for id, name := range s.Names {
						require.NotContains(t, f.Why+f.Clears, id)
						require.NotRegexp(t, `\b`+name+`\b`, f.Why+f.Clears)
					}
					if i > 0 {
						require.GreaterOrEqual(t, found[i-1].Severity, f.Severity)
					}
				}
			}
		}
	}
}

func TestEmptyCase(t *testing.T) {
	t.Parallel()
	require.Empty(t, review.Run(judged(cases.New(scenario.Stream))))
}

func judged(c *cases.Case) *cases.Judged { return c.Judge(nil) }
