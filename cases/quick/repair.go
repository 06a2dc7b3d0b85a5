package quick

import eventv1 "knowngood.example/proto/knowngood/event/v1"

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
	p.stops = append(p.stops, "from", "between", "to", "cost", "for", "repaired", "mended", "at", "in", "on", "with")
	done := []string{"soldered", "cleaned", "tightened", "crimped", "spliced", "taped", "sealed", "renewed", "rejoined", "replaced", "insulated"}
	p.ends, p.priced = done, true
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
		case (p.words[p.i].gap || p.matchesAny(p.i, append([]string{"at", "in", "on", "with"}, done...)) > 0) && !p.isWord(p.i, negations):
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
	c := &eventv1.RepairChecked{}
	p.event.Kind = &eventv1.Event_RepairChecked{RepairChecked: c}
	p.takes("checked repair", "checked the repair", "repair checked", "checked fitting", "checked")
	p.takes("repair", "the repair")
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
