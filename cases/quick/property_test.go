package quick_test

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// accepted lists the lines of the table that are understood.
func accepted(t testing.TB) []string {
	var out []string
	for _, line := range lines(t) {
		if line == "" || line[0] == '#' {
			continue
		}
		if _, err := quick.Parse(line, context()); err == nil {
			out = append(out, line)
		}
	}
	return out
}

// asTyped are the fields that keep a line or a number as it was typed; they say
// nothing of how it was understood.
var asTyped = map[string]bool{
	"Event.typed": true, "Quantity.said": true, "Moment.said": true, "TemporaryOn.what": true, "TemporaryOff.said": true,
}

// understood is a copy of the event without what was kept as typed.
func understood(e *eventv1.Event) *eventv1.Event {
	c := proto.Clone(e).(*eventv1.Event)
	strip(c.ProtoReflect())
	return c
}

func strip(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case asTyped[string(f.Parent().Name())+"."+string(f.Name())]:
			m.Clear(f)
		case f.Message() != nil && f.IsList():
			for i := range v.List().Len() {
				strip(v.List().Get(i).Message())
			}
		case f.Message() != nil:
			strip(v.Message())
		}
		return true
	})
}

func text(e *eventv1.Event) string { return strings.Join(flat(e.ProtoReflect(), ""), "\n") }

// TestUnderstoodSaysTheSame: what is shown back is itself a line, and means the
// same.
func TestUnderstoodSaysTheSame(t *testing.T) {
	t.Parallel()
	for _, line := range accepted(t) {
		first, err := quick.Parse(line, context())
		require.NoError(t, err)
		again, err := quick.Parse(first.Understood, context())
		require.NoError(t, err, "%s\nshown back as %s", line, first.Understood)
		require.Equal(t, text(understood(first.Event)), text(understood(again.Event)), "%s\nshown back as %s", line, first.Understood)
		require.Equal(t, first.Understood, again.Understood, line)
	}
}

// TestNoWordIsDropped puts a strange word between any two words: it is refused,
// or it stands in the event. For readings and tests it must stand elsewhere than
// in the line as typed.
func TestNoWordIsDropped(t *testing.T) {
	t.Parallel()
	for _, line := range accepted(t) {
		words := strings.Fields(line)
		for i := 1; i <= len(words); i++ {
			for _, strange := range []string{"zebra", "zebra,", "7zebra", `"zebra"`} {
				changed := strings.Join(words[:i], " ") + " " + strange + " " + strings.Join(words[i:], " ")
				p, err := quick.Parse(changed, context())
				if err != nil {
					continue
				}
				if strings.Contains(changed, "#") && strings.Index(changed, "#") < strings.Index(changed, "zebra") {
					continue
				}
				e := p.Event
				if e.GetReading() != nil || e.GetTest() != nil || e.GetCodesRead() != nil {
					e = understood(e)
				}
				require.Contains(t, strings.ToLower(text(e)), "zebra", "%s\nunderstood as %s", changed, p.Understood)
				if !strings.Contains(p.Understood, "zebra") {
					require.Contains(t, strings.ToLower(p.Understood), "zebra", changed)
				}
			}
		}
	}
}

// outcomeOf is what a reading, test, check or look came to.
func outcomeOf(e *eventv1.Event) eventv1.Outcome {
	for _, o := range []eventv1.Outcome{e.GetReading().GetOutcome(), e.GetTest().GetOutcome(), e.GetSeen().GetOutcome(),
		e.GetMeterChecked().GetOutcome(), e.GetRepairChecked().GetOutcome()} {
		if o != 0 {
			return o
		}
	}
	return 0
}

// TestNegationNeverPasses puts a word that turns meaning round before any word:
// the line is refused, or it does not pass, or the word is plain to see in what
// was done or came of it.
func TestNegationNeverPasses(t *testing.T) {
	t.Parallel()
	for _, line := range accepted(t) {
		line, _, _ = strings.Cut(line, " #")
		before, err := quick.Parse(line, context())
		require.NoError(t, err)
		if outcomeOf(before.Event) != eventv1.Outcome_OUTCOME_PASS {
			continue
		}
		words := strings.Fields(line)
		for i := 0; i <= len(words); i++ {
			for _, turn := range []string{"not", "no", "never", "didn't", "almost", "not really", "not,"} {
				changed := strings.TrimSpace(strings.Join(words[:i], " ") + " " + turn + " " + strings.Join(words[i:], " "))
				p, err := quick.Parse(changed, context())
				if err != nil || outcomeOf(p.Event) != eventv1.Outcome_OUTCOME_PASS {
					continue
				}
				before, after := text(understood(before.Event)), text(understood(p.Event))
				require.NotEqual(t, before, after, changed)
				require.Contains(t, after+p.Understood, strings.Fields(strings.Trim(turn, ","))[0], changed)
				for _, c := range append(p.Event.GetTest().GetCovers(), p.Event.GetReading().GetCovers()...) {
					require.NotContains(t, c.Component, turn, changed)
				}
			}
		}
	}
}

