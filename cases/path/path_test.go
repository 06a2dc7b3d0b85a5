package path_test

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/prototext"

	"knowngood.example/cases/check"
	"knowngood.example/cases/path"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var update = flag.Bool("update", false, "rewrite the goldens")

// texts are the drawings of a file, parted by blank lines, without the lines of
// comment before the first.
func texts(t testing.TB, file string) []string {
	b, err := os.ReadFile("testdata/" + file)
	require.NoError(t, err)
	_, body, _ := strings.Cut(string(b), "\n\n")
	return strings.Split(strings.TrimRight(body, "\n"), "\n\n")
}

func golden(t *testing.T, file, got string) {
	if *update {
		require.NoError(t, os.WriteFile("testdata/"+file, []byte(got), 0o644))
	}
	want, err := os.ReadFile("testdata/" + file)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// TestDrawings holds what every drawing is understood as, and that it is
// understood the same once it is written back.
func TestDrawings(t *testing.T) {
	t.Parallel()
	all := texts(t, "drawings.txt")
	require.GreaterOrEqual(t, len(all), 40)
	var out strings.Builder
	for _, text := range all {
		d, err := path.Read(text)
		require.NoError(t, err, text)
		require.Equal(t, text, d.Event.GetSaid())
		fmt.Fprintln(&out, "> "+strings.ReplaceAll(text, "\n", "\n> "))
		for _, e := range d.Event.GetElements() {
			fmt.Fprintln(&out, "  "+path.Say(e))
		}
		for _, p := range d.Event.GetPoints() {
			fmt.Fprintf(&out, "  point %q colour %q pin %q where %q net %v\n", p.GetPoint(), p.GetColour(), p.GetPin(), p.GetWhere(), p.GetNet())
		}
		for _, w := range d.Warnings {
			fmt.Fprintln(&out, "  but "+w.String())
		}
		fmt.Fprintln(&out)
		passes(t, text, d)
		same(t, d)
	}
	golden(t, "drawings.golden", out.String())
}

// TestRefused holds what is said of every text that is refused.
func TestRefused(t *testing.T) {
	t.Parallel()
	all := texts(t, "refused.txt")
	require.GreaterOrEqual(t, len(all), 40)
	var out strings.Builder
	for _, text := range all {
		d, err := path.Read(text)
		require.Error(t, err, text)
		require.Nil(t, d)
		within(t, text, err)
		fmt.Fprintln(&out, "> "+strings.ReplaceAll(text, "\n", "\n> ")+"\n  "+strings.ReplaceAll(err.Error(), "\n", "\n  ")+"\n")
	}
	golden(t, "refused.golden", out.String())
}

// TestDrawnCases: the lines of the drawn cases are whole drawings, or notes.
func TestDrawnCases(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/drawn/*.txtar")
	require.NoError(t, err)
	n := 0
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		for line := range strings.Lines(string(b)) {
			_, said, ok := strings.Cut(strings.TrimSpace(line), `said="`)
			said, _, _ = strings.Cut(said, `"`)
			if !ok || !strings.Contains(said, " > ") && !strings.HasPrefix(said, "point ") {
				continue
			}
			n++
			d, err := path.Read(said)
			require.NoError(t, err, file)
			require.Empty(t, d.Warnings, file)
			passes(t, said, d)
			same(t, d)
		}
	}
	require.Greater(t, n, 15)
}

// TestLimits: what is too long is refused in words, and what is not is read.
func TestLimits(t *testing.T) {
	t.Parallel()
	many := func(n int) string {
		var b strings.Builder
		b.WriteString("batt+>splice S")
		for i := range n {
			fmt.Fprintf(&b, "\nsplice S>lamp %d>gnd G", i)
		}
		return b.String()
	}
	d, err := path.Read(many(400)) // 400 loads and 801 wires
	require.NoError(t, err)
	require.Len(t, d.Event.GetElements(), 1204)
	passes(t, many(400), d)
	for text, says := range map[string]string{
		strings.Repeat("# remark\n", 3000):              "27000 bytes, and at most 20000 are kept",
		many(720):                                       "2164 elements with the wires, and at most 2000 are kept",
		"batt+ > lamp " + strings.Repeat("x", 190):      "a name longer than 180 bytes",
		"batt+ > " + strings.Repeat("(", 1000) + "lamp": "more than 20 branches within branches",
		"batt+ > lamp \x1b[31m > gnd":                   "the character U+001B, which cannot be seen",
		"batt+ > lamp \xff > gnd":                       "no text in UTF-8",
		"batt+ > lamp \u202ered > gnd":                  "the character U+202E",
		strings.Repeat("x > ", 4000) + "lamp":           "and 3990 more like these",
	} {
		_, err := path.Read(text)
		require.ErrorContains(t, err, says)
		within(t, text, err)
	}
}

// within requires that every problem lies in the text and says what helps.
func within(t require.TestingT, text string, err error) {
	var e *path.Error
	require.True(t, errors.As(err, &e))
	require.NotEmpty(t, e.Problems)
	require.LessOrEqual(t, len(e.Problems), 10)
	for _, p := range e.Problems {
		inText(t, text, p)
	}
}

func inText(t require.TestingT, text string, p path.Problem) {
	lines := strings.Split(text, "\n")
	require.NotEmpty(t, p.What, text)
	require.NotEmpty(t, p.Remedy, text)
	require.True(t, p.Line >= 1 && p.Line <= len(lines), "%q: %s", text, p)
	n := utf8.RuneCountInString(lines[p.Line-1])
	require.True(t, p.Column >= 1 && p.Length >= 0 && p.Column+p.Length <= n+1, "%q: %d long, %s", text, p.Length, p)
}

// passes requires that the drawing may come in, once it says where it is from.
func passes(t require.TestingT, text string, d *path.Drawing) {
	d.Event.Basis = eventv1.Basis_BASIS_REMEMBERED
	r := check.Event(&eventv1.Event{Kind: &eventv1.Event_CircuitDrawn{CircuitDrawn: d.Event}}, check.Context{})
	for _, f := range r.Findings {
		require.False(t, f.Severity == check.Refuse && strings.HasPrefix(f.Field, "circuit_drawn"), "%q: %v", text, f)
	}
	for _, w := range d.Warnings {
		inText(t, text, w)
	}
}

// same requires that what is written back is read the same.
func same(t require.TestingT, d *path.Drawing) {
	text := path.Write(d.Event)
	again, err := path.Read(text)
	require.NoError(t, err, "%q written as\n%s", d.Event.GetSaid(), text)
	require.Equal(t, contents(d.Event), contents(again.Event), "%q written as\n%s", d.Event.GetSaid(), text)
}

// contents are the elements and points of a drawing, in no order.
func contents(c *eventv1.CircuitDrawn) map[string]int {
	out := map[string]int{}
	for _, e := range c.GetElements() {
		out[prototext.MarshalOptions{}.Format(e)]++
	}
	for _, p := range c.GetPoints() {
		out[prototext.MarshalOptions{}.Format(p)]++
	}
	return out
}
