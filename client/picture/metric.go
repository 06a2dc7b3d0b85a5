package picture

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// bolder is by how much bold type is wider.
const bolder = 1.13

// advance is at most how wide a character is, in shares of the size of the type, in the
// sans-serif faces that devices have: as wide as in the widest of them, and a little more.
// Whoever has a narrower face sees a little more space.
func advance(r rune) float64 {
	switch {
	case unicode.In(r, unicode.Mn, unicode.Me):
		return 0.3 // mostly it stands over another
	case strings.ContainsRune("ijl.,:;'|! ", r):
		return 0.37
	case strings.ContainsRune("frt()[]-/\\\"`", r):
		return 0.47
	case r == 'm' || r == 'M' || r == 'W' || r == '%' || r == '@':
		return 1.04
	case r >= 'a' && r <= 'z' && r != 'w' || r >= '0' && r <= '9' || r == '$' || r == '*' || r == '?' || r == '_':
		return 0.66
	case r < 0x80:
		return 0.86 // capitals, w, # + < > = ~ &
	case r < 0x250:
		return 1.0 // accented Latin
	}
	return 1.5
}

// textWidth is at most how wide a text is, in pixels.
func textWidth(s string, size float64, bold bool) float64 {
	w := 0.0
	for _, r := range s {
		w += advance(r)
	}
	if bold {
		w *= bolder
	}
	return w * size
}

// wrapped is the text in lines no wider than width; a word that is wider is broken.
func wrapped(s string, size, width float64, bold bool) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(visible(s)) {
		switch {
		case line == "":
		case textWidth(line+" "+word, size, bold) <= width:
			line += " " + word
			continue
		default:
			lines = append(lines, line)
		}
		for textWidth(word, size, bold) > width {
			n := fitting(word, size, width, bold)
			lines, word = append(lines, word[:n]), word[n:]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fitting is how many bytes of a word fit, one character at least.
func fitting(word string, size, width float64, bold bool) int {
	end := 0
	for i, r := range word {
		next := i + utf8.RuneLen(r)
		if end > 0 && textWidth(word[:next], size, bold) > width {
			break
		}
		end = next
	}
	return end
}