// TestKindGivenOrTold: a command that knows the kind understands the same as
// the line alone.
func TestKindGivenOrTold(t *testing.T) {
	t.Parallel()
	for line, kind := range map[string]quick.Kind{
		"12.3 V at fan 2":                          quick.Read,
		"ran the fan, covers fan motor, pass":      quick.Test,
		"new fan in, guess":                        quick.Fit,
		"removed thermostat, kept":                 quick.Remove,
		"put back relay":                           quick.PutBack,
		"they say feed is good":                    quick.Believe,
		"belief 12 true because 14":                quick.Settle,
		"jumper off":                               quick.Temp,
		"saw water in the footwell":                quick.Saw,
		"note this":                                quick.Note,
		"codes none":                               quick.Codes,
		"battery disconnected":                     quick.Disturb,
		"customer approved 200 EUR":                quick.Approve,
		"20 min tracing ground":                    quick.Spent,
		"gone away":                                quick.Concern,
		"worked on front bumper":                   quick.Worked,
		"made safe fuel":                           quick.Safe,
		"repaired splice S4: crimped":              quick.Repair,
		"checked repair 14, pass":                  quick.Checked,
		"meter leads shorted, 0.2 ohm, pass":       quick.Meter,
		"close declined":                           quick.Close,
		"test lamp bright at fan 2 to batt-":       quick.Read,
		"voltage drop 0.3 V across relay K2, fail": quick.Read,
	} {
		told, err := quick.Parse(line, context())
		require.NoError(t, err, line)
		given, err := quick.ParseAs(kind, line, context())
		require.NoError(t, err, line)
		require.True(t, proto.Equal(told.Event, given.Event), line)
	}
	for line, kind := range map[string]quick.Kind{
		"the fan runs from the battery, covers fan motor, pass": quick.Test,
		"fan, guess":                                     quick.Fit,
		"customer waits until noon":                      quick.Note,
		"none from bcm":                                  quick.Codes,
		"P0480 active":                                   quick.Codes,
		"green corrosion in splice S4":                   quick.Saw,
		"high voltage, locked off":                       quick.Safe,
		"front bumper, replaced sensor":                  quick.Worked,
		"splice S4: crimped":                             quick.Repair,
		"14, rescanned, pass":                            quick.Checked,
		"owner refused 300 EUR":                          quick.Approve,
		"fixed and checked":                              quick.Close,
		"12 not true because 14":                         quick.Settle,
		"fan stops when hot, since Sunday":               quick.Concern,
		"relay K2":                                       quick.PutBack,
		"thermostat, kept":                               quick.Remove,
		"battery posts, 12.6 V, pass":                    quick.Meter,
		"hose off the intake":                            quick.Temp,
		"cleared":                                        quick.Codes,
		"codes cleared":                                  quick.Codes,
		"2 on battery posts shows 12.6 V, ok":            quick.Meter,
		"meter 2 on battery posts shows 12.6 V, ok":      quick.Meter,
		"repair last, concern tried, gone, pass":         quick.Checked,
		"checked repair last, concern tried, gone, pass": quick.Checked,
		"fan motor new guess 28 EUR":                     quick.Fit,
	} {
		_, err := quick.ParseAs(kind, line, context())
		require.NoError(t, err, line)
	}
}

// words that a line may be made of, for lines nobody would write.
var vocabulary = strings.Fields(`12.3 12,3 -0.4 V mV ohm k M A C psi OL at to red black fan two three twelve point minus oh running key on off key-on cranking
	commanded not with unplugged jumped loaded supply should be 12..13 over under pass fail ok inconclusive because last 12 99 before you came covers mostly and
	test bypass swapped new used borrowed in back from relay K2 old kept guess 45 EUR part no they say assume I think belief true jumper fuse F7 out pierced
	charger saw it acting up gone away codes none P0480 active cleared battery disconnected 20 min h customer approved by phone worked note # , : ; " "a b" ? !
	lamp bright dim scan coolant clamp gauge meter 2 drop ac 30-87 batt- the a failed 3 of 10 on Monday yesterday 14:30 same leads state wiggled close fixed checked`)

// hold checks what is true of any line.
func hold(t require.TestingT, line string) {
	p, err := quick.Parse(line, context())
	if err != nil {
		var e *quick.Error
		require.True(t, errors.As(err, &e), line)
		n := utf8.RuneCountInString(line)
		if utf8.ValidString(line) {
			require.True(t, e.Column >= 1 && e.Length >= 0 && e.Column+e.Length <= n+2, "%q: column %d, length %d of %d", line, e.Column, e.Length, n)
		}
		require.NotEmpty(t, e.What, line)
		require.Equal(t, line, e.Line)
		return
	}
	require.Equal(t, line, p.Line)
	require.NotNil(t, p.Event.Kind, line)
	again, err := quick.Parse(p.Understood, context())
	require.NoError(t, err, "%q shown back as %q", line, p.Understood)
	require.Equal(t, text(understood(p.Event)), text(understood(again.Event)), "%q shown back as %q", line, p.Understood)
}

