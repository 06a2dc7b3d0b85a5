package quick

import eventv1 "knowngood.example/proto/knowngood/event/v1"

var closings = map[string]eventv1.CloseOutcome{
	"fixed and checked": eventv1.CloseOutcome_CLOSE_OUTCOME_FIXED_AND_CHECKED, "cause found not repaired": eventv1.CloseOutcome_CLOSE_OUTCOME_CAUSE_FOUND_NOT_REPAIRED,
	"cause found": eventv1.CloseOutcome_CLOSE_OUTCOME_CAUSE_FOUND_NOT_REPAIRED, "works as designed": eventv1.CloseOutcome_CLOSE_OUTCOME_WORKS_AS_DESIGNED,
	"repaired on watch": eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH, "repaired and on watch": eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH,
	"on watch": eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH, "not found": eventv1.CloseOutcome_CLOSE_OUTCOME_NOT_FOUND,
	"declined": eventv1.CloseOutcome_CLOSE_OUTCOME_DECLINED,
}

// closed reads 'close fixed and checked [, words]'.
func (p *parser) closed() {
	c := &eventv1.Closed{}
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
