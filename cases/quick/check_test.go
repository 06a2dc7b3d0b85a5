package quick_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/check"
	"knowngood.example/cases/quick"
)

// TestUnderstoodIsAccepted: what a line makes, the checks on the way in do not
// refuse.
func TestUnderstoodIsAccepted(t *testing.T) {
	t.Parallel()
	for _, line := range accepted(t) {
		p, err := quick.Parse(line, context())
		require.NoError(t, err)
		p.Event.Id, p.Event.Stream, p.Event.Device, p.Event.RecordedBy = entryID(21), entryID(0), entryID(100), entryID(101)
		expect := uint64(21)
		p.Event.Expect = &expect
		for _, f := range check.Event(p.Event, check.Context{Now: context().Now, SystemVolts: 12, Currency: "EUR"}).Findings {
			if f.Severity == check.Refuse {
				t.Errorf("%s\n  %s %s: %s", line, f.Field, f.Wrong, f.Right)
			}
		}
	}
}
