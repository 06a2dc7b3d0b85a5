package quick

import (
	"regexp"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var (
	bareNumber = regexp.MustCompile(`^[-+\x{2212}]?[.,]?[0-9][0-9.,']*$`)
	senses     = []string{"under", "below", "less than", "over", "above", "more than", "about", "around", "roughly", "approx", "approximately"}
	overRange  = []string{"ol", "o l", "oh l", "oh el", "oh ell", "o.l", "over limit", "over range", "over the range", "open line"}
)

// longestQuantity is more words than any quantity has: 'about minus one hundred
// and twenty three thousand ...'.
const longestQuantity = 20

// quantityAt reads the quantity at word i, spoken or typed. A number without a
// unit takes the unit given; with none given, or when no number stands there,
// n is 0 and why says what is amiss.
func (p *parser) quantityAt(i int, unit string) (n int, q *eventv1.Quantity, why string) {
	if i >= len(p.words) || p.words[i].quoted {
		return 0, nil, "there is no number"
	}
	end := i
	for end < min(len(p.words), i+longestQuantity) && (end == i || !p.words[end].gap) && !p.words[end].quoted {
		end++
	}
	sense, word := p.matchAny(i, senses...)
	number := i + sense
	if word != "" {
		word += " "
	}
	if number >= end {
		return 0, nil, "there is no number"
	}
	digits, k := "", 0
	if over, _ := p.matchAny(number, overRange...); over > 0 {
		digits, k = "OL", over
		if unit == "" || unit == "V" {
			unit = "Ohm"
		}
	} else if s := p.spokenAt(number); s.words {
		if s.either != nil {
			return 0, nil, "'" + p.raw(number, number+s.n) + "' may be " + strings.Join(s.either, " or ")
		}
		digits, k = s.digits, s.n
	}
	if digits == "" {
		text := strings.ReplaceAll(p.raw(i, end), "\u2212", "-")
		q, rest, err := notation.CutQuantity(text)
		if err == nil {
			n := end - i - len(strings.Fields(rest))
			if rest == p.raw(i+n, end) {
				return n, q, ""
			}
			return 0, nil, "'" + p.raw(i, i+n) + "' is no number with a unit"
		}
		if !bareNumber.MatchString(p.words[number].text) {
			return 0, nil, "'" + p.words[number].text + "' is no number with a unit"
		}
		if unit == "" {
			if p.stopsAt(number + 1) {
				return 0, nil, "'" + p.words[number].text + "' has no unit"
			}
			return 0, nil, err.Error()
		}
		digits, k = strings.ReplaceAll(p.words[number].text, "\u2212", "-"), 1
	}
	return p.withUnit(i, number+k, end, word+digits, unit)
}

// withUnit finds the unit behind a number that took the words [from, to). A
// number without one takes the unit given, but never when a word that may be
// meant for a unit follows.
func (p *parser) withUnit(from, to, end int, number, unit string) (n int, q *eventv1.Quantity, why string) {
	q, rest, err := notation.CutQuantity(number + " " + p.raw(to, end))
	n = end - from - len(strings.Fields(rest))
	if err != nil || rest != p.raw(from+n, end) {
		if err == nil || !p.stopsAt(to) && unit != "Ohm" || unit == "" {
			if err == nil {
				return 0, nil, "'" + p.raw(from, to) + "' has no unit"
			}
			return 0, nil, err.Error()
		}
		n = to - from
		if q, _, err = notation.CutQuantity(number + " " + unit); err != nil {
			return 0, nil, err.Error()
		}
	}
	q.Said = ""
	if said := p.raw(from, from+n); said != notation.Format(q) && said != q.Digits+q.Unit && said != q.Digits+" "+q.Unit {
		q.Said = said
	}
	return n, q, ""
}

// alike tells whether two units measure the same thing.
func alike(a, b string) bool {
	x, known := notation.LookupUnit(a)
	y, _ := notation.LookupUnit(b)
	return known && x.Dim == y.Dim
}

// measures tells whether a unit is of one of the dimensions.
func measures(unit string, dims ...notation.Dimension) bool {
	u, known := notation.LookupUnit(unit)
	return known && slices.Contains(dims, u.Dim)
}
