package quick_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const reads = "12.3 V at fan 2 to batt-, "

// TestEveryOutcomeWord: each word that says what came of it, by itself. A word that
// came out the other way round would call a faulty thing good.
func TestEveryOutcomeWord(t *testing.T) {
	t.Parallel()
	for want, words := range map[eventv1.Outcome][]string{
		eventv1.Outcome_OUTCOME_PASS: {"pass", "passed", "passes", "ok", "okay", "good"},
		eventv1.Outcome_OUTCOME_FAIL: {
			"fail", "failed", "fails", "not ok", "not okay", "no pass", "not pass", "not passed", "did not pass", "does not pass", "didn't pass", "doesn't pass",
			"bad", "no good", "not good", "failed 1 of 3",
		},
		eventv1.Outcome_OUTCOME_INCONCLUSIVE: {"inconclusive", "unclear", "not conclusive", "proves nothing"},
	} {
		for _, w := range words {
			p, err := quick.Parse(reads+w, context())
			require.NoError(t, err, w)
			require.Equal(t, want, p.Event.GetReading().GetOutcome(), w)
		}
	}
	for _, w := range []string{"pass, failed 1 of 3", "failed 1 of 3, pass", "inconclusive, ok"} {
		_, err := quick.Parse(reads+w, context())
		require.Error(t, err, w)
	}
	p, err := quick.Parse("test feed is good, covers fan 2, fail", context())
	require.NoError(t, err)
	require.Equal(t, eventv1.Outcome_OUTCOME_FAIL, p.Event.GetTest().GetOutcome(), "a judgement counts only by itself")
	_, err = quick.Parse("test fan motor, good brushes", context())
	require.ErrorContains(t, err, "what came of it is missing")
}

// TestEveryConditionWord: each way to say what the key, the command and the concern
// were.
func TestEveryConditionWord(t *testing.T) {
	t.Parallel()
	for want, words := range map[eventv1.KeyPosition][]string{
		eventv1.KeyPosition_KEY_POSITION_OFF:       {"key off", "ignition off"},
		eventv1.KeyPosition_KEY_POSITION_ACCESSORY: {"key acc", "key accessory", "key in accessory", "ignition accessory"},
		eventv1.KeyPosition_KEY_POSITION_ON:        {"key on", "ignition on", "key on engine off"},
		eventv1.KeyPosition_KEY_POSITION_READY:     {"ready", "key ready"},
		eventv1.KeyPosition_KEY_POSITION_CRANKING:  {"cranking", "engine cranking", "while cranking", "key cranking"},
		eventv1.KeyPosition_KEY_POSITION_RUNNING:   {"running", "engine running", "with engine running", "key running"},
		eventv1.KeyPosition_KEY_POSITION_DRIVING:   {"driving", "while driving", "key driving"},
	} {
		for _, w := range words {
			p, err := quick.Parse(reads+w, context())
			require.NoError(t, err, w)
			require.Equal(t, want, p.Event.GetReading().GetConditions().GetKey(), w)
		}
	}
	for want, words := range map[eventv1.Presence][]string{
		eventv1.Presence_PRESENCE_PRESENT:   {"concern present", "acting up", "while acting up"},
		eventv1.Presence_PRESENCE_ABSENT:    {"concern absent", "concern not present", "not acting up", "not acting up now"},
		eventv1.Presence_PRESENCE_NOT_KNOWN: {"concern not known"},
	} {
		for _, w := range words {
			p, err := quick.Parse(reads+w, context())
			require.NoError(t, err, w)
			require.Equal(t, want, p.Event.GetReading().GetConcern(), w)
		}
	}
	for want, words := range map[eventv1.Command][]string{
		eventv1.Command_COMMAND_ON:  {"commanded", "commanded on", "fan commanded", "fan commanded on"},
		eventv1.Command_COMMAND_OFF: {"not commanded", "commanded off", "uncommanded", "fan commanded off", "fan not commanded"},
	} {
		for _, w := range words {
			p, err := quick.Parse(reads+w, context())
			require.NoError(t, err, w)
			require.Equal(t, want, p.Event.GetReading().GetConditions().GetCommanded(), w)
		}
	}
	for _, w := range []string{
		"key on, key off", "acting up, not acting up", "commanded, not commanded", "fan commanded, fan commanded off", "at 8 A, at 9 A", "at 20 C, at 30 C",
		"supply 12.6 V, supply 12.5 V", "supply 12.6 A",
	} {
		_, err := quick.Parse(reads+w, context())
		require.Error(t, err, w)
	}
}

// TestSameState takes over all that the line does not say itself.
func TestSameState(t *testing.T) {
	t.Parallel()
	volts := &eventv1.Quantity{Digits: "12.6", Unit: "V"}
	amps := &eventv1.Quantity{Digits: "8", Unit: "A"}
	ctx := context()
	ctx.Conditions = &eventv1.Conditions{
		Key: eventv1.KeyPosition_KEY_POSITION_RUNNING, Commanded: eventv1.Command_COMMAND_ON, Supply: volts, Current: amps,
		Unplugged: []string{"C4"}, Jumped: []string{"30-87"}, Loaded: []string{"fan motor"}, Said: "hot",
	}
	p, err := quick.Parse(reads+"same state, C3 unplugged, at 9 A, cold", ctx)
	require.NoError(t, err)
	c := p.Event.GetReading().GetConditions()
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_RUNNING, c.GetKey())
	require.Equal(t, eventv1.Command_COMMAND_ON, c.GetCommanded())
	require.Equal(t, "12.6", c.GetSupply().GetDigits())
	require.Equal(t, "9", c.GetCurrent().GetDigits(), "what the line says itself stands")
	require.Equal(t, []string{"C4", "C3"}, c.GetUnplugged())
	require.Equal(t, []string{"30-87"}, c.GetJumped())
	require.Equal(t, []string{"fan motor"}, c.GetLoaded())
	require.Equal(t, "hot, cold", c.GetSaid())
}
