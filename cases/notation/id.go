package notation

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// CheckID refuses what is not a UUIDv7 in lower case with hyphens
// (RFC 9562, 5.7): 8-4-4-4-12 hexadecimal digits, version 7, variant 10.
func CheckID(s string) error {
	if err := checkUUID(s); err != nil {
		return err
	}
	if s[14] != '7' {
		return fmt.Errorf("%q is a UUID of version %c; a version 7 one is needed", s, s[14])
	}
	return nil
}

// checkUUID takes any version of the RFC 9562 variant.
func checkUUID(s string) error {
	if len(s) != 36 {
		return fmt.Errorf("%q is not a UUID: it has %d characters and needs 36", clip(s), len(s))
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case i == 8 || i == 13 || i == 18 || i == 23:
			if c != '-' {
				return fmt.Errorf("%q is not a UUID: character %d is %q and should be a hyphen", s, i+1, c)
			}
		case c >= '0' && c <= '9' || c >= 'a' && c <= 'f':
		case c >= 'A' && c <= 'F':
			return fmt.Errorf("%q is not a UUID as kept here: use lower case (character %d)", s, i+1)
		default:
			return fmt.Errorf("%q is not a UUID: character %d is %q and should be a hexadecimal digit", s, i+1, c)
		}
	}
	if !strings.ContainsRune("89ab", rune(s[19])) {
		return fmt.Errorf("%q is not a UUID of RFC 9562: character 20 is %q and should be 8, 9, a or b", s, s[19])
	}
	return nil
}

// ShortID is the end of an id, by which people refer to it: its random part,
// since ids minted in one minute begin alike.
func ShortID(id string) string {
	if len(id) < 6 {
		return id
	}
	return id[len(id)-6:]
}

// ShortHash is how a SHA-256 stands in a text: its first twelve hex digits, enough to
// tell files apart; the whole of it stands in what machines read.
func ShortHash(sum []byte) string { return hex.EncodeToString(sum[:min(6, len(sum))]) }

func clip(s string) string {
	if len(s) > 60 {
		return s[:57] + "..."
	}
	return s
}
