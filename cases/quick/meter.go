package quick

import eventv1 "knowngood.example/proto/knowngood/event/v1"

// meterChecked reads 'meter 2 checked on SOURCE [, 12.6 V], pass', 'meter 2
// leads shorted 0.2 ohm', 'clamp zeroed'.
func (p *parser) meterChecked() {
	m := &eventv1.MeterChecked{Instrument: &eventv1.Instrument{Kind: eventv1.InstrumentKind_INSTRUMENT_KIND_METER}}
	p.event.Kind = &eventv1.Event_MeterChecked{MeterChecked: m}
	p.takes("the", "my")
	from := p.i
	if n, _ := p.matchAny(p.i+1, "checked", "on", "leads shorted", "shorted", "zeroed"); n > 0 && wholeNumber.MatchString(p.words[p.i].key) {
		m.Instrument.Name, p.i = "meter "+p.words[p.i].key, p.i+1
	} else if n, kind := longest(p, instruments); n > 0 {
		m.Instrument.Kind = kind
		p.i += n
		for ; !p.done() && !p.words[p.i].gap && p.matchesAny(p.i, []string{"checked", "on", "leads shorted", "zeroed", "reads", "shows", "shorted", "off", "by", "not", "is", "was"}) == 0; p.i++ {
		}
		if p.i > from+n {
			m.Instrument.Name = p.raw(from, p.i)
		}
	}
	for !p.done() {
		switch {
		case p.outcome(&m.Outcome), p.background():
		case p.takes("checked on", "checked"), m.Source == "" && p.takes("on"), p.takes("reads", "shows"):
		case m.Shown != nil && p.isNumber(p.i):
			p.fail(p.i, p.i+1, "a second value", "one value a line")
		case p.isNumber(p.i):
			n, q, why := p.quantityAt(p.i, "")
			if n == 0 {
				p.fail(p.i, p.i+1, why, "12.6 V", "0.2 ohm", "OL ohm")
				return
			}
			m.Shown, p.i = q, p.i+n
		case p.match(p.i, "off by") > 0:
			p.fail(p.i, p.i+2, "by how much it was off is not what it showed", "what it showed: meter 2 checked on battery posts, 12.9 V, fail # off by 0.3 V")
			return
		case p.isWord(p.i, negations):
			p.stranger("pass", "fail", "checked on SOURCE")
		default:
			m.Source = also(m.Source, p.sourceText())
		}
	}
	if p.err == nil && m.Source == "" {
		p.fail(p.i, p.i, "what it was tried on is missing", "meter 2 checked on battery posts, 12.6 V, pass", "meter leads shorted, 0.2 ohm, pass", "clamp zeroed")
	}
	if m.Source == "zeroed" && m.Outcome == 0 {
		m.Outcome = eventv1.Outcome_OUTCOME_PASS
	}
	if p.err == nil && m.Outcome == 0 {
		p.fail(p.i, p.i, "what came of it is missing", "pass", "fail", "inconclusive")
	}
	m.Source = p.remark(m.Source)
}

// sourceText consumes words up to a number, an outcome or a comma.
func (p *parser) sourceText() string {
	from, end := p.i, p.segmentEnd(p.i)
	for p.i++; p.i < end; p.i++ {
		if n, _, _ := p.quantityAt(p.i, ""); n > 0 {
			break
		}
		if n, _ := p.outcomeAt(p.i); n > 0 && p.i+n == end || p.matchesAny(p.i, []string{"reads", "shows"}) > 0 {
			break
		}
	}
	p.textFrom, p.textTo = from, p.i
	return p.raw(from, p.i)
}
