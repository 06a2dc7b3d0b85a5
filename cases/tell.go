package cases

import (
	"fmt"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func tellVehicle(l *line, v *eventv1.Vehicle) {
	l.add("VIN %s", v.GetVin())
	l.add("plate %s", v.GetPlate())
	l.add("%s", quantity(v.GetOdometer()))
	if v.GetSystemVolts() != 0 {
		l.add("%s V system", itoa(uint64(v.GetSystemVolts())))
	}
	if v.GetHighVoltage() == eventv1.Answer_ANSWER_YES {
		l.add("high voltage on board")
	}
}

func tellConcern(l *line, c *eventv1.Concern) {
	l.add("concern: %s", c.GetStatement())
	l.add("when: %s", c.GetConditions())
	l.add("since %s", moment(c.GetOnset()))
	l.add("just before: %s", c.GetJustBefore())
	l.add("how often: %s", c.GetFrequency())
	l.add("works: %s", strings.Join(c.GetWorks(), ", "))
	l.add("does not work: %s", strings.Join(c.GetDoesNotWork(), ", "))
}

// partWords names a part by its state and what it is.
func partWords(p *eventv1.PartFitted) string {
	state := notation.Word(p.GetState())
	if state == "" {
		state = "new or used not said"
	}
	return strings.Join(words(state, or(p.GetPart(), p.GetComponent())), " ")
}

func tellFitted(l *line, p *eventv1.PartFitted) {
	l.add("%s", p.GetComponent())
	l.add("%s", partWords(p))
	l.add("number %s", p.GetPartNumber())
	switch p.GetNumberMatches() {
	case eventv1.Answer_ANSWER_YES:
		l.add("the number matches")
	case eventv1.Answer_ANSWER_NO:
		l.add("the number does not match")
	}
	l.add("from %s", p.GetBorrowedFrom())
	l.add("supplier %s", p.GetSupplier())
	l.add("%s", money(p.GetCost()))
	l.add("out: %s", p.GetRemoved())
	l.add("%s", kept(p.GetOldKept(), "old part"))
	l.add("why: %s", strings.Join(words(notation.Word(p.GetWhy()), remark(p.GetWhySaid())), ", "))
	l.add("job %s", p.GetJob())
}

func kept(a eventv1.Answer, what string) string {
	switch a {
	case eventv1.Answer_ANSWER_YES:
		return what + " kept"
	case eventv1.Answer_ANSWER_NO:
		return what + " not kept"
	}
	return ""
}

// ReadingWords is what was measured and between which leads: '12.31 V drop, red
// bcm.C3-14, black batt-'.
func ReadingWords(r *eventv1.Reading) string {
	var out []string
	if r.GetQuantity() != "" {
		out = append(out, r.GetQuantity())
	}
	value := or(quantity(r.GetValue()), r.GetShown())
	if sh := r.GetValue().GetShape(); sh == eventv1.Shape_SHAPE_DROP || sh == eventv1.Shape_SHAPE_AC || sh == eventv1.Shape_SHAPE_PEAK {
		if word := notation.Word(sh); !strings.HasSuffix(value, word) {
			value += " " + word
		}
	}
	out = append(out, value)
	text := strings.Join(out, " ")
	if q := quantity(r.GetValue()); q != "" && r.GetShown() != "" {
		text += ", " + r.GetShown()
	}
	if r.GetRed() != "" {
		text += ", red " + r.GetRed()
	}
	if r.GetBlack() != "" {
		text += ", black " + r.GetBlack()
	}
	if r.GetAt() != "" {
		text += ", at " + r.GetAt()
	}
	return text
}

func tellReading(l *line, r *eventv1.Reading) {
	l.add("%s", ReadingWords(r))
	l.add("%s", ConditionWords(r.GetConditions()))
	l.add("with %s", instrument(r.GetInstrument()))
	l.add("concern %s", notation.Word(r.GetConcern()))
	l.add("should be %s", ExpectationWords(r.GetShouldBe()))
	l.add("%s", notation.Word(r.GetOutcome()))
	l.add("covers %s", coverWords(r.GetCovers()))
	l.add("%s", tries(r.GetTries(), r.GetFailures()))
	l.add("meanwhile %s", r.GetMeanwhile())
	l.add("%s", remark(r.GetSaid()))
}

func tellTest(l *line, t *eventv1.Test) {
	l.add("%s", t.GetWhat())
	l.add("%s", notation.Word(t.GetManner()))
	l.add("%s", notation.Word(t.GetOutcome()))
	l.add("%s", t.GetResult())
	l.add("covers %s", coverWords(t.GetCovers()))
	l.add("should be %s", ExpectationWords(t.GetShouldBe()))
	l.add("%s", ConditionWords(t.GetConditions()))
	l.add("with %s", instrument(t.GetInstrument()))
	l.add("concern %s", notation.Word(t.GetConcern()))
	l.add("concern %s", notation.Word(t.GetConcernChange()))
	l.add("%s", tries(t.GetTries(), t.GetFailures()))
	l.add("meanwhile %s", t.GetMeanwhile())
	l.add("%s", remark(t.GetSaid()))
}

// claimWords is what a belief asserts: 'splice S4 bad (high resistance)', 'fan
// feed not bad (open)'.
func claimWords(c *eventv1.Claim) string {
	verdict := map[eventv1.Outcome]string{eventv1.Outcome_OUTCOME_PASS: "not bad", eventv1.Outcome_OUTCOME_FAIL: "bad"}[c.GetOutcome()]
	text := strings.Join(words(c.GetComponent(), verdict), " ")
	if mode := notation.Word(c.GetMode()); mode != "" {
		text += " (" + mode + ")"
	}
	return text
}

func coverWords(covers []*eventv1.Covered) string {
	out := make([]string, len(covers))
	for i, c := range covers {
		out[i] = c.GetComponent()
		if c.GetExtent() == eventv1.Extent_EXTENT_MOSTLY {
			out[i] = "mostly " + out[i]
		}
		var modes []string
		for _, m := range c.GetModes() {
			modes = append(modes, notation.Word(m))
		}
		if len(modes) > 0 {
			out[i] += " (" + strings.Join(modes, ", ") + ")"
		}
	}
	return strings.Join(out, ", ")
}

// ExpectationWords is what should have come: '12 to 12.9 V, according to
// service information'.
func ExpectationWords(e *eventv1.Expectation) string {
	low, high := quantity(e.GetLow()), quantity(e.GetHigh())
	var l []string
	switch {
	case low != "" && high != "":
		l = append(l, low+" to "+high)
	case low != "" && e.GetLow().GetSense() == eventv1.Sense_SENSE_OVER, high != "" && e.GetHigh().GetSense() == eventv1.Sense_SENSE_UNDER:
		l = append(l, low+high) // says 'over' or 'under' by itself
	case low != "" && e.GetLow().GetSense() == eventv1.Sense_SENSE_OVER:
		l = append(l, low)
	case low != "":
		l = append(l, "at least "+low)
	case high != "" && e.GetHigh().GetSense() == eventv1.Sense_SENSE_UNDER:
		l = append(l, high)
	case high != "":
		l = append(l, "at most "+high)
	}
	l = append(l, words(e.GetSaid())...)
	if e.GetSource() != "" {
		l = append(l, "according to "+e.GetSource())
	}
	return strings.Join(l, ", ")
}

// ConditionWords is the conditions in the order a technician says them.
func ConditionWords(c *eventv1.Conditions) string {
	if c == nil {
		return ""
	}
	var l []string
	switch k := c.GetKey(); k {
	case eventv1.KeyPosition_KEY_POSITION_UNSPECIFIED:
	case eventv1.KeyPosition_KEY_POSITION_OFF, eventv1.KeyPosition_KEY_POSITION_ON, eventv1.KeyPosition_KEY_POSITION_ACCESSORY:
		l = append(l, "key "+notation.Word(k))
	default:
		l = append(l, notation.Word(k))
	}
	if w := notation.Word(c.GetCommanded()); w != "" {
		l = append(l, "commanded "+w)
	}
	for _, list := range []struct {
		items []string
		word  string
	}{{c.GetUnplugged(), "unplugged"}, {c.GetJumped(), "jumped"}} {
		if len(list.items) > 0 {
			l = append(l, strings.Join(list.items, ", ")+" "+list.word)
		}
	}
	if len(c.GetLoaded()) > 0 {
		l = append(l, "loaded with "+strings.Join(c.GetLoaded(), ", "))
	}
	if q := quantity(c.GetCurrent()); q != "" {
		l = append(l, "at "+q)
	}
	if q := quantity(c.GetSupply()); q != "" {
		l = append(l, "supply "+q)
	}
	if q := quantity(c.GetTemperature()); q != "" {
		l = append(l, "at "+q)
	}
	l = append(l, words(c.GetSaid())...)
	return strings.Join(l, ", ")
}

// LimitWords is what the owner allows.
func LimitWords(m *eventv1.Limits) string {
	var l line
	if m.GetMinutes() != 0 {
		l.add("at most %s min", itoa(uint64(m.GetMinutes())))
	}
	l.add("at most %s", money(m.GetMoney()))
	for _, q := range []struct {
		a    eventv1.Answer
		what string
	}{{m.GetMayCut(), "cut"}, {m.GetMayRemove(), "remove"}} {
		switch q.a {
		case eventv1.Answer_ANSWER_YES:
			l.add("may %s", q.what)
		case eventv1.Answer_ANSWER_NO:
			l.add("may not %s", q.what)
		}
	}
	l.add("%s", m.GetSaid())
	return l.String()
}

func closeWords(o eventv1.CloseOutcome) string {
	switch o {
	case eventv1.CloseOutcome_CLOSE_OUTCOME_CAUSE_FOUND_NOT_REPAIRED:
		return "cause found, not repaired"
	case eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH:
		return "repaired and on watch"
	}
	return notation.Word(o)
}

func tries(n, failures uint32) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("failed %d of %d tries", failures, n)
}

func instrument(i *eventv1.Instrument) string {
	return or(i.GetName(), notation.Word(i.GetKind()))
}

func quantity(q *eventv1.Quantity) string {
	if q == nil {
		return ""
	}
	return notation.Format(q)
}

func money(m *eventv1.Money) string {
	if m == nil {
		return ""
	}
	return notation.FormatMoney(m)
}

func moment(m *eventv1.Moment) string {
	if m == nil {
		return ""
	}
	return notation.FormatMoment(m, nil)
}

// them is who said something, as it stands behind 'by'.
func them(who string) string {
	switch strings.ToLower(who) {
	case "they":
		return "them"
	case "he":
		return "him"
	case "she":
		return "her"
	}
	return who
}

// remark is a text without the mark that sets a note off from a line.
func remark(s string) string { return strings.TrimPrefix(s, "# ") }

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func words(all ...string) []string {
	var out []string
	for _, w := range all {
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}
