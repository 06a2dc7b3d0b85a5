package notation

import (
	"fmt"
	"strconv"
	"strings"
)

// Control says who gives a trouble code its meaning.
type Control string

// Who gives a code its meaning. Varies: it depends on the edition of the
// standard.
const (
	ByStandard Control = "a standard"
	ByMaker    Control = "the maker"
	Reserved   Control = "reserved"
	Varies     Control = "depends on the edition"
)

// DecodeCode is the text of a trouble code of two bytes (structure of SAE J2012):
// two bits for the letter (P, C, B, U), two for the first digit, then three
// hexadecimal digits. 0x0143 is P0143, 0xC158 is U0158.
func DecodeCode(code uint16) string {
	return fmt.Sprintf("%c%d%03X", "PCBU"[code>>14], code>>12&3, code&0xFFF)
}

// EncodeCode is the two bytes of a trouble code as text, in either case.
func EncodeCode(text string) (uint16, error) {
	s := strings.ToUpper(strings.TrimSpace(text))
	if len(s) != 5 {
		return 0, fmt.Errorf("%q is not a trouble code: a letter and four digits, as P0480", clip(text))
	}
	letter := strings.IndexByte("PCBU", s[0])
	if letter < 0 {
		return 0, fmt.Errorf("%q is not a trouble code: it begins with P, C, B or U", text)
	}
	if s[1] < '0' || s[1] > '3' {
		return 0, fmt.Errorf("%q is not a trouble code: its first digit is %c and can be 0 to 3", text, s[1])
	}
	low, err := strconv.ParseUint(s[2:], 16, 12)
	if err != nil || strings.ContainsAny(s[2:], "+-_") {
		return 0, fmt.Errorf("%q is not a trouble code: its last three digits are hexadecimal, 0 to F", text)
	}
	return uint16(letter)<<14 | uint16(s[1]-'0')<<12 | uint16(low), nil
}

// ControlOf says who gives the code its meaning, from its first digits alone (SAE
// J2012, from memory): the standard P0, P2, P34 to P3F, B0, C0 and U0; the maker
// P1, P30 to P33, B1, B2, C1, C2, U1 and U2; B3 and C3 are reserved; U3 depends on
// the edition. What a code means is for the maker's service information to say.
func ControlOf(code uint16) Control {
	digit, next := code>>12&3, code>>8&0xF
	switch letter := "PCBU"[code>>14]; {
	case digit == 0, letter == 'P' && digit == 2, letter == 'P' && digit == 3 && next >= 4:
		return ByStandard
	case letter == 'U' && digit == 3:
		return Varies
	case letter != 'P' && digit == 3:
		return Reserved
	}
	return ByMaker
}
