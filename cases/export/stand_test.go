package export

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestWhoItCannotHaveBeen: each of the ways in which an entry may not hold says who
// stands by what is there.
func TestWhoItCannotHaveBeen(t *testing.T) {
	t.Parallel()
	reshaped := func(l *Line, change func(e *eventv1.Entry)) {
		e := new(eventv1.Entry)
		require.NoError(t, proto.Unmarshal(l.Entry, e))
		change(e)
		var err error
		l.Entry, err = proto.Marshal(e)
		require.NoError(t, err)
	}
	other := bytes.Replace(made(t, 4, 0).Lines[1].Event, []byte("note 1"), []byte("note 9"), 1)
	for name, c := range map[string]struct {
		change func(x *Export)
		says   []string
	}{
		"the event's bytes": {func(x *Export) { x.Lines[1].Event = other }, []string{"the log stands by other bytes", "changed in this copy", "1970-01-01T00:00:01Z", "neither with its key nor with that of device"}},
		"its time":          {func(x *Export) { reshaped(&x.Lines[1], func(e *eventv1.Entry) { e.Recorded.UnixSeconds++ }) }, []string{"signed these words", "does not hold the entry", "not by device"}},
		"its words and their hash": {func(x *Export) {
			x.Lines[1].Event = other
			reshaped(&x.Lines[1], func(e *eventv1.Entry) { e.EventHash = envelope.Hash(other) })
		}, []string{"neither the log, as it stood with 8 entries, nor device", "somebody with neither key"}},
		"bytes and time": {func(x *Export) {
			x.Lines[1].Event = other
			reshaped(&x.Lines[1], func(e *eventv1.Entry) { e.Recorded.UnixSeconds++ })
		}, []string{"signed other words in this place"}},
		"the checkpoint": {func(x *Export) { x.Head.Checkpoint = ""; x.Lines[1].Event = other }, []string{"nobody can say"}},
		"the proof":      {func(x *Export) { x.Lines[1].Proof = nil }, []string{"nobody can say"}},
		"the key, and who stands by it is the log": {func(x *Export) { x.Head.Devices = x.Head.Devices[:1] }, []string{"the log holds the entry as it is here"}},
		"the key of another, as the log's keeper would": {func(x *Export) { x.Head.Devices[1].Key = x.Head.Devices[0].Key },
			[]string{"the log holds it and", "did not sign it", "somebody who could write in the server's log"}},
		"the view alone": {func(x *Export) { x.Lines[1].View = []byte(`{"note":{"text":"note 9"}}`) }, []string{"the log holds the entry as it is here"}},
	} {
		x := made(t, 4, 0)
		x.Head.People = nil
		c.change(x)
		var at []Problem
		for _, p := range Verify(x, "").Problems {
			if p.Line == 3 {
				at = append(at, p)
			}
		}
		require.NotEmpty(t, at, name)
		for _, want := range c.says {
			require.Contains(t, at[0].Says, want, name)
		}
	}
	x := made(t, 4, 0)
	x.Head.People = append(x.Head.People, Person{Person: id(12), Name: "Timo"})
	x.Lines[1].Event = other
	require.Contains(t, Verify(x, "").Problems[0].Says, "Timo's device")
}
