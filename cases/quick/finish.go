package quick

import (
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var hazards = map[string]eventv1.Hazard{
	"high voltage": eventv1.Hazard_HAZARD_HIGH_VOLTAGE, "hv": eventv1.Hazard_HAZARD_HIGH_VOLTAGE, "airbag": eventv1.Hazard_HAZARD_AIRBAG,
	"airbags": eventv1.Hazard_HAZARD_AIRBAG, "fuel": eventv1.Hazard_HAZARD_FUEL, "lifted": eventv1.Hazard_HAZARD_LIFTED,
	"on the lift": eventv1.Hazard_HAZARD_LIFTED, "on stands": eventv1.Hazard_HAZARD_LIFTED,
}

func yesNo(yes, no []string) map[string]eventv1.Answer {
	out := map[string]eventv1.Answer{}
	for _, f := range yes {
		out[f] = eventv1.Answer_ANSWER_YES
	}
	for _, f := range no {
		out[f] = eventv1.Answer_ANSWER_NO
	}
	return out
}

// madeSafe reads 'made safe high voltage, qualified HOW, locked off, proven
// dead, tester proven'.
func (p *parser) madeSafe() {
	s := &eventv1.MadeSafe{Said: p.said()}
	p.event.Kind = &eventv1.Event_MadeSafe{MadeSafe: s}
	p.takes("made safe", "safe")
	locked := yesNo([]string{"locked off", "locked out"}, []string{"not locked off", "not locked out"})
	dead := yesNo([]string{"proven dead"}, []string{"not proven dead"})
	tester := yesNo([]string{"tester proven", "tester proven before and after"}, []string{"tester not proven"})
	for !p.done() {
		switch {
		case once(p, hazards, &s.Hazard, "the hazard"), once(p, locked, &s.LockedOff, "whether it is locked off"),
			once(p, dead, &s.ProvenDead, "whether it is dead"), once(p, tester, &s.TesterProven, "whether the tester was proven"), p.background():
		case p.label(&s.QualifiedHow, "how qualified", "qualified"):
		case p.takes("made safe"):
		default:
			p.stranger("high voltage", "airbag", "locked off", "proven dead", "tester proven", "qualified HOW")
		}
	}
	if p.err == nil && s.Hazard == 0 {
		p.fail(p.i, p.i, "what was made safe is missing", "high voltage", "airbag", "fuel", "lifted")
	}
}

var modes = map[string]eventv1.FaultMode{
	"open": eventv1.FaultMode_FAULT_MODE_OPEN, "was open": eventv1.FaultMode_FAULT_MODE_OPEN, "high resistance": eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE,
	"short to ground": eventv1.FaultMode_FAULT_MODE_SHORT_TO_GROUND, "shorted to ground": eventv1.FaultMode_FAULT_MODE_SHORT_TO_GROUND,
	"short to power": eventv1.FaultMode_FAULT_MODE_SHORT_TO_POWER, "shorted to power": eventv1.FaultMode_FAULT_MODE_SHORT_TO_POWER,
	"short to neighbour": eventv1.FaultMode_FAULT_MODE_SHORT_TO_NEIGHBOUR, "shorted": eventv1.FaultMode_FAULT_MODE_SHORTED,
	"draws too much": eventv1.FaultMode_FAULT_MODE_DRAWS_TOO_MUCH, "seized": eventv1.FaultMode_FAULT_MODE_SEIZED,
	"output dead": eventv1.FaultMode_FAULT_MODE_OUTPUT_DEAD, "defective": eventv1.FaultMode_FAULT_MODE_DEFECTIVE,
	"wrong part": eventv1.FaultMode_FAULT_MODE_WRONG_PART_OR_SETTING, "wrong setting": eventv1.FaultMode_FAULT_MODE_WRONG_PART_OR_SETTING,
}

// repair reads 'repaired COMPONENT [from A to B] [: what] [, open] [, 45 EUR]'.
func (p *parser) repair() {
	r := &eventv1.Repair{}
	p.event.Kind = &eventv1.Event_Repair{Repair: r}
	p.stops = append(p.stops, "from", "between", "to", "cost", "for", "repaired", "mended")
	from := p.i
	verb := p.take("repair", "repaired", "mended", "soldered", "cleaned", "tightened", "crimped", "rejoined")
	if verb != "" && verb != "repair" && verb != "repaired" {
		r.What = p.raw(from, p.i)
	}
	r.Component = p.name(false, "the component")
	for !p.done() {
		switch {
		case p.takes("repaired", "mended"):
		case r.From == "" && p.takes("from", "between"):
			p.stops = append(p.stops, "and")
			r.From = p.name(true, "the first point")
			p.stops = p.stops[:len(p.stops)-1]
			if p.err == nil && !p.takes("to", "and") {
				p.fail(p.i, p.i+1, "the second point is missing", "from POINT to POINT")
				return
			}
			r.To = p.name(true, "the second point")
		case once(p, modes, &r.Mode, "what was wrong"), p.money(&r.Cost), p.background():
		case p.words[p.i].gap && !p.isWord(p.i, negations):
			p.takes("because")
			if p.done() {
				p.fail(p.i, p.i, "the reason is missing")
				return
			}
			r.What = also(r.What, p.segment())
		default:
			p.stranger("a comma before what was done", "from POINT to POINT", "open", "45 EUR", "because 12")
		}
	}
	if r.What == "" {
		r.What = "repaired"
	}
	r.What = p.remark(r.What)
}

// repairChecked reads 'checked repair 14, rescanned, concern tried, gone, pass'.
func (p *parser) repairChecked() {
	c := &eventv1.RepairChecked{Said: p.said()}
	p.event.Kind = &eventv1.Event_RepairChecked{RepairChecked: c}
	p.takes("checked repair", "checked the repair", "repair checked", "checked fitting", "checked")
	var s setting
	rescan := yesNo([]string{"rescanned"}, []string{"not rescanned", "no rescan"})
	relearn := yesNo([]string{"relearned", "relearnt"}, []string{"not relearned"})
	tried := yesNo([]string{"concern tried", "tried the concern"}, []string{"concern not tried"})
	gone := map[string]eventv1.Presence{"concern gone": eventv1.Presence_PRESENCE_ABSENT, "gone": eventv1.Presence_PRESENCE_ABSENT,
		"concern still there": eventv1.Presence_PRESENCE_PRESENT, "still there": eventv1.Presence_PRESENCE_PRESENT}
	for !p.done() {
		switch {
		case once(p, rescan, &c.Rescanned, "whether it was rescanned"), once(p, relearn, &c.Relearned, "whether it was relearned"),
			once(p, tried, &c.ConcernTried, "whether the concern was tried"), once(p, gone, &c.Concern, "whether the concern is there"):
		case p.outcome(&c.Outcome), p.presence(&c.Concern):
		case p.isReference(p.i+1) && p.takes("before"):
			p.references(&c.Before)
		case p.isReference(p.i+1) && p.takes("after"):
			p.references(&c.After)
		case p.background(), p.conditions(&s):
		case len(c.Repairs) == 0 && p.isReference(p.i):
			p.references(&c.Repairs)
		default:
			p.stranger("the entry of the repair: checked repair 14", "rescanned", "concern tried", "gone", "still there", "before 12", "after 15", "pass", "fail")
		}
	}
	c.Conditions = s.finish(p)
	if p.err == nil && len(c.Repairs) == 0 {
		p.fail(p.i, p.i, "which repair is missing", "checked repair 14", "checked repair last")
	}
}

func (p *parser) isReference(i int) bool {
	n, _ := p.referenceAt(i)
	return n > 0
}

// references consumes '12 and 14'.
func (p *parser) references(to *[]string) {
	for {
		n, ref := p.referenceAt(p.i)
		if n == 0 {
			p.fail(p.i, p.i+1, "the number of an entry is missing", "12", "last")
			return
		}
		*to = append(*to, p.resolve(ref, n))
		if !p.takes("and") {
			return
		}
	}
}

// meterChecked reads 'meter 2 checked on SOURCE [, 12.6 V], pass', 'meter 2
// leads shorted 0.2 ohm', 'clamp zeroed'.
func (p *parser) meterChecked() {
	m := &eventv1.MeterChecked{Instrument: &eventv1.Instrument{Kind: eventv1.InstrumentKind_INSTRUMENT_KIND_METER}}
	p.event.Kind = &eventv1.Event_MeterChecked{MeterChecked: m}
	from := p.i
	if n, kind := longest(p, instruments); n > 0 {
		m.Instrument.Kind = kind
		p.i += n
		for ; !p.done() && !p.words[p.i].gap && p.matchesAny(p.i, []string{"checked", "on", "leads shorted", "zeroed", "reads", "shows", "shorted"}) == 0; p.i++ {
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

var closings = map[string]eventv1.CloseOutcome{
	"fixed and checked": eventv1.CloseOutcome_CLOSE_OUTCOME_FIXED_AND_CHECKED, "cause found not repaired": eventv1.CloseOutcome_CLOSE_OUTCOME_CAUSE_FOUND_NOT_REPAIRED,
	"cause found": eventv1.CloseOutcome_CLOSE_OUTCOME_CAUSE_FOUND_NOT_REPAIRED, "works as designed": eventv1.CloseOutcome_CLOSE_OUTCOME_WORKS_AS_DESIGNED,
	"repaired on watch": eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH, "repaired and on watch": eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH,
	"on watch": eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH, "not found": eventv1.CloseOutcome_CLOSE_OUTCOME_NOT_FOUND,
	"declined": eventv1.CloseOutcome_CLOSE_OUTCOME_DECLINED,
}

// closed reads 'close fixed and checked [, words]'.
func (p *parser) closed() {
	c := &eventv1.Closed{Said: p.said()}
	p.event.Kind = &eventv1.Event_Closed{Closed: c}
	p.takes("close", "closed")
	choices := []string{"fixed and checked", "cause found not repaired", "works as designed", "repaired on watch", "not found", "declined"}
	if n, o := longest(p, closings); n > 0 {
		c.Outcome, p.i = o, p.i+n
	} else {
		p.fail(p.i, p.segmentEndHere(), "how it ended is missing", choices...)
		return
	}
	for !p.done() {
		switch {
		case p.background():
		case p.takes("not repaired") && c.Outcome == eventv1.CloseOutcome_CLOSE_OUTCOME_CAUSE_FOUND_NOT_REPAIRED:
		case p.words[p.i].gap && !p.isWord(p.i, negations) && !p.isWord(p.i, hedges):
			p.extra = also(p.extra, p.free())
		default:
			p.stranger(append([]string{"a comma before other words"}, choices...)...)
		}
	}
}
