package quick

import (
	"regexp"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// saw reads 'saw WHAT [, looks bad] [, outside the concern] [, told customer]'.
func (p *parser) saw() {
	s := &eventv1.Seen{}
	p.event.Kind = &eventv1.Event_Seen{Seen: s}
	p.takes("seen", "saw", "found", "noticed", "i saw", "i found", "i noticed")
	start := p.i
	looks := map[string]eventv1.Outcome{"looks bad": eventv1.Outcome_OUTCOME_FAIL, "looks good": eventv1.Outcome_OUTCOME_PASS, "looks ok": eventv1.Outcome_OUTCOME_PASS}
	for !p.done() {
		switch {
		case p.i == start:
			s.What = p.text("what was seen")
		case once(p, looks, &s.Outcome, "how it looks"), p.outcome(&s.Outcome), p.background():
		case p.takes("outside the concern", "not part of the concern", "nothing to do with the concern"):
			s.OutsideConcern = true
		case p.label(&s.Told, "who was told", "told"):
		case p.takes("about point"):
			s.Point = p.name(true, "the point")
		case p.takes("about component", "about"):
			s.Component = p.name(false, "the component")
		case p.takes("because"):
			s.What = also(s.What, "because "+p.segment())
		default:
			s.What = also(s.What, p.text("what was seen"))
		}
	}
	if p.err != nil {
		return
	}
	if s.What == "" {
		p.fail(p.i, p.i, "what was seen is missing", "saw green corrosion in splice S4")
		return
	}
	if s.Component == "" && s.Point == "" {
		p.whereSeen(s)
	}
	s.What = p.remark(s.What)
}

var designator = regexp.MustCompile(`(?i) (?:in|on|at|of) (?:the )?((?:[\pL-]+ )?[\pL.]*[0-9][\pL0-9.-]*)$`)

// whereSeen finds where it was seen: the one known name that the words hold, or
// a designation with a digit in it at their end ('in splice S4').
func (p *parser) whereSeen(s *eventv1.Seen) {
	found := p.mentioned(s.What)
	switch m := designator.FindStringSubmatch(s.What); {
	case len(found) == 1 && found[0].Point:
		s.Point = found[0].Text
	case len(found) == 1:
		s.Component = found[0].Text
	case len(found) == 0 && m != nil:
		s.Component = m[1]
		for k := range p.words {
			for end := k + 1; end <= len(p.words) && p.err == nil; end++ {
				if p.raw(k, end) == m[1] {
					col, n := p.column(k, end)
					p.parsed.New = append(p.parsed.New, NewName{Name: Name{Text: m[1]}, Nearest: p.nearest(m[1], false), Column: col, Length: n})
					return
				}
			}
		}
	}
}
