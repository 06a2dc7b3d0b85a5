package notation

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const maxDigits = 20

var (
	// ErrNoNumber: the quantity has no number to calculate with, as one that is
	// over the instrument's range.
	ErrNoNumber = errors.New("no number")

	digitsForm  = regexp.MustCompile(`^-?(\d+(\.\d+)?|\.\d+)$`)
	groupForm   = regexp.MustCompile(`^[1-9]\d{0,2}(,\d{3}|\.\d{3}|'\d{3}| \d{3})+$`)
	overForm    = regexp.MustCompile(`^(?:OL|ol|Ol|O\.L|o\.l|0L|0\.L|\.OL)\.?`)
	spellSpaces = strings.NewReplacer("\u00A0", " ", "\u202F", " ", "\u2009", " ", "\t", " ",
		"\u2019", "'", "\u2212", "-", "\u2013", "-")
)

// CheckDigits refuses what is not a number as a quantity keeps it: an optional
// '-', digits, '.' as decimal mark; at most 20 digits.
func CheckDigits(digits string) error {
	if !digitsForm.MatchString(digits) {
		return fmt.Errorf("%q is not a number as kept here: digits with '.' as decimal mark, as in -0.25", clip(digits))
	}
	if n := len(strings.Trim(digits, "-.")); n > maxDigits {
		return fmt.Errorf("%q has %d digits; at most %d are kept", clip(digits), n, maxDigits)
	}
	return nil
}

// grouping says what to make of '12,500' and '12.500'.
type grouping int

const (
	either    grouping = iota // a decimal mark or thousands: '12,500' is refused
	thousands                 // hardly three decimals: '12,500' is 12500, '12.500' is refused
)

// plainDigits turns a number as typed into digits with '.' as decimal mark. The
// text holds digits and marks only, its spaces and apostrophes made plain.
func plainDigits(text string, g grouping) (string, error) {
	sign := ""
	body := strings.TrimLeft(text, "+")
	if strings.HasPrefix(body, "-") {
		sign, body = "-", body[1:]
	}
	whole, frac := body, ""
	if i := strings.LastIndexAny(body, ".,"); i >= 0 {
		mark := body[i]
		whole, frac = body[:i], body[i+1:]
		grouped := groupForm.MatchString(body) && !mixed(body)
		switch single := strings.Count(body, string(mark)) == 1; {
		case onlyDigits(frac) != frac, !single && !grouped:
			return "", fmt.Errorf("%q: groups of thousands have three digits and one kind of mark; write %s", text, sign+onlyDigits(body))
		case !single, grouped && g == thousands && mark == ',':
			whole, frac = body, ""
		case grouped && mark == ',':
			return "", fmt.Errorf("%q can be read two ways: write %s%s, or %s%s.%s", text, sign, onlyDigits(body), sign, whole, frac)
		case grouped && g == thousands:
			return "", fmt.Errorf("%q can be read two ways: write %s%s, or %s%s.%s", text, sign, onlyDigits(body), sign, whole, unlikeThousands(frac))
		}
	}
	if strings.ContainsAny(whole, " ',.") {
		if !groupForm.MatchString(whole) || mixed(whole) {
			return "", fmt.Errorf("%q: groups of thousands have three digits and one kind of mark; write %s", text, sign+onlyDigits(whole))
		}
		whole = onlyDigits(whole)
	}
	digits := sign + whole
	if frac != "" {
		digits += "." + frac
	}
	return digits, CheckDigits(digits)
}

// unlikeThousands writes three decimals so that they are not taken for a group.
func unlikeThousands(frac string) string {
	if t := strings.TrimRight(frac, "0"); t != "" && t != frac {
		return t
	}
	return frac + "0"
}

func mixed(s string) bool {
	kinds := 0
	for _, m := range ",.' " {
		if strings.ContainsRune(s, m) {
			kinds++
		}
	}
	return kinds > 1
}

func onlyDigits(s string) string {
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, s)
}

// cutNumber splits text after the number at its start. A mark belongs to it when
// a digit follows, a space when exactly three digits do.
func cutNumber(text string) (number, rest string) {
	i := 0
	for i < len(text) && (text[i] == '-' || text[i] == '+') {
		i++
	}
	if i > 1 {
		return "", text
	}
	start := i
	digit := func(j int) bool { return j < len(text) && text[j] >= '0' && text[j] <= '9' }
	for i < len(text) {
		switch c := text[i]; {
		case digit(i):
		case (c == '.' || c == ',') && digit(i+1):
		case c == '\'' && i > start && digit(i+1):
		case c == ' ' && i > start && digit(i+1) && digit(i+2) && digit(i+3) && !digit(i+4):
		default:
			return split(text, i, start)
		}
		i++
	}
	return split(text, i, start)
}

func split(text string, i, start int) (number, rest string) {
	if i == start {
		return "", text
	}
	return text[:i], text[i:]
}

