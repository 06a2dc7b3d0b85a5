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

// TestPendingLayout holds the pending file to doc.go, byte for byte: what waits
// since before an update must be read after it.
func TestPendingLayout(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	saved, err := h.Save(who, Stamp{At: h.now()}, aNote(newUUID(), "a"))
	require.NoError(t, err)
	payload, err := proto.Marshal(&boardv1.AppendRequest{Events: saved})
	require.NoError(t, err)
	length := binary.BigEndian.AppendUint32(nil, uint32(len(payload)))
	crc := crc32.Checksum(append(length, payload...), crc32.MakeTable(crc32.Castagnoli))
	want := "knowngood wait 1" + "rec\n" + string(length) + string(binary.BigEndian.AppendUint32(nil, crc)) + string(payload)
	got, err := os.ReadFile(h.path("pending"))
	require.NoError(t, err)
	require.Equal(t, want, string(got))
}
