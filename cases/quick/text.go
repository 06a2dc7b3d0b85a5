package quick

// text consumes free words up to a comma, or to where something that may end a
// free text begins: covers, should be, because with an entry, a count of tries,
// or the outcome as the last word.
func (p *parser) text(what string, more ...string) string {
	from := p.i
	if p.err != nil {
		return ""
	}
	if p.done() {
		p.fail(from, from, what+" is missing")
		return ""
	}
	end := p.segmentEnd(from)
	p.i = from + 1
	for p.i < end && !p.endsText(p.i, end, more) {
		p.i++
	}
	p.textFrom, p.textTo = from, p.i
	if !p.saysSomething(from, p.i) {
		p.fail(from, p.i, "'"+p.raw(from, p.i)+"' by itself turns something round, and nobody can say what", "the whole of it: the fan did not run")
	}
	if p.words[from].quoted && p.i == from+1 {
		return p.words[from].text
	}
	return p.raw(from, p.i)
}

// textAfter is text behind a word that announces it, and so before any comma.
// An outcome inside it is refused, not passed over.
func (p *parser) textAfter(what string, more ...string) string {
	if !p.done() && p.words[p.i].gap {
		p.fail(p.i, p.i, what+" is missing")
		return ""
	}
	return p.textWithout(what, more...)
}

// textWithout is text that may hold no outcome.
func (p *parser) textWithout(what string, more ...string) string {
	from := p.i
	text := p.text(what, more...)
	for k := from; k < p.i && p.err == nil; k++ {
		if n, _ := p.outcomeAt(k); n > 0 {
			p.fail(k, k+n, "is that what came of it, or part of "+what+"?", "a comma before '"+p.raw(k, k+n)+"'", "other words")
		}
	}
	return text
}

func (p *parser) endsText(i, end int, more []string) bool {
	if n, _ := p.matchAny(i, "covers", "covering", "should be", "should read", "should show", "according to"); n > 0 {
		return true
	}
	if n, _ := p.matchAny(i, more...); n > 0 {
		return true
	}
	if p.triesAt(i) > 0 {
		return true
	}
	if p.match(i, "because") > 0 {
		return true
	}
	n, _ := p.outcomeAt(i)
	for k := n; k > 0; n += k {
		k, _ = p.outcomeAt(i + n)
	}
	if n > 0 && p.match(i+n, "because") > 0 && p.isReference(i+n+1) {
		return true
	}
	return n > 0 && i+n >= end
}

// saysSomething: there is more to the words than negations and hedges.
func (p *parser) saysSomething(from, to int) bool {
	for i := from; i < to; i++ {
		if !p.isWord(i, negations) && !p.isWord(i, hedges) && p.words[i].key != "really" {
			return true
		}
	}
	return false
}
