package quick_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestColumns: a mistake is named by its column and length in characters, with
// something that would be understood there.
func TestColumns(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		line       string
		col, n     int
		what, hint string
	}{
		{"12.3 V at fan 2 to batt- light on", 26, 8, "behind a comma", ", light on"},
		{"12.3 V at fan 2 to batt- runing", 26, 6, "misspelt", "running"},
		{"12.3 V at fan 2 to batt-, runing", 27, 6, "'runing'", "running"},
		{"12.3 V at fan 2 to batt-, craking", 27, 7, "'craking'", "cranking"},
		{"12.3 V at fan 2 to batt-, unpluged", 27, 8, "'unpluged'", "unplugged"},
		{"12.3 V at fan 2 to batt- comanded", 26, 8, "misspelt", "commanded"},
		{"−12.3 at fan 2", 1, 5, "no unit", "−12.3 V"},
		{"°°° 12 V", 1, 8, "kind of entry", "note °°° 12 V"},
		{"12.3 V at fan 2 to batt- because 99", 34, 2, "no entry 99", "last"},
		{"12.3 V at fan 2 to batt-, pass, not sure", 27, 9, "either", "inconclusive"},
		{"12.3 V at fan 2 to batt-, fail, pass", 33, 4, "passes and it fails", "inconclusive"},
		{"12.3 V at", 10, 0, "missing", "fan 2"},
		{"12.3 V at \"fan", 11, 1, "never closed", "quotation"},
		{"12.3 V at fan 2\x00", 16, 1, "control", ""},
		{"12.3 V at \xff", 11, 1, "UTF-8", ""},
		{"test fan motor never passed", 16, 12, "either", "inconclusive"},
		{"test fan motor isn't ok", 16, 8, "either", "fail"},
		{"new fan in, 45 EURO", 13, 2, "'45'", "45 EUR"},
		{"new fan in, gess", 13, 4, "'gess'", "guess"},
		{"belief 12 maybe", 11, 5, "missing", "not true"},
		{"codes P0480 not active", 13, 3, "turn the meaning round", "active"},
		{"", 1, 0, "nothing is said", ""},
		{"   ", 1, 0, "nothing is said", ""},
		{"# only a note", 1, 0, "nothing is said", ""},
		{"20.5 min tracing", 1, 8, "whole minutes", "1 h 20 min"},
		{"charger on, pass", 1, 16, "a change", "test charger on, pass"},
	} {
		p, err := quick.Parse(c.line, context())
		var e *quick.Error
		require.True(t, errors.As(err, &e), "%q understood as %v", c.line, p)
		require.Equal(t, []int{c.col, c.n}, []int{e.Column, e.Length}, "%q: %v", c.line, err)
		require.Contains(t, e.What, c.what, c.line)
		require.Contains(t, strings.Join(e.Understood, "|"), c.hint, c.line)
		require.Equal(t, c.line, e.Line)
		require.Contains(t, err.Error(), "column ")
	}
}

// TestSpokenNumbers: what number words come to, in volts.
func TestSpokenNumbers(t *testing.T) {
	t.Parallel()
	for said, digits := range map[string]string{
		"twelve three": "12.3", "twelve point three": "12.3", "twelve point three one": "12.31", "twelve thirty one": "12.31",
		"twelve oh five": "12.05", "twelve zero five": "12.05", "twelve point oh five": "12.05", "zero point four": "0.4", "point four": "0.4",
		"point oh four": "0.04", "minus zero point two": "-0.2", "negative one point five": "-1.5", "fourteen": "14", "twenty four": "24",
		"twenty four point one": "24.1", "twenty four five": "24.5", "five two": "5.2", "one hundred and five": "105", "two hundred": "200",
		"twelve hundred": "1200", "three thousand two hundred": "3200", "eighty point five": "80.5", "twelve fifteen": "12.15",
		"zero": "0", "twelve point thirty one": "12.31", "12 point 3": "12.3", "ninety nine": "99", "nine eight": "9.8",
	} {
		p, err := quick.Parse("red fan 2, black batt-, "+said, context())
		require.NoError(t, err, said)
		v := p.Event.GetReading().GetValue()
		require.Equal(t, digits, v.GetDigits(), said)
		require.Equal(t, "V", v.GetUnit())
		require.Equal(t, said, v.GetSaid())
	}
	for _, said := range []string{"one two three", "nine eight seven", "five thirty", "twelve three four", "twelve three point one"} {
		_, err := quick.Parse("red fan 2, black batt-, "+said, context())
		require.Error(t, err, said)
	}
}

