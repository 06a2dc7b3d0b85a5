package client

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/check"
	"knowngood.example/cases/log"
)

// endless gives zeros.
type endless struct{}

func (endless) Read(b []byte) (int, error) { return len(b), nil }

// broken fails in the middle.
type broken struct{ left int }

func (r *broken) Read(b []byte) (int, error) {
	if r.left -= len(b); r.left < 0 {
		return 0, errors.New("the stick was pulled")
	}
	return len(b), nil
}

// TestKeepFile: what cannot be kept whole is not kept at all, and says why.
func TestKeepFile(t *testing.T) {
	t.Parallel()
	h, stream := testHome(t), newUUID()
	kept := func() int {
		list, err := filepath.Glob(filepath.Join(h.path(fileParts), stream, "*"))
		require.NoError(t, err)
		return len(list)
	}
	for says, from := range map[string]io.Reader{
		"it is empty":          bytes.NewReader(nil),
		"more than 256 MiB":    endless{},
		"the stick was pulled": &broken{left: 3 * filePart},
	} {
		_, err := h.KeepFile(stream, from)
		require.ErrorContains(t, err, says)
		require.Zero(t, kept(), says)
	}
	h.fileReserve = math.MaxInt64
	_, err := h.KeepFile(stream, bytes.NewReader([]byte("a photograph")))
	require.ErrorIs(t, err, log.ErrFull)
	require.Zero(t, kept())
	h.fileReserve = 1
	a, err := h.KeepFile(stream, bytes.NewReader([]byte("a photograph")))
	require.NoError(t, err)
	require.Equal(t, uint64(12), a.GetSize())
	_, err = h.KeepFile(stream, bytes.NewReader([]byte("a photograph")))
	require.NoError(t, err, "the same once more is one file")
	require.Equal(t, 1, kept())
	waiting, err := h.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Len(t, waiting, 1)
	require.Equal(t, a.GetSha256(), waiting[0].SHA256)
	// What others lay there is not taken for a file of ours.
	require.NoError(t, os.WriteFile(filepath.Join(h.path(fileParts), stream, "notes.txt"), []byte("x"), 0o600))
	require.NoError(t, os.MkdirAll(filepath.Join(h.path(fileParts), "no case"), 0o700))
	waiting, err = h.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Len(t, waiting, 1)
	require.Equal(t, 256<<20, check.MaxFile)
}
