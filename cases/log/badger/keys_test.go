package badger

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
)

// TestLayout holds the keys and values to doc.go, byte for byte: a log that was
// written lies there in this form.
func TestLayout(t *testing.T) {
	t.Parallel()
	for want, key := range map[string][]byte{
		"E\x00\x00\x00\x00\x00\x00\x01\x02":               placeKey(kindEntry, 258),
		"V\x00\x00\x00\x00\x00\x00\x00\x00":               placeKey(kindEvent, 0),
		"X\x00\x00\x00\x00\x00\x00\x00\x07":               placeKey(kindErased, 7),
		"s\x00\x04case\x00\x00\x00\x00\x00\x00\x00\x05":   positionKey(kindStream, "case", 5),
		"f\x00\x06shop/1\x00\x00\x00\x00\x00\x00\x00\x05": positionKey(kindFeed, "shop/1", 5),
		"iid/x":           indexKey("id/x"),
		"mf":              keyFormat,
		"ms":              keySum,
		"mx":              keyScrub,
		"knowngood log 1": []byte(format),
		"\x00\x00\x00\x00\x00\x00\x00\x03\x00\x04caseentry": entryValue(log.Record{Seq: 3, Stream: "case", Entry: []byte("entry")}),
	} {
		require.Equal(t, want, string(key))
	}
}