// TestPassWords: only these words pass, and none of them does behind a word
// that turns it round.
func TestPassWords(t *testing.T) {
	t.Parallel()
	const start = "12.3 V at fan 2 to batt-, "
	for words, want := range map[string]eventv1.Outcome{
		"pass": eventv1.Outcome_OUTCOME_PASS, "passed": eventv1.Outcome_OUTCOME_PASS, "OK": eventv1.Outcome_OUTCOME_PASS, "good": eventv1.Outcome_OUTCOME_PASS,
		"fail": eventv1.Outcome_OUTCOME_FAIL, "not ok": eventv1.Outcome_OUTCOME_FAIL, "no good": eventv1.Outcome_OUTCOME_FAIL, "bad": eventv1.Outcome_OUTCOME_FAIL,
		"did not pass": eventv1.Outcome_OUTCOME_FAIL, "didn’t pass": eventv1.Outcome_OUTCOME_FAIL, "inconclusive": eventv1.Outcome_OUTCOME_INCONCLUSIVE,
	} {
		p, err := quick.Parse(start+words, context())
		require.NoError(t, err, words)
		require.Equal(t, want, p.Event.GetReading().GetOutcome(), words)
	}
	for _, words := range []string{"not bad", "not fail", "did not fail", "almost ok", "ok?", "pass or fail", "ok not", "ok, no", "hardly passed", "would pass",
		"not, ok", "no, ok", "unpass", "fine", "should pass", "ok if dry"} {
		_, err := quick.Parse(start+words, context())
		require.Error(t, err, words)
	}
}

// TestContext: what a line may take from the lines before it, and what it says
// when there is nothing to take.
func TestContext(t *testing.T) {
	t.Parallel()
	for _, line := range []string{"12.3 V same leads", "12.3 V at fan 2, same state", "12.3 V at fan 2, because last", "12.3 V at fan 2, because 12", "new fan in, cost 45"} {
		_, err := quick.Parse(line, quick.Context{})
		require.Error(t, err, line)
		_, err = quick.Parse(line, context())
		require.NoError(t, err, line)
	}
	p, err := quick.Parse("jumper off", quick.Context{})
	require.NoError(t, err)
	require.Empty(t, p.Event.GetTemporaryOff().GetTemporary(), "never entered")

	ctx := context()
	_, err = quick.Parse("unplugged back in", ctx)
	require.Error(t, err)
	_, err = quick.Parse("plugged in", ctx)
	require.ErrorContains(t, err, "which of those")
	ctx.Conditions.Unplugged = []string{"C4"}
	p, err = quick.Parse("12.3 V at fan 2, same state, key off", ctx)
	require.NoError(t, err)
	c := p.Event.GetReading().GetConditions()
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_OFF, c.GetKey())
	require.Equal(t, eventv1.Command_COMMAND_ON, c.GetCommanded())
	require.Equal(t, []string{"C4"}, c.GetUnplugged())
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_RUNNING, ctx.Conditions.GetKey(), "the context is only read")
	require.Equal(t, []string{"state"}, p.Carried)
}

func TestExamples(t *testing.T) {
	t.Parallel()
	require.Greater(t, len(quick.Examples()), 15)
	for _, line := range quick.Examples() {
		_, err := quick.Parse(line, context())
		require.NoError(t, err, line)
	}
}

// TestLongLines: the longest lines, however odd, are done with at once. The
// bound is wide; a grammar that tries the same words over and over takes
// minutes.
func TestLongLines(t *testing.T) {
	t.Parallel()
	for _, c := range [][2]string{
		{"12 V at ", "a "}, {"12 V at ", "12 "}, {"12 V at x, with ", "a and "}, {"test a, covers ", "a, "}, {"test a, ", "12 V "}, {"scan ", "12 "},
		{"saw ", "in a1 "}, {"", "twelve "}, {"jumper ", "a and "}, {"new ", "a "}, {"worked on a, touched ", "a, "}, {"", "not "}, {"", "\"a\" "},
	} {
		line := c[0] + strings.Repeat(c[1], (3990-len(c[0]))/len(c[1]))
		start := time.Now()
		_, _ = quick.Parse(line, context())
		require.Less(t, time.Since(start), 10*time.Second, "%q and then %q over and over", c[0], c[1])
	}
}

func BenchmarkParse(b *testing.B) {
	ctx := context()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := quick.Parse("12.31V at bcm.C3-14 to batt- key-on should be 12..12.9 # brown wire", ctx); err != nil {
			b.Fatal(err)
		}
	}
}

// TestAPinIsNamedOnce where it is known as a component and as a point.
func TestAPinIsNamedOnce(t *testing.T) {
	t.Parallel()
	q := quick.Context{Names: []quick.Name{{Text: "fan.C1-2"}, {Text: "fan.C1-2", Point: true}, {Text: "fan.C1-1"}, {Text: "fan.C1-1", Point: true}}}
	p, err := quick.Parse("12.3 V at fna.C1-2", q)
	require.NoError(t, err)
	require.Equal(t, []string{"fan.C1-2", "fan.C1-1"}, p.New[0].Nearest)
}
