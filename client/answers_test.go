package client

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// answers says the same of every request.
type answers []*boardv1.AppendResult

func (a answers) Append(context.Context, *boardv1.AppendRequest, ...grpc.CallOption) (*boardv1.AppendResponse, error) {
	return &boardv1.AppendResponse{Results: a}, nil
}

func (a answers) Consistency(context.Context, *boardv1.ConsistencyRequest, ...grpc.CallOption) (*boardv1.ConsistencyResponse, error) {
	return nil, nil
}

// TestAnswersThatDoNotFit: what a server does not clearly say was taken or refused
// goes on waiting.
func TestAnswersThatDoNotFit(t *testing.T) {
	t.Parallel()
	for name, a := range map[string]answers{
		"none":               {},
		"too few":            {{Seq: 1}},
		"too many":           {{Seq: 1}, {Seq: 2}, {Seq: 3}},
		"taken, at no place": {{}, {}},
	} {
		h, who := testHome(t), testIdentity(t)
		stream := newUUID()
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "a"), aNote(stream, "b"))
		require.NoError(t, err)
		sent, err := h.Push(t.Context(), who, a)
		require.Error(t, err, name)
		require.Equal(t, 2, sent.Waiting, name)
		require.Empty(t, sent.Taken, name)
		require.Len(t, pending(t, h), 2, name)
	}
}

// TestRefusedTwiceIsListedOnce: what a crash, or a damaged log, lets be refused a
// second time is one entry of the tray, and stays settled once it was.
func TestRefusedTwiceIsListedOnce(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(newUUID(), "a"))
	require.NoError(t, err)
	waiting := pending(t, h)
	refuses := answers{{Reason: boardv1.Reason_REASON_DEVICE_NUMBER, Text: "used"}}
	for range 2 {
		_, err = h.Push(t.Context(), who, refuses)
		require.NoError(t, err)
		require.Empty(t, pending(t, h))
		tray, err := h.Tray()
		require.NoError(t, err)
		require.Len(t, tray, 1)
		require.NoError(t, h.Pass(waiting))
	}
	tray, err := h.Tray()
	require.NoError(t, err)
	require.NoError(t, h.Settled(tray[0].ID, newUUID()))
	_, err = h.Push(t.Context(), who, refuses)
	require.NoError(t, err)
	tray, err = h.Tray()
	require.NoError(t, err)
	require.Empty(t, tray)
}
