package check

import (
	"fmt"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const digestSize = 32 // bytes of SHA-256, and of an Ed25519 public key

// betweenLeads are the dimensions that an instrument with two leads shows.
var betweenLeads = []notation.Dimension{
	notation.Voltage, notation.Current, notation.Resistance, notation.Conductance, notation.Frequency, notation.Ratio, notation.Time,
	notation.Capacitance, notation.Inductance, notation.Charge, notation.Power, notation.Energy, notation.Angle,
}

func (c checker) codesRead(k *eventv1.CodesRead) {
	c.name("module", k.GetModule())
	n := len(k.GetCodes())
	switch k.GetAnswer() {
	case eventv1.CodesAnswer_CODES_ANSWER_UNSPECIFIED:
		c.refuse("answer", "is not set", "say whether it gave codes, none, or did not answer")
	case eventv1.CodesAnswer_CODES_ANSWER_CODES:
		if n == 0 {
			c.refuse("codes", "is empty", "list the codes, or say that there are none")
		}
	default:
		if n > 0 {
			c.refuse("codes", fmt.Sprintf("lists %d codes beside '%s'", n, notation.Word(k.GetAnswer())), "a module with codes has answered with codes")
		}
	}
	for i, t := range k.GetCodes() {
		s := c.sub(item("codes", i))
		switch code := t.GetCode(); {
		case blank(code):
			s.refuse("code", "is empty", "write it as the module gave it, as P0480")
		case len(code) > 40:
			s.refuse("code", fmt.Sprintf("has %d bytes", len(code)), "a code has at most 40; its meaning goes into said")
		case len(code) == 5 && strings.ContainsRune("PCBU", rune(code[0])):
			if _, err := notation.EncodeCode(code); err != nil {
				s.ask("code", err.Error(), "was it read right?")
			}
		}
	}
}

func (c checker) evidenceDisturbed(k *eventv1.EvidenceDisturbed) {
	c.name("module", k.GetModule())
	c.dim("supply", k.GetSupply(), notation.Voltage)
	switch k.GetDisturbance() {
	case eventv1.Disturbance_DISTURBANCE_UNSPECIFIED:
		c.refuse("disturbance", "is not set", "say what was done: battery disconnected, module programmed or relearned")
	case eventv1.Disturbance_DISTURBANCE_MODULE_PROGRAMMED, eventv1.Disturbance_DISTURBANCE_MODULE_RELEARNED:
		if k.GetModule() == "" {
			c.remark("module", "is empty", "which module?")
		}
	}
}

func (c checker) reading(k *eventv1.Reading) {
	c.name("red", k.GetRed())
	c.name("black", k.GetBlack())
	c.name("at", k.GetAt())
	if k.GetValue() == nil && blank(k.GetShown()) {
		c.refuse("value", "is not set, and shown is empty", "write what was measured, or what was shown when it is no number")
	}
	c.where(k)
	c.tries(k.GetTries(), k.GetFailures())
	x := k.GetShouldBe()
	for i, limit := range []*eventv1.Quantity{x.GetLow(), x.GetHigh()} {
		v, known := notation.LookupUnit(k.GetValue().GetUnit())
		l, knownLimit := notation.LookupUnit(limit.GetUnit())
		if known && knownLimit && v.Dim != l.Dim {
			c.refuse([]string{"should_be.low", "should_be.high"}[i], fmt.Sprintf("%s is %s, the value %s", notation.Format(limit), l.Dim, v.Dim), "give both in units of one kind")
		}
	}
	c.verdict(k.GetOutcome(), k.GetTries(), k.GetFailures())
	if x == nil || k.GetValue() == nil {
		return
	}
	words, out := outside(k.GetValue(), x)
	switch {
	case k.GetOutcome() == eventv1.Outcome_OUTCOME_PASS && out:
		c.ask("outcome", "is pass, but "+words, "did it pass?")
	case k.GetOutcome() == eventv1.Outcome_OUTCOME_FAIL && inside(k.GetValue(), x) && blank(x.GetSaid()):
		c.ask("outcome", "is fail, but "+notation.Format(k.GetValue())+" is as it should be", "did it fail?")
	}
}

// where checks that a reading was taken somewhere, with something that shows its
// unit.
func (c checker) where(k *eventv1.Reading) {
	red, black := k.GetRed(), k.GetBlack()
	value := k.GetValue()
	unit, known := notation.LookupUnit(value.GetUnit())
	kind := k.GetInstrument().GetKind()
	if red == "" && black == "" && k.GetAt() == "" && blank(k.GetQuantity()) && len(k.GetCovers()) == 0 {
		c.refuse("red", "is empty, and so are black, at and quantity", "say where it was read: between which two points, or at what")
		return
	}
	leads := red != "" && black != ""
	switch {
	case leads && notation.Key(red) == notation.Key(black):
		c.ask("black", fmt.Sprintf("%q is where the red lead is, too", black), "a reading is between two points")
	case red == "" && black != "":
		c.ask("red", "is empty", "where was the red lead?")
	case red != "" && black == "" && unit.Dim == notation.Voltage:
		c.remark("black", "is empty", "a reading is between two leads; without the other it proves little")
	}
	if !known {
		return
	}
	if leads {
		c.dim("value", value, betweenLeads...)
	}
	if v, _, err := notation.Value(value); err == nil && (leads || !blank(k.GetQuantity())) && notation.IsDuty(value.GetUnit(), k.GetQuantity()) && (v < 0 || v > 1) {
		c.refuse("value", notation.Format(value)+" cannot be", "a duty is the share of the time for which something is driven: 0 to 100 %; name the quantity if it is another")
	}
	switch kind {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP:
		c.dim("value", value, notation.Current, notation.Frequency, notation.Charge)
	case eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP, eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER, eventv1.InstrumentKind_INSTRUMENT_KIND_EYES_AND_HANDS:
		c.ask("instrument.kind", fmt.Sprintf("'%s' does not show %s", notation.Word(kind), notation.Format(value)), "which instrument was it?")
	}
}

// verdict asks when outcome and counts do not go together.
func (c checker) verdict(o eventv1.Outcome, tries, failures uint32) {
	switch {
	case o == eventv1.Outcome_OUTCOME_PASS && failures > 0:
		c.ask("outcome", fmt.Sprintf("is pass, with %d failures", failures), "did it pass?")
	case o == eventv1.Outcome_OUTCOME_FAIL && tries > 0 && failures == 0:
		c.ask("outcome", fmt.Sprintf("is fail, with no failure in %d tries", tries), "did it fail?")
	}
}

func (c checker) test(k *eventv1.Test) {
	c.needs("what", k.GetWhat(), "say what was done, as 'ran the fan from the battery'")
	if len(k.GetCovers()) == 0 {
		c.refuse("covers", "is empty", "name what the test would find bad; one that covers nothing proves nothing")
	}
	if k.GetOutcome() == eventv1.Outcome_OUTCOME_UNSPECIFIED {
		c.refuse("outcome", "is not set", "say pass, fail or inconclusive")
	}
	c.tries(k.GetTries(), k.GetFailures())
	c.verdict(k.GetOutcome(), k.GetTries(), k.GetFailures())
	for i, id := range k.GetReadings() {
		c.refers(item("readings", i), id, Remark, "a reading", kindReading)
	}
	if m := k.GetManner(); k.GetConcernChange() == eventv1.ConcernChange_CONCERN_CHANGE_UNSPECIFIED &&
		(m == eventv1.TestManner_TEST_MANNER_BYPASS || m == eventv1.TestManner_TEST_MANNER_SUBSTITUTION) {
		c.remark("concern_change", "is not set", notation.Word(m)+" proves by what the concern did")
	}
}

func (c checker) seen(k *eventv1.Seen) {
	c.needs("what", k.GetWhat(), "say what was seen, as 'green corrosion in splice S4'")
	c.name("component", k.GetComponent())
	c.name("point", k.GetPoint())
	if k.GetOutcome() == eventv1.Outcome_OUTCOME_PASS && k.GetMode() != eventv1.FaultMode_FAULT_MODE_UNSPECIFIED {
		c.refuse("mode", fmt.Sprintf("is '%s', but it looks good", notation.Word(k.GetMode())), "what looks good has no fault; leave one out")
	}
	if n := len(k.GetPhoto()); n != 0 && n != digestSize {
		c.refuse("photo", fmt.Sprintf("has %d bytes", n), "it is the SHA-256 of the photograph, 32 bytes")
	}
	c.who("told", k.GetTold())
}

func (c checker) meterChecked(k *eventv1.MeterChecked) {
	if k.GetInstrument() == nil {
		c.refuse("instrument", "is not set", "say which meter was checked")
	}
	c.needs("source", k.GetSource(), "say on what it was checked, as 'battery posts' or 'leads shorted'")
	if k.GetOutcome() == eventv1.Outcome_OUTCOME_UNSPECIFIED {
		c.refuse("outcome", "is not set", "say pass or fail")
	}
}

func (c checker) belief(k *eventv1.Belief) {
	c.needs("statement", k.GetStatement(), "write what is held to be so")
	switch k.GetBasis() {
	case eventv1.Basis_BASIS_UNSPECIFIED:
		c.refuse("basis", "is not set", "say whether it was measured, seen, told, looked up, remembered, traced or assumed")
	case eventv1.Basis_BASIS_TOLD:
		if k.GetToldBy() == "" {
			c.remark("told_by", "is empty", "on whose word?")
		}
	}
	c.name("component", k.GetComponent())
	c.name("point", k.GetPoint())
	c.who("told_by", k.GetToldBy())
	if claim := k.GetClaim(); claim != nil {
		s := c.sub("claim")
		s.mustName("component", claim.GetComponent(), "name what is held to be good or bad")
		if o := claim.GetOutcome(); o != eventv1.Outcome_OUTCOME_PASS && o != eventv1.Outcome_OUTCOME_FAIL {
			s.refuse("outcome", "is neither pass nor fail", "a claim says good (pass) or bad (fail)")
		}
	}
}

func (c checker) beliefSettled(k *eventv1.BeliefSettled, because bool) {
	c.refers("belief", k.GetBelief(), Refuse, "a belief", kindBelief)
	if h := k.GetHolds(); h != eventv1.Answer_ANSWER_YES && h != eventv1.Answer_ANSWER_NO {
		c.refuse("holds", "is neither yes nor no", "a belief is settled as true or not true")
	}
	if blank(k.GetHow()) && !because {
		c.refuse("how", "is empty, and because names no entry", "say by what it was settled")
	}
}
