package export

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"

	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestChainsOfDevices: a whole export in which a device's numbers do not follow
// each other, though each entry is signed and in the tree.
func TestChainsOfDevices(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change          func(e *eventv1.Event) // the second of the first device
		problem, remark string
	}{
		"prev of another event": {func(e *eventv1.Event) { e.Prev = bytes.Repeat([]byte{7}, 32) }, "prev does not name", ""},
		"a number twice":        {func(e *eventv1.Event) { e.DeviceSeq, e.Prev = 1, nil }, "uses number 1 again", ""},
		"a number missing":      {func(e *eventv1.Event) { e.DeviceSeq++ }, "", "has numbers missing before 3"},
		"a field from the future": {func(e *eventv1.Event) {
			e.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 99, protowire.VarintType), 1))
		}, "", "not wholly understood here"},
	} {
		v := Verify(madeWith(t, 3, 0, func(i int, e *eventv1.Event) {
			if i == 2 {
				c.change(e)
			}
		}), "")
		found, want := v.Remarks, c.remark
		if c.problem != "" {
			found, want = v.Problems, c.problem
		} else {
			require.Empty(t, v.Problems, name)
		}
		require.Len(t, found, 1, name)
		require.Equal(t, 4, found[0].Line, name)
		require.Contains(t, found[0].What, want, name)
	}
}

// TestTheKeyThatIsKnownRules: a file that brings its own key, and a checkpoint to
// it, does not pass where the log is known by another.
func TestTheKeyThatIsKnownRules(t *testing.T) {
	t.Parallel()
	v := Verify(made(t, 2, 0), log.Origin(logID)+"+00000000+AQ==")
	require.Len(t, v.Problems, 2)
	require.Contains(t, v.Problems[1].What, "key cannot be read", "the checkpoint is held against the known one")
}
