package brief_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
)

// TestCustomer holds the customer's copy of the fan case, and of one in which nothing
// happened.
func TestCustomer(t *testing.T) {
	t.Parallel()
	c, names := fan(t)
	golden(t, "end.customer", brief.Customer(c.Judge(nil), names).Text())
	golden(t, "not_given.customer", brief.Customer(c.AsOf(20).Judge(nil), names).Text())
	empty, names := fold(t, `case-opened concern.statement="fuel gauge reads empty"`)
	golden(t, "empty.customer", brief.Customer(empty.Judge(nil), names).Text())
}

// TestCustomerWithoutBlame goes through every entry of all invented cases: the customer's
// copy has no name of anybody who worked, no grade, no reason given for a part, nothing that
// was believed, and each sum that the hand-back has.
func TestCustomerWithoutBlame(t *testing.T) {
	t.Parallel()
	var texts []string
	b, err := os.ReadFile(filepath.Join("testdata", "fan.scenario"))
	require.NoError(t, err)
	texts = append(texts, string(b))
	for _, folder := range []string{"judged", "drawn"} {
		files, err := filepath.Glob(filepath.Join("..", "..", "testdata", folder, "*.txtar"))
		require.NoError(t, err)
		for _, f := range files {
			a, err := txtar.ParseFile(f)
			require.NoError(t, err)
			texts = append(texts, string(a.Files[0].Data))
		}
	}
	require.Greater(t, len(texts), 30)
	fitted, totals := 0, 0
	for _, text := range texts {
		c, names := fold(t, text)
		marked := make(cases.Names)
		for id := range names {
			marked[id] = "NAME-OF-SOMEBODY"
		}
		j := c.Judge(nil)
		copied, whole := brief.Customer(j, marked), brief.HandBack(j, marked)
		fitted += len(c.Fittings)
		require.NotContains(t, copied.Text(), "NAME-OF-SOMEBODY")
		for _, s := range copied.Sections {
			for _, l := range s.Lines {
				for _, g := range cases.Grades() {
					require.NotEqual(t, g.String(), l.Mark)
					require.NotContains(t, l.Text, "why:")
				}
				require.NotContains(t, strings.ToLower(l.Text), "believed")
				require.NotContains(t, l.Text, "neither a test")
			}
		}
		for _, s := range whole.Sections {
			for _, l := range s.Lines {
				if total, rest, ok := strings.Cut(l.Text, "In all: "); ok && total == "" {
					sum, _, _ := strings.Cut(rest, "; approved")
					require.Contains(t, copied.Text(), "In all: "+sum)
					totals++
				}
			}
		}
		for _, f := range c.Fittings {
			require.Contains(t, strings.Join(strings.Fields(copied.Text()), " "), f.Component.Name)
		}
	}
	require.NotZero(t, fitted)
	require.NotZero(t, totals)
}
