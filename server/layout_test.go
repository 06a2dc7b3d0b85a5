package server

import (
	"crypto/pbkdf2"
	"crypto/sha256"
	"encoding/base64"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestLayout holds cursors and index keys to doc.go, byte for byte: readers keep
// the one, the log the other.
func TestLayout(t *testing.T) {
	t.Parallel()
	const id, other = "01900000-0000-7000-8000-0000000000ca", "01900000-0000-7000-8000-0000000000cb"
	const raw1, raw2 = "\x01\x90\x00\x00\x00\x00\x70\x00\x80\x00\x00\x00\x00\x00\x00\xca", "\x01\x90\x00\x00\x00\x00\x70\x00\x80\x00\x00\x00\x00\x00\x00\xcb"
	b, err := base64.RawURLEncoding.DecodeString(cursor{"00112233445566aa", 1, 258, id}.String())
	require.NoError(t, err)
	tag := sha256.Sum256([]byte(id))
	require.Equal(t, "\x01"+"\x00\x11\x22\x33\x44\x55\x66\xaa"+string(tag[:4])+"\x00\x00\x00\x00\x00\x00\x00\x01"+"\x00\x00\x00\x00\x00\x00\x01\x02", string(b))

	token := sha256.Sum256([]byte("token"))
	join, err := pbkdf2.Key(sha256.New, "K3QX09ZM7HTA", []byte("knowngood join 1"), 65536, 32)
	require.NoError(t, err)
	code, err := codeKey("K3QX-09ZM-7HTA")
	require.NoError(t, err)
	for want, key := range map[string]string{
		"id/" + raw1 + raw2: idKey(id, other),
		"number/" + raw1 + raw2 + "\x00\x00\x00\x00\x00\x00\x00\x05": numberKey(id, other, 5),
		"own/" + raw1:               ownKey(id),
		"refused/hash":              refusedKey([]byte("hash")),
		"token/" + string(token[:]): tokenKey("token"),
		"person/" + raw1:            personKey(id),
		"twice/" + raw1:             twiceKey(id),
		"code/" + string(join):      code,
		"shop/" + id:                feedOf(id),
	} {
		require.Equal(t, want, key)
	}
	require.Equal(t, "access", feedAccess)
	hash := sha256.Sum256([]byte("event"))
	require.Equal(t, "\x00\x00\x00\x00\x00\x00\x00\x05"+"\x00\x00\x00\x6f"+string(hash[:]), string(placed{5, 111, hash}.value()))
}