var senseWords = []struct {
	word  string
	sense eventv1.Sense
}{
	{"less than", eventv1.Sense_SENSE_UNDER}, {"under", eventv1.Sense_SENSE_UNDER},
	{"below", eventv1.Sense_SENSE_UNDER}, {"<", eventv1.Sense_SENSE_UNDER},
	{"more than", eventv1.Sense_SENSE_OVER}, {"over", eventv1.Sense_SENSE_OVER},
	{"above", eventv1.Sense_SENSE_OVER}, {">", eventv1.Sense_SENSE_OVER},
	{"approximately", eventv1.Sense_SENSE_ABOUT}, {"approx.", eventv1.Sense_SENSE_ABOUT},
	{"approx", eventv1.Sense_SENSE_ABOUT}, {"about", eventv1.Sense_SENSE_ABOUT},
	{"around", eventv1.Sense_SENSE_ABOUT}, {"roughly", eventv1.Sense_SENSE_ABOUT},
	{"~", eventv1.Sense_SENSE_ABOUT}, {"\u2248", eventv1.Sense_SENSE_ABOUT},
}

func cutSense(text string) (eventv1.Sense, string) {
	for _, w := range senseWords {
		n := len(w.word)
		if len(text) < n || !strings.EqualFold(text[:n], w.word) {
			continue
		}
		rest := text[n:]
		if letter := w.word[0] >= 'a' && w.word[0] <= 'z'; letter && !strings.HasPrefix(rest, " ") {
			continue
		}
		return w.sense, strings.TrimLeft(rest, " ")
	}
	return eventv1.Sense_SENSE_EXACTLY, text
}

var shapeWords = map[string]eventv1.Shape{
	"dc": eventv1.Shape_SHAPE_DC, "ac": eventv1.Shape_SHAPE_AC, "rms": eventv1.Shape_SHAPE_AC,
	"peak": eventv1.Shape_SHAPE_PEAK, "drop": eventv1.Shape_SHAPE_DROP,
}

// ParseQuantity reads '[under|over|about] NUMBER UNIT [drop|ac|dc|peak]', or OL
// for the number, and keeps the digits as typed. What was typed is kept in said
// when it is not just digits and unit.
func ParseQuantity(text string) (*eventv1.Quantity, error) {
	q, rest, err := CutQuantity(text)
	if err != nil {
		return nil, err
	}
	if rest != "" {
		return nil, fmt.Errorf("%q: %q is left over after %s", clip(text), clip(rest), Format(q))
	}
	return q, nil
}

// CutQuantity reads the quantity at the start of text and returns what follows
// it, as typed.
func CutQuantity(text string) (q *eventv1.Quantity, rest string, err error) {
	text = strings.TrimSpace(text)
	if !utf8.ValidString(text) {
		return nil, "", fmt.Errorf("%q is not valid UTF-8 text", clip(text))
	}
	typed := spellSpaces.Replace(text) // rune for rune
	sense, body := cutSense(typed)
	q = &eventv1.Quantity{Sense: sense}
	number := ""
	if over := overForm.FindString(body); over != "" && !wordGoesOn(body[len(over):]) {
		if sense != eventv1.Sense_SENSE_EXACTLY && sense != eventv1.Sense_SENSE_OVER {
			return nil, "", fmt.Errorf("%q: over range is neither under nor about anything; write OL with its unit", clip(text))
		}
		q.Sense = eventv1.Sense_SENSE_OVER_RANGE
		body = body[len(over):]
	} else if number, body = cutNumber(body); number == "" {
		return nil, "", fmt.Errorf("%q does not begin with a number; write digits and unit, as in 12.31 V, or OL ohm", clip(text))
	}
	unit, shape, rest, err := cutUnit(body)
	if err != nil {
		return nil, "", fmt.Errorf("%q: %w", clip(text), err)
	}
	q.Unit, q.Shape = unit.Code, shape
	if shape == eventv1.Shape_SHAPE_UNSPECIFIED {
		rest, q.Shape = cutShape(rest)
	}
	if number != "" {
		g := either
		if unit.whole {
			g = thousands
		}
		if q.Digits, err = plainDigits(number, g); err != nil {
			return nil, "", err
		}
	}
	rest = lastRunes(text, utf8.RuneCountInString(rest))
	said := strings.TrimRight(strings.TrimSuffix(text, rest), " ,;")
	if said != q.Digits+q.Unit && said != q.Digits+" "+q.Unit && said != Format(q) {
		q.Said = said
	}
	return q, strings.TrimSpace(rest), nil
}

// lastRunes is the last n runes of s.
func lastRunes(s string, n int) string {
	at := len(s)
	for ; n > 0; n-- {
		_, size := utf8.DecodeLastRuneInString(s[:at])
		at -= size
	}
	return s[at:]
}

func wordGoesOn(s string) bool {
	return s != "" && (s[0] >= 'a' && s[0] <= 'z' || s[0] >= '0' && s[0] <= '9')
}

func cutShape(rest string) (string, eventv1.Shape) {
	word, after, _ := strings.Cut(strings.TrimLeft(rest, " "), " ")
	trimmed := strings.TrimRight(word, ",;")
	if shape, ok := shapeWords[strings.ToLower(trimmed)]; ok {
		return after, shape
	}
	return rest, eventv1.Shape_SHAPE_UNSPECIFIED
}
