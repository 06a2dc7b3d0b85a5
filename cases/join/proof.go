package join

import (
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/sha256"
	"fmt"
	"strings"
)

// What a channel is exported from a TLS connection with.
const (
	ChannelLabel = "EXPERIMENTAL knowngood join 1"
	ChannelSize  = 32
)

const (
	salt   = "knowngood join 1"
	rounds = 1 << 16
)

// Key is what is derived from a code, and known only to those who have it.
type Key []byte

// KeyOf derives the key of a code in groups, as ParseCode returns it. It takes some
// milliseconds, by intent.
func KeyOf(code string) (Key, error) {
	k, err := pbkdf2.Key(sha256.New, strings.ReplaceAll(code, "-", ""), []byte(salt), rounds, sha256.Size)
	if err != nil {
		return nil, fmt.Errorf("the key of a join code: %w", err)
	}
	return k, nil
}

// DeviceProof is what a device shows that knows the code.
func (k Key) DeviceProof(channel []byte) []byte { return k.proof("device\n", channel) }

// ServerProof is what the server shows then.
func (k Key) ServerProof(channel []byte) []byte { return k.proof("server\n", channel) }

// LogClaim is what the key of a server's log signs, for a device that knows that key.
func LogClaim(channel []byte) []byte { return append([]byte("knowngood/meet/1\n"), channel...) }

func (k Key) proof(by string, channel []byte) []byte {
	h := hmac.New(sha256.New, k)
	h.Write([]byte(by))
	h.Write(channel)
	return h.Sum(nil)
}
