package quick

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxLine is the most characters a line may have. It keeps every event far
// below the 64 KiB of the envelope.
const maxLine = 4000

// word is one word of a line.
type word struct {
	// text as typed, without the comma or colon behind it.
	text string
	// key is text in lower case; of a quoted word it is empty, so that no
	// keyword ever matches inside quotes.
	key string
	// parts are the alphabetic pieces between hyphens ('key-on' is key, on).
	parts []string
	// col is the column of the first character, from 1; n the length in
	// characters.
	col, n int
	// from and to are byte offsets in the line.
	from, to int
	// gap: a comma, semicolon or colon stands before it, or it is the first.
	gap bool
	// quoted: it stood in double quotes.
	quoted bool
}

// split cuts a line into words and the note behind '#'.
func split(line string) (words []word, note string, err *Error) {
	if !utf8.ValidString(line) {
		col := 1
		for i, r := range line {
			if r == utf8.RuneError && !strings.HasPrefix(line[i:], "\uFFFD") {
				break
			}
			col++
		}
		return nil, "", &Error{Column: col, Length: 1, What: "a byte that is no text in UTF-8"}
	}
	if n := utf8.RuneCountInString(line); n > maxLine {
		return nil, "", &Error{Column: maxLine + 1, Length: n - maxLine, What: "more characters than the 4,000 a line may have"}
	}
	gap, col, i := true, 1, 0
	for i < len(line) {
		r, size := utf8.DecodeRuneInString(line[i:])
		switch {
		case r == '\t' || unicode.IsSpace(r) && !unicode.IsControl(r):
			i, col = i+size, col+1
			continue
		case unicode.IsControl(r):
			return nil, "", &Error{Column: col, Length: 1, What: "a control character; an entry is one line of text"}
		case r == '#':
			return words, strings.TrimSpace(line[i+1:]), nil
		case isBreak(r) && (r != ',' || !isDigitNext(line[i+1:]) || i > 0 && line[i-1] != ' '):
			gap, i, col = true, i+size, col+1
			continue
		case r == '"' || r == '“' || r == '”':
			w, n, err := quoted(line, i, size, col)
			if err != nil {
				return nil, "", err
			}
			w.gap, gap = gap, false
			words = append(words, w)
			i, col = w.to, col+n
			continue
		}
		w := word{col: col, from: i, gap: gap}
		gap = false
		for i < len(line) {
			r, size = utf8.DecodeRuneInString(line[i:])
			if unicode.IsSpace(r) || unicode.IsControl(r) || breaks(line, w.from, i) {
				break
			}
			i, w.n = i+size, w.n+1
		}
		col += w.n
		w.to = i
		w.text = line[w.from:w.to]
		w = withoutFullStop(w, line[w.to:])
		w.key = strings.ToLower(w.text)
		w.parts = pieces(w.key)
		words = append(words, w)
	}
	return words, "", nil
}

// quoted takes a name in double quotes; n is its length with the quotes.
func quoted(line string, i, size, col int) (w word, n int, err *Error) {
	rest := line[i+size:]
	end := strings.IndexAny(rest, "\"“”")
	if end < 0 {
		return w, 0, &Error{Column: col, Length: 1, What: "a quotation mark that is never closed",
			Understood: []string{`a name in quotation marks: "fan to ground"`}}
	}
	inner := strings.Join(strings.Fields(rest[:end]), " ")
	if inner == "" {
		return w, 0, &Error{Column: col, Length: 2, What: "nothing between the quotation marks"}
	}
	_, closing := utf8.DecodeRuneInString(rest[end:])
	w = word{text: inner, quoted: true, col: col, from: i, to: i + size + end + closing}
	w.n = utf8.RuneCountInString(line[w.from:w.to])
	return w, w.n, nil
}

func isBreak(r rune) bool { return r == ',' || r == ';' || r == ':' }

// breaks tells whether the comma, semicolon or colon at byte i of a word ends
// it: a comma between digits and a colon inside a time do not.
func breaks(line string, from, i int) bool {
	rest := line[i+1:]
	switch line[i] {
	case ';':
		return true
	case ',':
		return !isDigitNext(rest) || i > from && !isDigitNext(line[i-1:])
	case ':':
		r, _ := utf8.DecodeRuneInString(rest)
		return rest == "" || unicode.IsSpace(r) || isBreak(r)
	}
	return false
}

func isDigitNext(s string) bool { return s != "" && s[0] >= '0' && s[0] <= '9' }

// withoutFullStop takes the full stop or exclamation mark off the last word.
func withoutFullStop(w word, rest string) word {
	rest = strings.TrimSpace(rest)
	if rest != "" && rest[0] != '#' {
		return w
	}
	short := strings.TrimRight(w.text, ".!")
	if short == "" || len(w.text)-len(short) > 1 {
		return w
	}
	w.n -= len(w.text) - len(short)
	w.text = short
	return w
}

// pieces splits 'key-on' into key and on. 'batt-', 'c3-14' and '30-87' stay
// whole.
func pieces(key string) []string {
	parts := strings.Split(key, "-")
	for _, p := range parts {
		if p == "" || strings.IndexFunc(p, func(r rune) bool { return !unicode.IsLetter(r) && r != '\'' && r != '’' }) >= 0 {
			return []string{strings.ReplaceAll(key, "’", "'")}
		}
	}
	for i := range parts {
		parts[i] = strings.ReplaceAll(parts[i], "’", "'")
	}
	return parts
}
