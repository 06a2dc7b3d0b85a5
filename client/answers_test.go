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
		waiting, err := h.Pending()
		require.NoError(t, err)
		require.Len(t, waiting, 2, name)
	}
}

// TestANumberThatIsTakenEndsNoChain: of a number that another event has, this home
// learns nothing about its own chain.
func TestANumberThatIsTakenEndsNoChain(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	saved, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "a"))
	require.NoError(t, err)
	for range 2 { // a crash in between leaves the line twice
		_, err = h.settle(who.Device, []Answer{{saved[0], &boardv1.AppendResult{Reason: boardv1.Reason_REASON_DEVICE_NUMBER, Text: "used"}}})
		require.NoError(t, err)
	}
	ends := make(map[string]link)
	require.NoError(t, h.load("chains.json", &ends))
	require.Empty(t, ends)
	tray, err := h.Tray()
	require.NoError(t, err)
	require.Len(t, tray, 1, "the tray lists an event once")
}
