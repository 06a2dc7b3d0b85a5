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
	s := &eventv1.MadeSafe{}
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
