package join

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Alphabet leaves out I, L, O and U, which are misread or misheard.
const Alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

const (
	// CodeLetters is how many letters a code has, of 5 bits each.
	CodeLetters = 12
	group       = 4
	example     = "K3QX-09ZM-7HTA"
)

// NewCode is the code that random bytes make, one for each letter.
func NewCode(random [CodeLetters]byte) string {
	letters := make([]byte, CodeLetters)
	for i, r := range random {
		letters[i] = Alphabet[r%32]
	}
	return grouped(string(letters))
}

func grouped(letters string) string {
	return letters[:group] + "-" + letters[group:2*group] + "-" + letters[2*group:]
}

// ParseCode reads a code as people type it and returns it in groups. The error says
// which letter is none, or how many there are.
func ParseCode(typed string) (string, error) {
	var b strings.Builder
	for i, r := range typed {
		if r == ' ' || r == '-' {
			continue
		}
		letter, ok := letterOf(r)
		if !ok {
			return "", fmt.Errorf("character %d, %q, is none of a join code: digits and letters without U, such as %s", utf8.RuneCountInString(typed[:i])+1, r, example)
		}
		if b.WriteByte(letter); b.Len() > CodeLetters {
			return "", fmt.Errorf("the join code is too long: it has %d letters, such as %s", CodeLetters, example)
		}
	}
	if b.Len() < CodeLetters {
		return "", fmt.Errorf("the join code has %d letters; %d are meant, such as %s", b.Len(), CodeLetters, example)
	}
	return grouped(b.String()), nil
}

// letterOf is the letter of the alphabet that somebody means.
func letterOf(r rune) (byte, bool) {
	switch {
	case r >= 'a' && r <= 'z':
		r -= 'a' - 'A'
	case r >= utf8.RuneSelf:
		return 0, false
	}
	switch r {
	case 'O':
		r = '0'
	case 'I', 'L':
		r = '1'
	}
	return byte(r), strings.IndexByte(Alphabet, byte(r)) >= 0
}
