package server

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestTable: the reports of a server rest on the table it was opened with.
func TestTable(t *testing.T) {
	t.Parallel()
	sure := suspect.Default()
	require.NoError(t, sure.Change([]byte(`{"not_named": 1e-9}`)))
	likeliest := func(o Options) string {
		w := newWorld(t, o)
		m := w.shopOwner("One (invented)")
		stream := m.opens()
		m.put(stream, &eventv1.Event{Kind: &eventv1.Event_Test{Test: &eventv1.Test{
			What: "worked it", Covers: []*eventv1.Covered{{Component: "horn", Extent: eventv1.Extent_EXTENT_WHOLE}}, Outcome: eventv1.Outcome_OUTCOME_FAIL,
		}}})
		r, err := m.board.Brief(m.ctx(), &boardv1.BriefRequest{Stream: stream})
		require.NoError(t, err)
		for _, s := range r.GetSections() {
			if s.GetTitle() == "What would explain it" {
				return strings.Join([]string{s.GetLines()[0].GetText(), s.GetLines()[0].GetMark()}, " ")
			}
		}
		return ""
	}
	plain, changed := likeliest(Options{}), likeliest(Options{Table: &sure})
	require.Contains(t, plain, "horn")
	require.Contains(t, changed, "horn over 99 %")
	require.NotEqual(t, plain, changed)
}
