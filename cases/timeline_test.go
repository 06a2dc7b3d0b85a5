package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/scenario"
)

func TestMarks(t *testing.T) {
	t.Parallel()
	s := read(t, opening+`note text=a before-opening
note text=b after=#1
note text=c after=#99
note text=d
note text=e
`)
	s.Records[4].Event.ObservedThrough = 2
	s.Records[4].Event.Device, s.Records[4].Entry.Device = scenario.PersonID("jo"), scenario.PersonID("jo")
	s.Records[5].Strange = true
	c, err := s.Case()
	require.NoError(t, err)
	for seq, want := range map[uint64][]string{
		1: nil,
		2: {"placed afterwards: before the opening"},
		3: {"placed afterwards: after #1"},
		4: {"waits for its place: after " + c.Ref(scenario.EntryID(99))},
		5: {"late: its writer had not seen 2 earlier"},
		6: {"not understood here"},
	} {
		require.Equal(t, want, c.Row(c.Step(seq), nil).Marks, "#%d", seq)
	}
}

// TestQueryByWhenItHappened goes by when the log took what nobody dated.
func TestQueryByWhenItHappened(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=a happened=\"some time in autumn\"\nnote text=b happened=2026-02-01")
	c, err := s.Case()
	require.NoError(t, err)
	q, err := cases.ParseQuery("since:2026-03-01", noon)
	require.NoError(t, err)
	rows := c.Timeline(q, nil)
	require.Len(t, rows, 2)
	require.Equal(t, uint64(2), rows[1].Step.Seq)
}

// TestQueryFindsMoreThanTheText: also marks, what a correction says now, and who
// wrote down what another said.
func TestQueryFindsMoreThanTheText(t *testing.T) {
	t.Parallel()
	s := read(t, opening+`note text="brown wire" before-opening
jo@south: note text=loud by=customer
mara@north: note text=green
`)
	s.Records = append(s.Records, correct(t, s, 4, note("violet")))
	c, err := s.Case()
	require.NoError(t, err)
	mara := scenario.PersonID("mara")
	for text, want := range map[string][]uint64{
		"text:\"placed afterwards\"":          {2},
		"violet kind:note":                    {4},
		"who:jo":                              {3},
		"by:customer":                         {3},
		"KIND:note":                           {2, 3, 4},
		"who:" + mara[len(mara)-6:]:           {1, 2, 4},
		"who:…" + mara[len(mara)-6:]:          {1, 2, 4},
		"who:" + mara[len(mara)-5:]:           nil,
		"as-of:4 kind:correction":             nil,
		"as-of:4 violet":                      nil,
		"as-of:5 violet kind:note":            {4},
		"kind:kind-9000":                      nil,
		"until:2026-03-02T08:10:00Z":          {1, 2},
		"kind:note as-of:99 from:3 order:log": {3, 4},
	} {
		q, err := cases.ParseQuery(text, noon)
		require.NoError(t, err, text)
		var got []uint64
		for _, r := range c.Timeline(q, s.Names) {
			got = append(got, r.Step.Seq)
		}
		require.Equal(t, want, got, text)
	}
}
