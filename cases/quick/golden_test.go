package quick_test

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var update = flag.Bool("update", false, "rewrite the goldens")

// entryID is the id that the tests give entry n.
func entryID(n int) string { return fmt.Sprintf("01890000-0000-7000-8000-%012x", n) }

// context is that of an invented case with 20 entries, on a Monday.
func context() quick.Context {
	return quick.Context{
		Red: "fan 2", Black: "batt-", Last: entryID(20), System: 12, Currency: "EUR",
		Conditions: &eventv1.Conditions{Key: eventv1.KeyPosition_KEY_POSITION_RUNNING, Commanded: eventv1.Command_COMMAND_ON},
		Entry: func(ref string) (string, error) {
			for n := 1; n <= 20; n++ {
				if ref == fmt.Sprint(n) || ref == notation.ShortID(entryID(n)) {
					return entryID(n), nil
				}
			}
			return "", fmt.Errorf("no entry %s in this case; it has 20", ref)
		},
		On: []quick.Temporary{
			{ID: entryID(3), Kind: eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER, What: "jumper on 30-87", Where: []string{"30-87"}},
			{ID: entryID(4), Kind: eventv1.TemporaryKind_TEMPORARY_KIND_PART_BORROWED, What: "relay from horn socket", Where: []string{"relay K2", "horn socket"}},
			{ID: entryID(5), Kind: eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED, What: "unplugged bcm C3", Where: []string{"bcm C3"}},
			{ID: entryID(6), Kind: eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED, What: "unplugged C4", Where: []string{"C4"}},
		},
		Names: []quick.Name{
			{Text: "fan 2", Point: true}, {Text: "batt-", Point: true}, {Text: "bcm.C3-14", Point: true}, {Text: "known on point", Point: true},
			{Text: "relay K2"}, {Text: "fuse F7"}, {Text: "fan motor"},
		},
		Now: time.Date(2026, 3, 2, 17, 0, 0, 0, time.FixedZone("", 3600)),
	}
}

func lines(t testing.TB) []string {
	data, err := os.ReadFile("testdata/lines.txt")
	require.NoError(t, err)
	return strings.Split(strings.TrimRight(string(data), "\n"), "\n")
}

// TestLines holds what every line of testdata/lines.txt is understood as
// against testdata/lines.golden.
func TestLines(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	read, refused := 0, 0
	for _, line := range lines(t) {
		if line == "" || line[0] == '#' {
			fmt.Fprintln(&out, line)
			continue
		}
		fmt.Fprintln(&out, "> "+line)
		p, err := quick.Parse(line, context())
		var e *quick.Error
		if errors.As(err, &e) {
			refused++
			fmt.Fprintf(&out, "  refused at %d, %d long: %s\n", e.Column, e.Length, e.What)
			for _, u := range e.Understood {
				fmt.Fprintf(&out, "    %s\n", u)
			}
			continue
		}
		require.NoError(t, err)
		read++
		fmt.Fprintln(&out, "  = "+p.Understood)
		for _, f := range flat(p.Event.ProtoReflect(), "") {
			if !strings.HasSuffix(f, " "+line) {
				fmt.Fprintln(&out, "  "+f)
			}
		}
		if len(p.Carried) > 0 {
			fmt.Fprintln(&out, "  carried over: "+strings.Join(p.Carried, ", "))
		}
		for _, n := range p.New {
			fmt.Fprintf(&out, "  new %s %s at %d, %d long", map[bool]string{true: "point", false: "component"}[n.Point], n.Text, n.Column, n.Length)
			if len(n.Nearest) > 0 {
				fmt.Fprintf(&out, "; known: %s", strings.Join(n.Nearest, ", "))
			}
			fmt.Fprintln(&out)
		}
	}
	require.GreaterOrEqual(t, read, 120)
	require.GreaterOrEqual(t, refused, 40)
	golden(t, "testdata/lines.golden", out.String())
}

func golden(t *testing.T, file, got string) {
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	for i, line := range strings.Split(got, "\n") {
		was, rest, _ := strings.Cut(string(want), "\n")
		require.Equal(t, was, line, "line %d; run the tests with -update and look at the difference", i+1)
		want = []byte(rest)
	}
	require.Empty(t, string(want))
}

// flat lists the fields of a message that are set, one 'path value' each.
func flat(m protoreflect.Message, path string) []string {
	var out []string
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if !m.Has(f) {
			continue
		}
		name := path + string(f.Name())
		if !f.IsList() {
			out = append(out, flatValue(f, m.Get(f), name)...)
			continue
		}
		for k := range m.Get(f).List().Len() {
			out = append(out, flatValue(f, m.Get(f).List().Get(k), fmt.Sprintf("%s[%d]", name, k+1))...)
		}
	}
	return out
}

func flatValue(f protoreflect.FieldDescriptor, v protoreflect.Value, name string) []string {
	switch {
	case f.Message() != nil:
		switch m := v.Message().Interface().(type) {
		case *eventv1.Quantity:
			text := fmt.Sprintf("%s %s|%s", name, m.Digits, m.Unit)
			for _, w := range []string{notation.Word(m.Sense), notation.Word(m.Shape)} {
				if w != "" && w != "exactly" {
					text += "|" + w
				}
			}
			if m.Said != "" {
				text += " said " + m.Said
			}
			return []string{text}
		case *eventv1.Money:
			return []string{name + " " + notation.FormatMoney(m)}
		case *eventv1.Moment:
			return []string{fmt.Sprintf("%s %s (%s) said %s", name, notation.FormatMoment(m, nil), notation.Word(m.Precision), m.Said)}
		}
		if out := flat(v.Message(), name+"."); len(out) > 0 {
			return out
		}
		return []string{name}
	case f.Enum() != nil:
		return []string{name + " " + string(f.Enum().Values().ByNumber(v.Enum()).Name())}
	}
	return []string{name + " " + v.String()}
}
