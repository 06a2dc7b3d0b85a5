package cases_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
)

var update = flag.Bool("update", false, "rewrite the goldens")

func TestEveryKindIsTold(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("testdata", "every_kind.scenario"))
	require.NoError(t, err)
	s := read(t, string(b))
	c, err := s.Case()
	require.NoError(t, err)
	told := map[uint32]bool{}
	var out strings.Builder
	for _, r := range c.Timeline(cases.Query{}, s.Names) {
		told[r.Step.Kind] = true
		require.NotEmpty(t, r.Text, r.Step.KindWords())
		fmt.Fprintf(&out, "#%d %s: %s\n", r.Step.Seq, r.Step.KindWords(), r.Text)
		for _, m := range append(r.Marks, r.Step.OnWhoseWord(s.Names)) {
			if m != "" {
				fmt.Fprintf(&out, "    (%s)\n", m)
			}
		}
	}
	for _, k := range envelope.Kinds() {
		require.True(t, told[k], "no line in the scenario tells %q", envelope.KindName(k))
	}
	golden := filepath.Join("testdata", "every_kind.golden")
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(out.String()), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), out.String())
}
