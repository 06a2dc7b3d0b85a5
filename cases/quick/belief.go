package quick

import (
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// bases are the words a belief begins with.
var bases = map[string]eventv1.Basis{
	"assume": eventv1.Basis_BASIS_ASSUMED, "assumed": eventv1.Basis_BASIS_ASSUMED, "assuming": eventv1.Basis_BASIS_ASSUMED,
	"i assume": eventv1.Basis_BASIS_ASSUMED, "i think": eventv1.Basis_BASIS_ASSUMED, "i believe": eventv1.Basis_BASIS_ASSUMED,
	"i guess": eventv1.Basis_BASIS_ASSUMED, "i reckon": eventv1.Basis_BASIS_ASSUMED, "think": eventv1.Basis_BASIS_ASSUMED,
	"remember": eventv1.Basis_BASIS_REMEMBERED, "remembered": eventv1.Basis_BASIS_REMEMBERED, "i remember": eventv1.Basis_BASIS_REMEMBERED,
	"from memory": eventv1.Basis_BASIS_REMEMBERED, "looked up": eventv1.Basis_BASIS_LOOKED_UP, "i looked up": eventv1.Basis_BASIS_LOOKED_UP,
	"measured": eventv1.Basis_BASIS_MEASURED, "traced": eventv1.Basis_BASIS_TRACED, "told": eventv1.Basis_BASIS_TOLD,
	"i was told": eventv1.Basis_BASIS_TOLD, "i saw": eventv1.Basis_BASIS_SEEN,
}

var sayings = []string{"says", "said", "say", "told me", "tells me", "thinks", "claims"}

// sayerAt finds 'they say', 'customer says', 'the previous shop said' at the
// start: who, and how many words.
func (p *parser) sayerAt(i int) (n int, who string) {
	from := i
	for k := i; k < len(p.words) && k < i+5 && (k == i || !p.words[k].gap); k++ {
		if s, _ := p.matchAny(k, sayings...); s > 0 && k > i {
			if p.isArticle(from) && k > from+1 {
				from++
			}
			if p.isNumber(from) || p.isWord(from, negations) || p.words[from].quoted {
				return 0, ""
			}
			return k + s - i, p.raw(from, k)
		}
	}
	return 0, ""
}

// believe reads '[they say|assume|I think|looked up|remember] STATEMENT'.
func (p *parser) believe() {
	b := &eventv1.Belief{}
	p.event.Kind = &eventv1.Event_Belief{Belief: b}
	p.takes("believe", "belief")
	if n, who := p.sayerAt(p.i); n > 0 {
		b.Basis, b.ToldBy, p.i = eventv1.Basis_BASIS_TOLD, who, p.i+n
	} else if n, basis := longest(p, bases); n > 0 {
		b.Basis, p.i = basis, p.i+n
		if basis == eventv1.Basis_BASIS_TOLD && p.takes("by") {
			p.stops = append(p.stops, "that")
			b.ToldBy = p.wording("who said it")
		}
	}
	if b.Basis == eventv1.Basis_BASIS_UNSPECIFIED {
		p.fail(p.i, p.segmentEndHere(), "what the belief stands on is missing", "they say ...", "assume ...", "looked up ...", "remember ...", "I think ...")
		return
	}
	p.takes("that")
	from, to := p.i, p.i
	for !p.done() {
		switch {
		case p.i > from && p.words[p.i].gap && p.background():
		case p.i > from && p.words[p.i].gap && p.takes("about component"):
			b.Component = p.name(false, "what it is about")
		case p.i > from && p.words[p.i].gap && p.takes("about"):
			p.about(b)
		case to < p.i:
			p.fail(from, p.i, "the statement is cut in two", "the statement first, then 'about COMPONENT', 'because 12'")
		default:
			p.i = p.segmentEnd(p.i)
			if k := p.becauseIn(to, p.i); k > 0 {
				p.i = k
			}
			to = p.i
		}
	}
	if p.err != nil {
		return
	}
	if from == to {
		p.fail(p.i, p.i, "what is believed is missing", "assume the ground is good", "they say feed is good")
		return
	}
	b.Statement = p.remark(p.raw(from, to))
	p.claim(b, from, to)
}

// becauseIn finds 'because 12' at the end of a statement.
func (p *parser) becauseIn(from, to int) int {
	for k := from + 1; k < to; k++ {
		if m := p.match(k, "because"); m > 0 {
			if n, _ := p.referenceAt(k + m); n > 0 {
				return k
			}
		}
	}
	return 0
}

// about names what the belief is about: a point when it is known as one.
func (p *parser) about(b *eventv1.Belief) {
	k, known := p.knownAt(p.i)
	point := k > 0 && known.Point
	if p.takes("point") {
		point = true
	}
	if text := p.name(point, "what it is about"); point {
		b.Point = text
	} else {
		b.Component = text
	}
}

// states are what a belief may hold a component to be.
var states = map[string]struct {
	outcome eventv1.Outcome
	mode    eventv1.FaultMode
}{
	"is good": {outcome: eventv1.Outcome_OUTCOME_PASS}, "is ok": {outcome: eventv1.Outcome_OUTCOME_PASS},
	"is bad": {outcome: eventv1.Outcome_OUTCOME_FAIL}, "is not good": {outcome: eventv1.Outcome_OUTCOME_FAIL}, "is no good": {outcome: eventv1.Outcome_OUTCOME_FAIL},
	"is open":              {eventv1.Outcome_OUTCOME_FAIL, eventv1.FaultMode_FAULT_MODE_OPEN},
	"is seized":            {eventv1.Outcome_OUTCOME_FAIL, eventv1.FaultMode_FAULT_MODE_SEIZED},
	"is shorted to ground": {eventv1.Outcome_OUTCOME_FAIL, eventv1.FaultMode_FAULT_MODE_SHORT_TO_GROUND},
	"is shorted to power":  {eventv1.Outcome_OUTCOME_FAIL, eventv1.FaultMode_FAULT_MODE_SHORT_TO_POWER},
}

// claim gives the belief a formal content when it is no more than '[the] X is
// good' with X a known component, or named by 'about'.
func (p *parser) claim(b *eventv1.Belief, from, to int) {
	start := from
	if p.isArticle(start) {
		start++
	}
	k, known := p.knownAt(start)
	if k == 0 || known.Point {
		return
	}
	for phrase, state := range states {
		if n := p.match(start+k, phrase); n > 0 && start+k+n == to {
			if b.Component == "" {
				b.Component = known.Text
			}
			if notation.Key(b.Component) == notation.Key(known.Text) {
				b.Claim = &eventv1.Claim{Component: known.Text, Outcome: state.outcome, Mode: state.mode}
			}
			return
		}
	}
	if b.Component == "" {
		b.Component = known.Text
	}
}

// settle reads 'belief 12 true|not true [because ...]'.
func (p *parser) settle() {
	s := &eventv1.BeliefSettled{}
	p.event.Kind = &eventv1.Event_BeliefSettled{BeliefSettled: s}
	p.takes("settle belief", "settle", "belief")
	n, ref := p.referenceAt(p.i)
	if n == 0 {
		p.fail(p.i, p.i+1, "which belief is missing", "belief 12 true", "belief last not true")
		return
	}
	s.Belief = p.resolve(ref, n)
	p.takes("is", "was")
	from := p.i
	holds := map[string]eventv1.Answer{
		"true": eventv1.Answer_ANSWER_YES, "so": eventv1.Answer_ANSWER_YES, "not true": eventv1.Answer_ANSWER_NO, "untrue": eventv1.Answer_ANSWER_NO,
		"false": eventv1.Answer_ANSWER_NO, "wrong": eventv1.Answer_ANSWER_NO, "not so": eventv1.Answer_ANSWER_NO,
	}
	if !once(p, holds, &s.Holds, "whether it is so") {
		p.fail(from, from+1, "whether it is so is missing", "true", "not true")
		return
	}
	for !p.done() {
		switch {
		case p.background():
		case p.takes("because"):
			fallthrough
		default:
			if p.done() {
				p.fail(p.i, p.i, "the reason is missing", "because 14", "because the drop was 3 V")
				return
			}
			if p.isWord(p.i, negations) || p.isWord(p.i, hedges) || strings.HasSuffix(p.words[p.i].text, "?") {
				p.fail(from, p.i+1, "it may be so or not", "true", "not true")
				return
			}
			s.How = also(s.How, p.segment())
		}
	}
	s.How = p.remark(s.How)
	if p.err == nil && s.How == "" && len(p.event.Because) == 0 {
		p.fail(p.i, p.i, "by what it was settled is missing", "because 14", "because the drop was 3 V")
	}
}

// segment consumes the words up to the next comma as they are.
func (p *parser) segment() string {
	from := p.i
	p.i = p.segmentEndHere()
	return p.raw(from, p.i)
}

// remark puts the note behind '#' after a text that has no line beside it.
func (p *parser) remark(text string) string {
	if p.note == "" {
		return text
	}
	return strings.TrimSpace(text + " # " + p.note)
}
