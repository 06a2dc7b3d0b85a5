package client

import (
	"encoding/binary"
	"hash/crc32"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// TestOutboxLayout holds what waits to doc.go, byte for byte: what waits since
// before an update must be read after it.
func TestOutboxLayout(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	saved, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "a"))
	require.NoError(t, err)
	payload, err := proto.Marshal(&boardv1.AppendRequest{Events: saved})
	require.NoError(t, err)
	length := binary.BigEndian.AppendUint32(nil, uint32(len(payload)))
	crc := crc32.Checksum(append(length, payload...), crc32.MakeTable(crc32.Castagnoli))
	want := "rec\n" + string(length) + string(binary.BigEndian.AppendUint32(nil, crc)) + string(payload)
	for key, value := range map[string]string{
		"out/\x00\x00\x00\x00\x00\x00\x00\x00" + stream: want,
		"out": "\x00\x00\x00\x00\x00\x00\x00\x01",
	} {
		got, err := h.replica.Get(t.Context(), key)
		require.NoError(t, err)
		require.Equal(t, value, string(got))
	}
	for _, dir := range []string{"replica/log", "replica/count", "replica/host"} {
		_, err := os.Stat(h.path(dir))
		require.NoError(t, err)
	}
}
