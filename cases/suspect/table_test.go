package suspect_test

import (
	"encoding/json"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

func TestTableIsChangedOrLeftAlone(t *testing.T) {
	t.Parallel()
	table := suspect.Default()
	whole, err := json.Marshal(table)
	require.NoError(t, err)
	require.NoError(t, table.Change(whole))
	require.Equal(t, suspect.Default(), table, "what is printed can be read back")
	require.NoError(t, table.Change([]byte(`{"not_named": 0.1, "costs": {"drop": {"minutes": 3, "risk": 0}}}`)))
	require.InDelta(t, 0.1, table.NotNamed, 0)
	require.InDelta(t, 3, table.Costs[suspect.Drop].Minutes, 0)
	require.Equal(t, suspect.Default().Costs[suspect.Bench], table.Costs[suspect.Bench])
	for text, says := range map[string]string{
		`{"not_named": 2}`:        "line 1: not_named: 2, want more than 0 and less than 1",
		"{\n\"notnamed\": 0.1}":   `line 2: unknown field "notnamed"; there are costs, exchange, intermittent, kinds,`,
		`{"tests": {"dorp": {}}}`: `line 1: tests: unknown field "dorp"; there are amps, any, bench, bypass,`,
		`{"kinds": [{"words": ["a"], "prior": 0.1, "tests": ["dorp"]}]}`: `line 1: kinds, entry 1, tests, entry 1: "dorp" is no manner of testing; there are any, function,`,
		"{\"costs\": {\"drop\": {\n\"minutes\": 0, \"risk\": 1}}}":       "line 2: costs, drop, minutes: 0, want more than 0",
		`{"costs": {"drop": {"minutes": 3}}}`:                            "line 1: costs, drop: risk is missing; a cost is given whole: minutes, risk",
		"{\"tests\": {\"drop\": {\n\"false_pass\": 0.1}}}":               "line 2: tests, drop: false_fail is missing; a test is given whole: false_fail, false_pass, false_pass_mostly, not_named",
		`{"new": -1}`:                        "line 1: new: -1, want more than 0 and at most 10",
		"{":                                  "line 1: the text ends too early",
		"{\n\"not_named\":\n":                "line 2: the text ends too early",
		"{\"not_named\": \"half\"}":          `line 1: not_named: a number belongs here, more than 0 and less than 1, without quotes, not "half"`,
		"{\"kinds\":\n{}}":                   "line 2: kinds: a list in square brackets belongs here, not '{'",
		"[]":                                 "line 1: an object in braces belongs here, not '['",
		"{\"not_named\": 0.1}\n\n{}":         "line 3: something follows the closing '}'",
		"{\"not_named\": 0.1}\nthen":         "line 2: something follows the closing '}'",
		"{\n\"not_named\": 0.1,\n}":          "line 3: not written as JSON",
		"{\n\"not_named\": 0.1\n\"new\": 1}": "line 3: not written as JSON",
		"{not_named: 1}":                     "line 1: not written as JSON",
		`{"new": 1, "new": 2}`:               "line 1: new is given twice",
		`{"new": null}`:                      "line 1: new: a number belongs here",
		`{"kinds": [{"words": [], "prior": 0.1, "tests": ["drop"]}]}`:      "line 1: kinds, entry 1: words is empty; a kind is told by one word at least",
		`{"kinds": [{"words": ["fan relay"], "prior": 0.1, "tests": []}]}`: "line 1: kinds, entry 1, words, entry 1: one word in double quotes",
		`{"kinds": [{"words": ["relay"], "tests": []}]}`:                   "line 1: kinds, entry 1: prior is missing; a kind is given whole: prior, tests, words",
		``: "line 1: the text ends too early",
	} {
		before := suspect.Default()
		err := before.Change([]byte(text))
		require.ErrorContains(t, err, says, text)
		for _, w := range []string{"struct", "json:", "EOF", "unmarshal"} {
			require.NotContains(t, err.Error(), w)
		}
		require.True(t, reflect.DeepEqual(suspect.Default(), before), "%s changed something", text)
	}
	require.NoError(t, table.Change([]byte("{\"kinds\": [{\"words\": [\"Relay\"], \"prior\": 0.3, \"tests\": [\"drop\"]}], \"steady\": {\"without_fault\": 0.1}}\n")))
	require.InDelta(t, 0.3, table.Kind("fan relay").Prior, 0)
	require.InDelta(t, suspect.Default().Steady.GoneWithFault, table.Steady.GoneWithFault, 0)
	require.Equal(t, table.Kind("fan relays").Prior, table.Kind("relay").Prior, "the last word tells the kind")
}
