package quick

import (
	"math"
	"regexp"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var moneyForm = regexp.MustCompile(`^([a-z]{3})?[0-9][0-9.,']*([a-z]{3})?$`)

// moneyAt finds an amount at word i. bare: the currency of the context will do.
func (p *parser) moneyAt(i int, bare bool) (n int, m *eventv1.Money, why string) {
	why = "an amount is needed"
	for k := 2; k >= 1; k-- {
		if i+k > len(p.words) || k == 2 && p.words[i+1].gap || p.words[i].quoted {
			continue
		}
		if !moneyForm.MatchString(strings.ReplaceAll(strings.ToLower(p.raw(i, i+k)), " ", "")) {
			continue
		}
		text := p.raw(i, i+k)
		if m, err := notation.ParseMoney(text); err == nil {
			return k, m, ""
		} else if why = err.Error(); k == 1 && bare {
			if m, err := notation.ParseMoneyIn(text, p.ctx.Currency); err == nil {
				return k, m, ""
			}
		}
	}
	return 0, nil, why
}

// money consumes '[cost|for] 45 EUR', or 'cost 45'.
func (p *parser) money(to **eventv1.Money) bool {
	from := p.i
	lead, _ := p.matchAny(p.i, "cost", "costs", "charge", "charged", "at a cost of", "price")
	n, m, why := p.moneyAt(p.i+lead, lead > 0)
	if n == 0 {
		return lead > 0 && p.fail(p.i, p.i+lead+1, why, "cost 45 EUR")
	}
	if *to != nil {
		return p.fail(from, p.i+lead+n, "a second amount", "one amount, as in 'cost 45 EUR'")
	}
	*to, p.i = m, p.i+lead+n
	return true
}

// approve reads 'customer approved 200 EUR by phone'.
func (p *parser) approve() {
	a := &eventv1.Approval{}
	p.event.Kind = &eventv1.Event_Approval{Approval: a}
	p.takes("approve", "approval")
	refusals := []string{"refused", "refuses", "declined", "declines", "did not approve", "does not approve", "not approved"}
	approvals := []string{"approved", "approves", "agreed to", "agrees to", "agreed", "approved up to"}
	verb := false
	for !p.done() {
		switch {
		case !verb && p.takes(refusals...):
			a.Refused, verb = true, true
		case !verb && p.takes(approvals...):
			verb = true
		case p.amount(&a.UpTo):
		case p.how(a):
		case p.match(p.i, "by") > 0 && a.Who == "":
			p.i++
			a.Who = p.words1("who approved")
		case p.background():
		case p.takes("for"):
			a.What = also(a.What, p.textAfter("what was approved"))
		case a.Who == "" && !verb:
			p.stops = append(p.stops, append(refusals, approvals...)...)
			a.Who = p.words1("who approved")
		case p.words[p.i].gap && !p.isWord(p.i, negations) && !p.isWord(p.i, hedges):
			a.What = also(a.What, p.text("what was approved"))
		default:
			p.stranger("approved", "refused", "200 EUR", "by phone", "for WHAT")
		}
	}
	a.What = p.remark(a.What)
	if p.err == nil && a.Who == "" {
		p.fail(0, p.i, "who approved is missing", "customer approved 200 EUR by phone", "owner refused 300 EUR")
	}
	if p.err == nil && a.UpTo == nil && !a.Refused && a.What == "" {
		p.fail(p.i, p.i, "how much is missing", "customer approved 200 EUR by phone")
	}
}

// amount consumes '[up to] 200 EUR', or the bare number where the currency is
// known.
func (p *parser) amount(to **eventv1.Money) bool {
	lead := p.match(p.i, "up to")
	n, m, why := p.moneyAt(p.i+lead, true)
	if n == 0 && lead == 0 && !p.isNumber(p.i) {
		return false
	}
	if n == 0 || *to != nil {
		return p.fail(p.i, p.i+lead+max(n, 1), "one amount is needed: "+why, "up to 200 EUR")
	}
	*to, p.i = m, p.i+lead+n
	return true
}

var ways = []string{"by phone", "by telephone", "by mail", "by e-mail", "by text", "by message", "in writing", "in person", "signed", "by signature"}

func (p *parser) how(a *eventv1.Approval) bool {
	if way := p.take(ways...); way != "" {
		a.How = also(a.How, way)
		return true
	}
	return false
}

// minutesAt reads '20 min', '1.5 h', '1 h 20 min'. minutes is 0 when they are
// not whole.
func (p *parser) minutesAt(i int) (n int, minutes uint32) {
	total := 0.0
	for {
		k, q, _ := p.quantityAt(i+n, "")
		if k == 0 || q.Sense != eventv1.Sense_SENSE_EXACTLY || !measures(q.Unit, notation.Time) || q.Unit != "min" && q.Unit != "h" {
			break
		}
		v, _, err := notation.Value(q)
		if err != nil || v < 0 || v > 1e7 {
			return 0, 0
		}
		total, n = total+v/60, n+k
	}
	if math.Abs(total-math.Round(total)) > 1e-6 {
		return n, 0
	}
	return n, uint32(math.Round(total))
}

// spent reads '[spent] 20 min tracing ground [, charge 45 EUR]'.
func (p *parser) spent() {
	t := &eventv1.TimeSpent{}
	p.event.Kind = &eventv1.Event_TimeSpent{TimeSpent: t}
	p.takes("spent")
	n, minutes := p.minutesAt(p.i)
	if n == 0 || minutes == 0 {
		p.fail(p.i, p.i+max(n, 1), "how long, in whole minutes, is missing", "20 min tracing ground", "1.5 h", "1 h 20 min")
		return
	}
	t.Minutes, p.i = minutes, p.i+n
	for !p.done() {
		switch {
		case p.money(&t.Charge), p.background():
		default:
			p.takes("on", "for")
			if p.done() {
				p.fail(p.i, p.i, "on what is missing", "20 min tracing ground")
				return
			}
			t.What = also(t.What, p.free())
		}
	}
	t.What = p.remark(t.What)
}

// workedOn reads 'worked on AREA [, what]'.
func (p *parser) workedOn() {
	w := &eventv1.WorkedOn{}
	p.event.Kind = &eventv1.Event_WorkedOn{WorkedOn: w}
	p.takes("worked on", "worked at", "worked")
	w.Area = p.words1("where")
	for !p.done() {
		switch {
		case p.background():
		case p.takes("touched", "components"):
			var list []*eventv1.Covered
			p.coverList(&list)
			for _, c := range list {
				w.Components = append(w.Components, c.Component)
			}
		case p.words[p.i].gap:
			w.What = also(w.What, p.free())
		default:
			p.stranger("a comma before what was done", "on Monday", "before you came", "by previous shop")
		}
	}
	w.What = p.remark(w.What)
}

// writeNote keeps everything behind 'note' as it is.
func (p *parser) writeNote() {
	n := &eventv1.Note{Text: p.said()}
	p.event.Kind = &eventv1.Event_Note{Note: n}
	if len(p.words) > 0 && p.match(0, "note") > 0 {
		n.Text = strings.TrimSpace(strings.TrimLeft(p.line[p.words[0].to:], ":, \t"))
	}
	p.i = len(p.words)
	if n.Text == "" {
		p.fail(len(p.words), len(p.words), "the note is empty", "note customer waits until noon")
	}
	for _, name := range p.ctx.Names {
		if mentions(n.Text, name.Text) {
			n.About = append(n.About, name.Text)
		}
	}
}

// mentions tells whether a text holds a name as whole words.
func mentions(text, name string) bool {
	t, n := " "+clean(text)+" ", clean(name)
	return n != "" && strings.Contains(t, " "+n+" ")
}

func clean(s string) string {
	return strings.Join(strings.FieldsFunc(notation.Key(s), func(r rune) bool { return strings.ContainsRune(" ,;:!?\"'()", r) }), " ")
}

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

// whereSeen finds where it was seen: the longest known name that the words hold, or
// a designation with a digit in it at their end ('in splice S4').
func (p *parser) whereSeen(s *eventv1.Seen) {
	var best Name
	for _, n := range p.ctx.Names {
		if mentions(s.What, n.Text) && len(n.Text) > len(best.Text) {
			best = n
		}
	}
	switch m := designator.FindStringSubmatch(s.What); {
	case best.Text != "" && best.Point:
		s.Point = best.Text
	case best.Text != "":
		s.Component = best.Text
	case m != nil:
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
