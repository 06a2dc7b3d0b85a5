package quick

import (
	"strconv"
	"strings"
)

var units = map[string]int{
	"zero": 0, "nought": 0, "naught": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
}

var teens = map[string]int{
	"ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}

var tens = map[string]int{
	"twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}

// spoken is a number as it is said: 'minus twelve point three one'.
type spoken struct {
	// n words were taken; 0: no number stands there.
	n int
	// digits with sign and decimal point, as a display would show them.
	digits string
	// words: at least one number word, rather than numerals alone.
	words bool
	// implied: the decimal point was not said ('twelve three').
	implied bool
	// either lists what it may be, when nobody can say.
	either []string
}

// scanner reads number words from a list of keys.
type scanner struct{ keys []string }

func (s scanner) key(i int) string {
	if i >= len(s.keys) {
		return ""
	}
	return s.keys[i]
}

// below100 reads 0 to 99.
func (s scanner) below100(i int) (v, n int) {
	if v, ok := units[s.key(i)]; ok {
		return v, 1
	}
	if v, ok := teens[s.key(i)]; ok {
		return v, 1
	}
	if v, ok := tens[s.key(i)]; ok {
		if u, ok := units[s.key(i+1)]; ok && u > 0 {
			return v + u, 2
		}
		return v, 1
	}
	return 0, 0
}

// below1000 reads 0 to 999, and 'twelve hundred'.
func (s scanner) below1000(i int) (v, n int) {
	if v, n = s.below100(i); n == 0 || s.key(i+n) != "hundred" || v == 0 {
		return v, n
	}
	v, n = v*100, n+1
	and := 0
	if s.key(i+n) == "and" {
		and = 1
	}
	if w, m := s.below100(i + n + and); m > 0 {
		v, n = v+w, n+and+m
	}
	return v, n
}

// whole reads a whole number in words or numerals.
func (s scanner) whole(i int) (digits string, n int) {
	if k := s.key(i); isNumeral(k) {
		return k, 1
	}
	v, n := s.below1000(i)
	if n > 0 && s.key(i+n) == "thousand" && v > 0 {
		v, n = v*1000, n+1
		if w, m := s.below1000(i + n); m > 0 {
			v, n = v+w, n+m
		}
	}
	return strconv.Itoa(v), n
}

// places reads what stands behind the point; pieces counts what it is made of,
// 'oh five' being one piece.
func (s scanner) places(i int) (digits string, n, pieces int) {
	for {
		k := s.key(i + n)
		v, m := s.below100(i + n)
		switch {
		case k == "oh" || k == "o" || k == "zero":
			digits, n = digits+"0", n+1
			if _, follows := s.below100(i + n); follows == 0 && !isNumeral(s.key(i+n)) {
				pieces++
			}
			continue
		case isNumeral(k):
			digits, n = digits+k, n+1
		case m > 0:
			digits, n = digits+strconv.Itoa(v), n+m
		default:
			return digits, n, pieces
		}
		pieces++
	}
}

func isNumeral(k string) bool {
	for _, r := range k {
		if r < '0' || r > '9' {
			return false
		}
	}
	return k != ""
}

// number reads a spoken number. A number of ten or more followed by one more is
// its decimals ('twelve three', 'twelve thirty one', 'twelve oh five'); so is
// a digit behind a single digit ('five two'). Longer strings of digits are
// left undecided.
func (s scanner) number() spoken {
	var r spoken
	i, sign := 0, ""
	if k := s.key(0); k == "minus" || k == "negative" {
		i, sign = 1, "-"
	}
	whole, n := s.whole(i)
	r.words = n > 0 && !isNumeral(s.key(i)) || sign != "" && n > 0
	if s.key(i+n) == "point" || n > 0 && s.key(i+n) == "decimal" {
		if places, m, _ := s.places(i + n + 1); m > 0 {
			if n == 0 {
				whole = "0"
			}
			return spoken{n: i + n + 1 + m, digits: sign + whole + "." + places, words: true}
		}
	}
	if n == 0 {
		return spoken{}
	}
	r.n, r.digits = i+n, sign+whole
	if !r.words || isNumeral(s.key(i)) {
		return r
	}
	places, m, pieces := s.places(i + n)
	if m == 0 {
		return r
	}
	r.n, r.implied = r.n+m, true
	if pieces > 1 || len(whole) == 1 && len(places) > 1 && places[0] != '0' {
		r.either = []string{sign + whole + "." + places, sign + whole + places}
		return r
	}
	r.digits += "." + places
	return r
}

// spokenName turns the number words of a name into digits: 'fan two' is the
// point 'fan 2'. The first word stays, and 'one' counts as a number only at
// the end, since it is often a pronoun.
func spokenName(text []string) string {
	out := make([]string, 0, len(text))
	keys := make([]string, len(text))
	for i, t := range text {
		keys[i] = strings.ToLower(t)
	}
	s := scanner{keys}
	for i := 0; i < len(text); {
		v, n := s.below100(i)
		if n == 0 || (i == 0 || v == 1) && i+n < len(text) {
			n = max(n, 1)
			out, i = append(out, text[i:i+n]...), i+n
			continue
		}
		out, i = append(out, strconv.Itoa(v)), i+n
	}
	return strings.Join(out, " ")
}

// spokenAt reads the spoken number that stands at word i.
func (p *parser) spokenAt(i int) spoken {
	var keys []string
	var ends []int
	for k := i; k < min(len(p.words), i+longestQuantity) && (k == i || !p.words[k].gap) && !p.words[k].quoted; k++ {
		for _, part := range p.words[k].parts {
			keys, ends = append(keys, part), append(ends, k+1)
		}
	}
	r := scanner{keys}.number()
	if r.n > 0 {
		whole := r.n
		r.n = ends[whole-1] - i
		if whole < len(ends) && ends[whole] == ends[whole-1] {
			return spoken{}
		}
	}
	return r
}

// spokenValueAt tells whether a value in words stands at i: more than the
// single number that may end a name.
func (p *parser) spokenValueAt(i int) bool {
	r := p.spokenAt(i)
	return r.n > 0 && r.words
}