func TestAnyWords(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		hold(t, strings.Join(rapid.SliceOfN(rapid.SampledFrom(vocabulary), 1, 14).Draw(t, "words"), " "))
	})
}

// TestApprovalWithAReadingInIt: what is shown back of it is understood too, though a value
// and a place to read stand in it.
func TestApprovalWithAReadingInIt(t *testing.T) {
	t.Parallel()
	line := "approved 200 euros by V at bcm.C3-14 to batt-, key 12.31V at"
	_, err := quick.Parse(line, context())
	require.NoError(t, err)
	hold(t, line)
}

// Somebody may be called what begins another kind of line.
func TestApprovedByAKeyword(t *testing.T) {
	t.Parallel()
	p, err := quick.Parse("approved 200 euros by read", context())
	require.NoError(t, err)
	require.Equal(t, `"read" approved 200.00 EUR`, p.Understood)
	hold(t, p.Understood)
}

// What time was spent on may begin like a reading.
func TestTimeSpentOnAt(t *testing.T) {
	t.Parallel()
	p, err := quick.Parse("1.5 h on at", context())
	require.NoError(t, err)
	require.Equal(t, "90 min on at", p.Understood)
	hold(t, p.Understood)
}

// Some of ten tries may fail and the test say nothing.
func TestInconclusiveWithFailures(t *testing.T) {
	t.Parallel()
	p, err := quick.Parse("test wiggled harness, inconclusive, failed 3 of 10, covers splice S4", context())
	require.NoError(t, err)
	require.Contains(t, p.Understood, "inconclusive, failed 3 of 10")
	hold(t, p.Understood)
}

// A fuse that is out is a condition, though its far end is a point of the drawing; a lamp
// that is out is dark.
func TestFuseOut(t *testing.T) {
	t.Parallel()
	known := quick.Context{Names: []quick.Name{{Text: "fuse F3 out", Point: true}, {Text: "fuse F3"}, {Text: "lamp L"}}}
	for _, line := range []string{"0.8 ohm across lamp L, fuse F3 out", "0.8 ohm across lamp L, fuse F3 out, key off", "0.8 ohm across lamp L, with fuse F3 pulled"} {
		p, err := quick.Parse(line, known)
		require.NoError(t, err, line)
		require.Equal(t, []string{"fuse F3"}, p.Event.GetReading().GetConditions().GetUnplugged(), line)
		hold(t, line)
	}
	for line, names := range map[string][]string{
		"0.8 ohm across lamp L, fuses F3 and F4 out": {"fuse F3", "fuse F4"}, "0.8 ohm across lamp L, with relays K1 and K2 and fuse F3 pulled": {"relay K1", "relay K2", "fuse F3"},
		"0.8 ohm across lamp L, connectors C1 and lamp L unplugged": {"connector C1", "lamp L"}, "0.8 ohm across lamp L, fuses unplugged": {"fuses"},
	} {
		p, err := quick.Parse(line, known)
		require.NoError(t, err, line)
		require.Equal(t, names, p.Event.GetReading().GetConditions().GetUnplugged(), line)
		hold(t, line)
	}
	p, err := quick.Parse("12.2 V to batt-, at fuse F3 out", known)
	require.NoError(t, err)
	require.Equal(t, "fuse F3 out", p.Event.GetReading().GetRed())
}

// A light may be called a running light; 'running 12.3' is the engine and a figure.
func TestRunningLight(t *testing.T) {
	t.Parallel()
	_, err := quick.Parse("12.3 V to running 12.3", context())
	require.ErrorContains(t, err, "the second point is missing")
	for _, line := range []string{"12.3 V to running 12.3", "12.3 V at running light to batt-", `12.3 V to "running 12.3"`} {
		hold(t, line)
	}
}

// TestShuffledLines cuts lines of the table and joins the pieces.
func TestShuffledLines(t *testing.T) {
	t.Parallel()
	all := accepted(t)
	rapid.Check(t, func(t *rapid.T) {
		var parts []string
		for range rapid.IntRange(1, 3).Draw(t, "parts") {
			words := strings.Fields(rapid.SampledFrom(all).Draw(t, "line"))
			from := rapid.IntRange(0, len(words)-1).Draw(t, "from")
			to := rapid.IntRange(from+1, len(words)).Draw(t, "to")
			parts = append(parts, strings.Join(words[from:to], " "))
		}
		hold(t, strings.Join(parts, rapid.SampledFrom([]string{" ", ", "}).Draw(t, "join")))
	})
}

func FuzzParse(f *testing.F) {
	for _, line := range accepted(f) {
		f.Add(line)
	}
	for _, line := range []string{"", "#", "note", "\x00", "\xff", "12.3 V at \"", "red  ,,, black", "12..12", strings.Repeat("fan ", 3000)} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line string) { hold(t, line) })
}
