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
		`{"not_named": 2}`: "not_named: 2", `{"notnamed": 0.1}`: "unknown field", `{"tests": {"dorp": {}}}`: "no manner of testing",
		`{"costs": {"drop": {"minutes": 0}}}`: "the cost of drop", `{"new": -1}`: "new: -1", `{`: "unexpected",
	} {
		before := suspect.Default()
		require.ErrorContains(t, before.Change([]byte(text)), says, text)
		require.True(t, reflect.DeepEqual(suspect.Default(), before), "%s changed something", text)
	}
	require.Equal(t, table.Kind("fan relays").Prior, table.Kind("relay").Prior, "the last word tells the kind")
}
