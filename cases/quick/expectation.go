package quick

import (
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// expectation consumes 'should be X', 'should be X..Y', 'should be over X',
// 'should be lamp bright', and 'according to SOURCE'. unit is that of the value,
// for limits without one; empty when there is none yet.
func (p *parser) expectation(to **eventv1.Expectation, unit string) bool {
	if p.takes("according to", "as per") {
		if *to == nil {
			*to = &eventv1.Expectation{}
		}
		if (*to).Source != "" {
			return p.fail(p.i-2, p.i, "a second source", "according to service information")
		}
		(*to).Source = p.textAfter("the source", "pass", "fail")
		return true
	}
	lead := p.i
	if !p.takes("should be", "should read", "should have been", "should show") {
		return false
	}
	if *to == nil {
		*to = &eventv1.Expectation{}
	}
	e := *to
	if e.Low != nil || e.High != nil || e.Said != "" {
		return p.fail(lead, p.i, "it was said already what it should be", "one 'should be'")
	}
	if p.done() || p.words[p.i].gap {
		return p.fail(p.i, p.i, "what it should be is missing", "should be 12..12.9", "should be over 12 V", "should be bright")
	}
	p.i += p.match(p.i, "between")
	if bound, _ := p.matchAny(p.i, "at least", "at most"); p.isNumber(p.i + bound) {
		from := p.i
		p.limits(e, unit)
		for _, q := range []*eventv1.Quantity{e.Low, e.High} {
			if q != nil && unit != "" && !alike(q.Unit, unit) {
				return p.fail(from, p.i, "the value is in "+unit+", what it should be in "+q.Unit, "should be ... "+unit)
			}
		}
		return true
	}
	e.Said = p.textAfter("what it should be")
	return true
}

// isNumber tells whether something at word i wants to be a number.
func (p *parser) isNumber(i int) bool {
	k, _ := p.matchAny(i, append([]string{"minus", "negative"}, senses...)...)
	i += k
	if i >= len(p.words) || p.words[i].quoted {
		return false
	}
	if over, _ := p.matchAny(i, overRange...); over > 0 {
		return true
	}
	c := strings.TrimLeft(p.words[i].text, "-+\u2212<>~.,")
	return isDigitNext(c) || p.spokenAt(i).words
}

// limits reads one or two numbers.
func (p *parser) limits(e *eventv1.Expectation, unit string) {
	from := p.i
	if low, high, ok := strings.Cut(p.words[p.i].text, ".."); ok && high != "" {
		p.spread(e, low, high, unit)
		return
	}
	floor, ceiling := p.takes("at least"), false
	if !floor {
		ceiling = p.takes("at most")
	}
	n, q, why := p.limit(p.i, unit)
	if n == 0 {
		p.fail(from, p.i+1, why, "should be 12..12.9", "should be over 12 V", "should be under 0.2 V")
		return
	}
	p.i += n
	if p.takes("to", "and", "..", "-") {
		from = p.i
		n, high, why := p.limit(p.i, q.Unit)
		if n == 0 {
			p.fail(from, p.i+1, why, "should be 12..12.9 V")
			return
		}
		p.i += n
		p.between(e, q, high, from)
		return
	}
	switch {
	case floor || q.Sense == eventv1.Sense_SENSE_OVER || q.Sense == eventv1.Sense_SENSE_OVER_RANGE:
		e.Low = q
	case ceiling || q.Sense == eventv1.Sense_SENSE_UNDER:
		e.High = q
	default:
		e.Low, e.High = q, q
	}
}

// limit reads one number; one that only lacks its unit may wait for the unit of
// the other.
func (p *parser) limit(i int, unit string) (n int, q *eventv1.Quantity, why string) {
	if n, q, why = p.quantityAt(i, unit); n > 0 || unit != "" {
		return n, q, why
	}
	for k := i + 1; k < len(p.words) && k < i+4 && !p.words[k].gap; k++ {
		if j, _ := p.matchAny(k, "to", "and", "..", "-"); j > 0 {
			if m, second, _ := p.quantityAt(k+j, ""); m > 0 {
				return p.quantityAt(i, second.Unit)
			}
		}
	}
	return n, q, why
}

// spread reads '12..12.9' and '12..12.9 V'.
func (p *parser) spread(e *eventv1.Expectation, low, high, unit string) {
	w, whole := p.words[p.i], p.i
	highText := strings.TrimPrefix(high, ".")
	rest := p.raw(p.i+1, p.segmentEnd(p.i))
	top, left, err := notation.CutQuantity(highText + " " + rest)
	n := p.segmentEnd(p.i) - p.i - len(strings.Fields(left))
	if err != nil || n < 1 || left != p.raw(p.i+n, p.segmentEnd(p.i)) {
		n = 1
		if unit == "" {
			p.fail(whole, whole+1, "'"+w.text+"' has no unit", "should be "+w.text+" V", "should be "+w.text+" ohm")
			return
		}
		if top, _, err = notation.CutQuantity(highText + " " + unit); err != nil {
			p.fail(whole, whole+1, err.Error(), "should be 12..12.9 V")
			return
		}
	}
	bottom, err := notation.ParseQuantity(low)
	if err != nil {
		if bottom, err = notation.ParseQuantity(low + " " + top.Unit); err != nil {
			p.fail(whole, whole+1, err.Error(), "should be 12..12.9 V")
			return
		}
	}
	top.Said, bottom.Said = "", ""
	p.i += n
	p.between(e, bottom, top, whole)
}

// between sets both limits, refusing a span that is none.
func (p *parser) between(e *eventv1.Expectation, low, high *eventv1.Quantity, from int) {
	a, da, errA := notation.Value(low)
	b, db, errB := notation.Value(high)
	if errA != nil || errB != nil || da != db || a > b {
		p.fail(from, p.i, "the limits do not span anything", "the lower limit first, both in one unit: should be 12..12.9 V")
		return
	}
	e.Low, e.High = low, high
}
