package notation

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Key is the form under which names of components and points are compared: NFC,
// lower case, single spaces, dashes as '-', outer punctuation off, so that
// 'Fan motor ' and '"fan motor".' are one. Signs that tell points apart stay:
// 'batt+' and 'batt-', 'C3-14', '5"'. Key of a Key is itself. A name without a
// letter, digit or sign has the empty key.
func Key(s string) string {
	if plainKey(s) {
		return s
	}
	s = strings.ToValidUTF8(s, "\uFFFD")
	// Twice: some signs, such as U+1FEF, are another's double, and dropping what
	// cannot be seen lets others meet.
	s = norm.NFC.String(strings.Map(plain, norm.NFC.String(s)))
	s = norm.NFC.String(strings.ToLower(s))
	s = strings.Join(strings.Fields(s), " ")
	for {
		t := strings.TrimSpace(peel(s))
		if t == s {
			return s
		}
		s = t
	}
}

// plainKey reports whether the name is a key as it stands, as most are that somebody
// types: lower case letters and digits of ASCII, dashes, and single spaces between.
func plainKey(s string) bool {
	space := true
	for i := range len(s) {
		switch b := s[i]; {
		case 'a' <= b && b <= 'z', '0' <= b && b <= '9', b == '-', b == '+':
			space = false
		case b == ' ' && !space:
			space = true
		default:
			return false
		}
	}
	return !space || s == ""
}

// plain drops characters that cannot be seen and writes alike what keyboards
// write differently.
func plain(r rune) rune {
	switch r {
	case '\u2010', '\u2011', '\u2012', '\u2013', '\u2014', '\u2212':
		return '-'
	case '\u2018', '\u2019', '\u201B', '\u00B4', '`', '\u2032':
		return '\''
	case '\u201C', '\u201D', '\u201E', '\u201F', '\u00AB', '\u00BB', '\u2033':
		return '"'
	}
	if unicode.Is(unicode.Cf, r) {
		return -1
	}
	if unicode.IsSpace(r) || unicode.IsControl(r) {
		return ' '
	}
	return r
}

var closers = map[rune]rune{'(': ')', '[': ']', '{': '}', '"': '"', '\'': '\''}

// peel takes one layer of outer punctuation off.
func peel(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	last, m := utf8.DecodeLastRuneInString(s)
	if closer, ok := closers[first]; ok && last == closer && len(s) > n && encloses(s, first, closer) {
		return s[n : len(s)-m]
	}
	switch {
	case strings.ContainsRune(".,;:!?\u2026", last):
		return s[:len(s)-m]
	case strings.ContainsRune(",;:!?\u00BF\u00A1", first):
		return s[n:]
	case first == '.' && !startsWithDigit(s[n:]):
		return s[n:]
	case (last == '"' || last == '\'') && !endsWithDigit(s[:len(s)-m]): // 5" and 5' are sizes
		return s[:len(s)-m]
	case first == '"' || first == '\'':
		return s[n:]
	case strings.ContainsRune(")]}", last) && unmatched(s, last):
		return s[:len(s)-m]
	case strings.ContainsRune("([{", first) && unmatched(s, first):
		return s[n:]
	}
	return s
}

// encloses reports whether the pair at both ends of s belongs together: '(a)'
// but not '(a) b (c)'.
func encloses(s string, open, closer rune) bool {
	if open == closer {
		return true
	}
	depth := 0
	for i, r := range s {
		switch r {
		case open:
			depth++
		case closer:
			depth--
			if depth == 0 {
				return i+utf8.RuneLen(r) == len(s)
			}
		}
	}
	return false
}

func unmatched(s string, bracket rune) bool {
	for open, closer := range closers {
		if bracket == open || bracket == closer {
			return strings.Count(s, string(open)) != strings.Count(s, string(closer))
		}
	}
	return false
}

func startsWithDigit(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.IsDigit(r)
}

func endsWithDigit(s string) bool {
	r, _ := utf8.DecodeLastRuneInString(s)
	return unicode.IsDigit(r)
}
