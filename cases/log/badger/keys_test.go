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
		"p\x00\x00\x00\x00\x00\x00\x01\x02":               placeKey(kindPlace, 258),
		"x\x00\x00\x00\x00\x00\x00\x00\x07":               placeKey(kindErased, 7),
		"r\x00\x04case\x00\x00\x00\x00\x00\x00\x00\x05":   positionKey(kindRecord, "case", 5),
		"f\x00\x06shop/1\x00\x00\x00\x00\x00\x00\x00\x05": positionKey(kindFeed, "shop/1", 5),
		"iid/x":           indexKey("id/x"),
		"mf":              keyFormat,
		"ms":              keySum,
		"mx":              keyScrub,
		"knowngood log 2": []byte(format),
		"\x00\x00\x00\x00\x00\x00\x00\x03\x00\x04hash\x00\x00\x00\x05entryevent": recordValue(log.Record{
			Index: 3, Seq: 9, Stream: "case", Entry: []byte("entry"), Event: []byte("event"), Tree: []byte("hash")}),
		"\x00\x00\x00\x00\x00\x00\x00\x09case": spotValue("case", 9),
	} {
		require.Equal(t, want, string(key))
	}
}
