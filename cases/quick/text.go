package quick

// text consumes free words up to a comma, or to where something that may end a
// free text begins: covers, should be, because with an entry, a count of tries,
// or the outcome as the last word.
func (p *parser) text(what string, more ...string) string {
	from := p.i
	if p.err != nil {
		return ""
	}
	if p.done() || p.words[from].gap && from > 0 && p.textMayNotCross(from) {
		p.fail(from, from, what+" is missing")
		return ""
	}
	end := p.segmentEnd(from)
	p.i = from + 1
	for p.i < end && !p.endsText(p.i, end, more) {
		p.i++
	}
	p.textFrom, p.textTo = from, p.i
	if p.words[from].quoted && p.i == from+1 {
		return p.words[from].text
	}
	return p.raw(from, p.i)
}

func (p *parser) textMayNotCross(i int) bool {
	n, _ := p.matchAny(i-1, "to", "for", "because", "wiggled", "meanwhile", "removed", "from", "on", "in")
	return n > 0
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
	return n > 0 && i+n == end
}
