package main

import (
	"bytes"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// examples are the command lines that a help text leads with, as words; what
// stands far to the right explains them.
func examples(long string) [][]string {
	long = strings.ReplaceAll(long, "\\\n", " ")
	explained := regexp.MustCompile(`   +`)
	var out [][]string
	for _, l := range strings.Split(long, "\n") {
		l, ok := strings.CutPrefix(l, "  knowngood ")
		if !ok {
			continue
		}
		if at := explained.FindStringIndex(l); at != nil && !strings.Contains(l, " --found") && !strings.Contains(l, " --question") && !strings.Contains(l, "KX-204") {
			l = l[:at[0]]
		}
		out = append(out, shellWords(l))
	}
	return out
}

// shellWords splits as a shell would: single quotes, and no more after a
// redirection.
func shellWords(l string) []string {
	var words []string
	var word strings.Builder
	quoted, any := false, false
	end := func() {
		if any {
			words = append(words, word.String())
		}
		word.Reset()
		any = false
	}
	for _, r := range l {
		switch {
		case r == '\'':
			quoted, any = !quoted, true
		case !quoted && (r == '>' || r == '<'):
			end()
			return words
		case !quoted && r == ' ':
			end()
		case !quoted && r == '"':
		default:
			word.WriteRune(r)
			any = true
		}
	}
	end()
	return words
}

func testRoot(t *testing.T) *cobra.Command {
	t.Helper()
	var out bytes.Buffer
	return newRoot(&app{world: world{in: strings.NewReader(""), out: &out, err: &out, getenv: func(string) string { return "" }, now: time.Now}})
}

// walk visits every command that is listed.
func walk(c *cobra.Command, visit func(*cobra.Command)) {
	for _, sub := range c.Commands() {
		if sub.Name() != "help" {
			visit(sub)
			walk(sub, visit)
		}
	}
}

// TestHelpLeadsWithExamples: every command's help begins with lines that the
// command line takes: they name a command that exists and flags that it has, and
// lines of quick entry are understood.
func TestHelpLeadsWithExamples(t *testing.T) {
	t.Parallel()
	root := testRoot(t)
	kinds := make(map[string]quick.Kind)
	for _, c := range entryCommands() {
		kinds[string(c.kind)] = c.kind
	}
	kinds["say"], kinds["close"] = "", quick.Close
	check := func(c *cobra.Command) {
		lines := examples(c.Long)
		if c.Name() == "output" {
			return // a topic, not a command
		}
		require.NotEmpty(t, lines, "%s: its help leads with no example", c.Name())
		for _, words := range lines {
			found, rest, err := testRoot(t).Find(shield(words))
			require.NoError(t, err, "knowngood %s", strings.Join(words, " "))
			require.NotEqual(t, "knowngood", found.Name(), "knowngood %s", strings.Join(words, " "))
			require.NoError(t, found.ParseFlags(rest), "knowngood %s", strings.Join(words, " "))
			kind, entry := kinds[found.Name()]
			line := typed(found.Flags().Args())
			if !entry || line == "" {
				continue
			}
			_, err = quick.ParseAs(kind, line, exampleContext())
			if err != nil && kind != "" {
				_, err = quick.ParseAs(kind, string(kind)+" "+line, exampleContext())
			}
			if err != nil {
				t.Errorf("knowngood %s %s: %v", found.Name(), line, err)
			}
		}
	}
	walk(root, check)
	require.NotEmpty(t, examples(root.Long))
	check(root)
}

func exampleContext() quick.Context {
	return quick.Context{
		Now: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), Currency: "EUR", System: 12, Last: uuid.Must(uuid.NewV7()).String(),
		Entry: func(string) (string, error) { return uuid.Must(uuid.NewV7()).String(), nil },
		On:    []quick.Temporary{{ID: uuid.Must(uuid.NewV7()).String(), Kind: eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER, What: "jumper on 30-87"}},
		Names: []quick.Name{{Text: "fan two", Point: true}, {Text: "battery", Point: true}},
	}
}

// TestEveryCommandIsGrouped: nothing is listed apart.
func TestEveryCommandIsGrouped(t *testing.T) {
	t.Parallel()
	walk(testRoot(t), func(c *cobra.Command) {
		if c.Name() != "output" {
			require.NotEmpty(t, c.GroupID, c.Name())
			require.NotEmpty(t, c.Short, c.Name())
			require.NotNil(t, c.RunE, c.Name())
		}
	})
}

// TestEveryAskTakesAnExport: what asks about a case takes --from and --as-of.
func TestEveryAskTakesAnExport(t *testing.T) {
	t.Parallel()
	n := 0
	walk(testRoot(t), func(c *cobra.Command) {
		if c.GroupID != "ask" {
			return
		}
		n++
		require.NotNil(t, c.Flags().Lookup("from"), c.Name())
		require.NotNil(t, c.Flags().Lookup("as-of"), c.Name())
	})
	require.Equal(t, 10, n)
}

// TestEveryRecordTakesTheSameFlags: by whom, when, and yes to what is asked again.
func TestEveryRecordTakesTheSameFlags(t *testing.T) {
	t.Parallel()
	walk(testRoot(t), func(c *cobra.Command) {
		if c.GroupID != "record" || c.Name() == "use" {
			return
		}
		flags := []string{"by", "when", "yes"}
		if c.Name() != "open" {
			flags = append(flags, "case", "after", "before-opening", "because")
		}
		for _, f := range flags {
			require.NotNil(t, c.Flags().Lookup(f), "%s --%s", c.Name(), f)
		}
	})
}

// TestOutputHelpNamesEveryMember: the shapes in the help are those that are
// written.
func TestOutputHelpNamesEveryMember(t *testing.T) {
	t.Parallel()
	words := strings.FieldsFunc(outputHelp, func(r rune) bool { return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz_", r) })
	for _, row := range []any{
		stored{}, boardRow{}, entryRow{}, replayRow{}, suspectShare{}, suspectRow{}, verdictRow{}, explanationRow{}, tellingRow{}, nextRow{}, watchRow{}, findingRow{}, ruleRow{}, document{}, section{}, line{}, documentRow{}, pinRow{}, spendRow{},
		useRow{}, joinedRow{}, inviteRow{}, peopleRow{}, withdrawnRow{}, syncRow{}, importRow{}, verifyRow{}, backupRow{}, benchRow{}, ready{}, readyShop{}, webRow{}, versionRow{},
	} {
		for _, name := range members(row) {
			require.True(t, slices.Contains(words, name), "%T: %s is not in 'knowngood help output'", row, name)
		}
	}
}

func TestNegativeNumbersAreNoFlags(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ args, line string }{
		{"read -0.3 V at a to b", "read -0.3 V at a to b"},
		{"read -.3 V", "read -.3 V"},
		{"read -12,31 V", "read -12,31 V"},
	} {
		args := shield(strings.Fields(c.args))
		for _, w := range args {
			require.False(t, strings.HasPrefix(w, "-"), w)
		}
		require.Equal(t, c.line, typed(args))
	}
	require.Equal(t, []string{"-o", "json", "-x", "--", "-3"}, shield([]string{"-o", "json", "-x", "--", "-3"}))
}

// members are the JSON names of a struct, those of embedded ones too.
func members(v any) []string {
	var out []string
	for _, f := range reflect.VisibleFields(reflect.TypeOf(v)) {
		if !f.Anonymous {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			out = append(out, name)
		}
	}
	return out
}
