package quick

import (
	"strconv"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// outcomes are the only words for what came of a test. Those with a negation
// in them are whole phrases here, so that none is ever read without it.
var outcomes = map[string]eventv1.Outcome{
	"pass": eventv1.Outcome_OUTCOME_PASS, "passed": eventv1.Outcome_OUTCOME_PASS, "passes": eventv1.Outcome_OUTCOME_PASS,
	"ok": eventv1.Outcome_OUTCOME_PASS, "okay": eventv1.Outcome_OUTCOME_PASS,

	"fail": eventv1.Outcome_OUTCOME_FAIL, "failed": eventv1.Outcome_OUTCOME_FAIL, "fails": eventv1.Outcome_OUTCOME_FAIL,
	"not ok": eventv1.Outcome_OUTCOME_FAIL, "not okay": eventv1.Outcome_OUTCOME_FAIL, "no pass": eventv1.Outcome_OUTCOME_FAIL,
	"not pass": eventv1.Outcome_OUTCOME_FAIL, "not passed": eventv1.Outcome_OUTCOME_FAIL,
	"did not pass": eventv1.Outcome_OUTCOME_FAIL, "does not pass": eventv1.Outcome_OUTCOME_FAIL,
	"didn't pass": eventv1.Outcome_OUTCOME_FAIL, "doesn't pass": eventv1.Outcome_OUTCOME_FAIL,

	"inconclusive": eventv1.Outcome_OUTCOME_INCONCLUSIVE, "unclear": eventv1.Outcome_OUTCOME_INCONCLUSIVE,
	"not conclusive": eventv1.Outcome_OUTCOME_INCONCLUSIVE, "proves nothing": eventv1.Outcome_OUTCOME_INCONCLUSIVE,
}

// judgements are words for an outcome that count only when they stand alone
// between commas: 'feed is good' says nothing of a test.
var judgements = map[string]eventv1.Outcome{
	"good": eventv1.Outcome_OUTCOME_PASS, "bad": eventv1.Outcome_OUTCOME_FAIL,
	"no good": eventv1.Outcome_OUTCOME_FAIL, "not good": eventv1.Outcome_OUTCOME_FAIL,
}

// outcomeAt finds the outcome that stands at word i.
func (p *parser) outcomeAt(i int) (n int, o eventv1.Outcome) {
	for phrase, outcome := range outcomes {
		if k := p.match(i, phrase); k > n {
			n, o = k, outcome
		}
	}
	if n > 0 || i >= len(p.words) || !p.words[i].gap {
		return n, o
	}
	for phrase, outcome := range judgements {
		if k := p.match(i, phrase); k > n && i+k == p.segmentEnd(i) {
			n, o = k, outcome
		}
	}
	return n, o
}

// outcome consumes pass, fail or inconclusive.
func (p *parser) outcome(to *eventv1.Outcome) bool {
	n, o := p.outcomeAt(p.i)
	if n == 0 || p.triesAt(p.i) > 0 {
		return false
	}
	if *to != eventv1.Outcome_OUTCOME_UNSPECIFIED && *to != o {
		return p.fail(p.i, p.i+n, "it passes and it fails", "pass", "fail", "inconclusive")
	}
	if p.unsure(p.i, o) {
		return true
	}
	p.i += n
	*to = o
	return true
}

// unsure refuses an outcome that the words round it may turn round: a negation
// or hedge in the free words before it, or right behind the comma after it.
func (p *parser) unsure(i int, o eventv1.Outcome) bool {
	choices := []string{"pass", "fail", "inconclusive"}
	for k := i - 1; k >= p.textFrom && p.textTo == i && !p.words[k+1].gap; k-- {
		hedged := k == i-1 && p.isWord(k, hedges)
		negated := p.isWord(k, negations) && (o == eventv1.Outcome_OUTCOME_PASS || k == i-1)
		if hedged || negated {
			return p.fail(k, i+1, "'"+p.raw(k, i+1)+"' may mean either", choices...)
		}
	}
	n, _ := p.outcomeAt(i)
	if next := i + n; next < len(p.words) && (p.isWord(next, negations) || p.isWord(next, hedges)) {
		if k, _ := p.matchAny(next, "not commanded", "not acting up", "not present", "no load"); k == 0 {
			return p.fail(i, next+1, "'"+p.raw(i, next+1)+"' may mean either", choices...)
		}
	}
	return false
}

// triesAt finds 'failed 3 of 10', '3 of 10 failed' or 'failed 3 times in 10'.
func (p *parser) triesAt(i int) int {
	n, _, _ := p.triesFound(i)
	return n
}

func (p *parser) triesFound(i int) (n int, failures, tries uint64) {
	start := i
	lead, _ := p.matchAny(i, "failed", "fails", "fail")
	i += lead
	failures, n = p.count(i)
	if n == 0 {
		return 0, 0, 0
	}
	i += n
	if k := p.match(i, "times"); k > 0 {
		i += k
	}
	k, _ := p.matchAny(i, "of", "in", "out of")
	if k == 0 {
		return 0, 0, 0
	}
	i += k
	tries, n = p.count(i)
	if n == 0 {
		return 0, 0, 0
	}
	i += n
	if k, _ := p.matchAny(i, "tries", "times"); k > 0 {
		i += k
	}
	if lead > 0 {
		return i - start, failures, tries
	}
	if k, _ := p.matchAny(i, "failed", "fail", "failures"); k > 0 {
		return i + k - start, failures, tries
	}
	return 0, 0, 0
}

// count reads a whole number, in numerals or words.
func (p *parser) count(i int) (v uint64, n int) {
	r := p.spokenAt(i)
	if r.n == 0 || r.implied {
		return 0, 0
	}
	v, err := strconv.ParseUint(r.digits, 10, 31)
	if err != nil {
		return 0, 0
	}
	return v, r.n
}

// tries consumes 'failed 3 of 10'. Any failure is a fail.
func (p *parser) tries(tries, failures *uint32, outcome *eventv1.Outcome) bool {
	n, f, t := p.triesFound(p.i)
	if n == 0 {
		return false
	}
	if t == 0 || f > t {
		return p.fail(p.i, p.i+n, "more failures than tries", "failed 3 of 10")
	}
	if *tries != 0 {
		return p.fail(p.i, p.i+n, "the tries were counted already", "one count, as in 'failed 3 of 10'")
	}
	if f > 0 && outcome != nil {
		if *outcome == eventv1.Outcome_OUTCOME_PASS {
			return p.fail(p.i, p.i+n, "it passes and it fails", "fail", "inconclusive")
		}
		if *outcome == eventv1.Outcome_OUTCOME_UNSPECIFIED {
			*outcome = eventv1.Outcome_OUTCOME_FAIL
		}
	}
	*tries, *failures = uint32(t), uint32(f)
	p.i += n
	return true
}
