package path

import "strings"

var (
	colours = strings.Fields("black brown red orange yellow green blue violet purple grey gray white pink turquoise tan beige silver gold natural clear")
	shades  = []string{"light", "dark"}
	stripes = []string{"with", "stripe", "striped", "tracer"}
	// codes of colours in IEC 60757, from memory.
	codes = strings.Fields("bk bn rd og ye gn bu vt gy wh pk gd tq sr gnye")
)

// isColour: brown, brown/white, light-blue.
func isColour(w word) bool {
	if w.quoted || w.key == "" {
		return false
	}
	found := false
	for _, part := range strings.FieldsFunc(w.key, func(r rune) bool { return r == '/' || r == '-' }) {
		switch {
		case among(part, colours):
			found = true
		case !among(part, shades):
			return false
		}
	}
	return found
}

// allColours: the words are a colour and nothing else.
func allColours(words []word) bool {
	n := 0
	for _, w := range words {
		switch {
		case isColour(w):
			n++
		case w.quoted || !among(w.key, shades) && (n == 0 || !among(w.key, stripes)):
			return false
		}
	}
	return n > 0
}

// allCodes: the words are letter codes of colours: BN/WH.
func allCodes(words []word) bool {
	if len(words) != 1 || words[0].quoted {
		return false
	}
	parts := strings.FieldsFunc(words[0].key, func(r rune) bool { return r == '/' || r == '-' })
	for _, part := range parts {
		if !among(part, codes) {
			return false
		}
	}
	return len(parts) > 0
}

func colourAmong(words []word) (word, bool) {
	for _, w := range words {
		if isColour(w) {
			return w, true
		}
	}
	return word{}, false
}

// cutColour parts a name from the colour behind it; colour is empty when there
// is none.
func cutColour(words []word) (name, colour []word) {
	for i := 1; i < len(words); i++ {
		if allColours(words[i:]) {
			return words[:i], words[i:]
		}
	}
	return words, nil
}
