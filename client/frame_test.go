package client

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// records frames n events of their own and returns the file and where each record
// ends.
func records(t require.TestingT, n int) (file []byte, ends []int, events []*eventv1.Signed) {
	file = []byte(oldMagic)
	for i := range n {
		e := &eventv1.Signed{Event: bytes.Repeat([]byte{byte(i + 1)}, 20+7*i), Signature: []byte{byte(i), 9}}
		f, err := frameEvents(e)
		require.NoError(t, err)
		file = append(file, f...)
		ends = append(ends, len(file))
		events = append(events, e)
	}
	return file, ends, events
}

func equal(t require.TestingT, want, got []*eventv1.Signed) {
	require.Len(t, got, len(want))
	for i := range want {
		require.True(t, proto.Equal(want[i], got[i]), "event %d", i)
	}
}

// TestPendingCutAnywhere: whatever a torn write leaves, whole records before it
// are used and the rest is kept aside.
func TestPendingCutAnywhere(t *testing.T) {
	t.Parallel()
	file, ends, events := records(t, 4)
	for cut := len(oldMagic); cut <= len(file); cut++ {
		whole := 0
		for whole < len(ends) && ends[whole] <= cut {
			whole++
		}
		got, aside := readPending(file[:cut])
		equal(t, events[:whole], got)
		start := len(oldMagic)
		if whole > 0 {
			start = ends[whole-1]
		}
		require.Equal(t, string(file[start:cut]), string(aside), "cut at %d", cut)
	}
}

// TestPendingFlippedAnywhere: a flipped bit costs at most the record it is in, and
// never turns into another event.
func TestPendingFlippedAnywhere(t *testing.T) {
	t.Parallel()
	file, ends, events := records(t, 4)
	for at := len(oldMagic); at < len(file); at++ {
		for bit := range 8 {
			bad := bytes.Clone(file)
			bad[at] ^= 1 << bit
			hit := 0
			for ends[hit] <= at {
				hit++
			}
			want := append(append([]*eventv1.Signed{}, events[:hit]...), events[hit+1:]...)
			got, aside := readPending(bad)
			equal(t, want, got)
			require.NotEmpty(t, aside)
		}
	}
}

// TestFramesAreFoundAnywhere: among other bytes, and with those of other kinds,
// every whole frame is found and no other.
func TestFramesAreFoundAnywhere(t *testing.T) {
	t.Parallel()
	_, _, events := records(t, 3)
	var b []byte
	for i, e := range events {
		f, err := frameEvents(e)
		require.NoError(t, err)
		end, err := frame(endMark, []byte{byte(i)})
		require.NoError(t, err)
		b = append(append(append(append(b, "rec\nend\nref\n noise"...), f...), end[:len(end)-1]...), end...)
	}
	no, err := frame(trayMark, []byte("no"))
	require.NoError(t, err)
	b = append(b, no...)
	b = append(b, no[:5]...)
	var f found
	f.look(b)
	equal(t, events, f.events)
	require.Equal(t, [][]byte{{0}, {1}, {2}}, f.ends)
	require.Equal(t, [][]byte{[]byte("no")}, f.refused)
}

func TestPendingGroupsAreAllOrNothing(t *testing.T) {
	t.Parallel()
	_, _, events := records(t, 3)
	group, err := frameEvents(events...)
	require.NoError(t, err)
	file := append([]byte(oldMagic), group...)
	got, aside := readPending(file)
	equal(t, events, got)
	require.Empty(t, aside)
	for cut := range len(group) {
		got, _ = readPending(file[:len(oldMagic)+cut])
		require.Empty(t, got)
	}
}

func TestPendingAnyRecordsRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.SliceOf(rapid.SliceOfN(rapid.Byte(), 0, 200)), 0, 6).Draw(t, "groups")
		file := []byte(oldMagic)
		var want []*eventv1.Signed
		for _, group := range sizes {
			var es []*eventv1.Signed
			for _, b := range group {
				es = append(es, &eventv1.Signed{Event: b, Signature: []byte("rec\n")})
			}
			f, err := frameEvents(es...)
			require.NoError(t, err)
			file, want = append(file, f...), append(want, es...)
		}
		got, aside := readPending(file)
		require.Empty(t, aside)
		equal(t, want, got)
	})
}

// FuzzPending: any bytes are read without a panic, and every byte is either part
// of a whole record or kept aside.
func FuzzPending(f *testing.F) {
	file, ends, _ := records(f, 3)
	f.Add(file)
	f.Add(file[:ends[1]+5])
	f.Add(append(bytes.Clone(file[:ends[0]]), file[ends[1]:]...))
	f.Add([]byte("rec\n\xff\xff\xff\xff\x00\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		events, aside := readPending(b)
		again := []byte(oldMagic)
		for _, e := range events {
			fr, err := frameEvents(e)
			require.NoError(t, err)
			again = append(again, fr...)
		}
		kept, none := readPending(again)
		require.Empty(t, none)
		equal(t, events, kept)
		require.LessOrEqual(t, len(aside), len(b))
	})
}
