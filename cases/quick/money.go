package quick

import (
	"regexp"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var moneyForm = regexp.MustCompile(`^([a-z]{3}|€)?[0-9][0-9.,']*([a-z]{3}|euros?|€)?$`)

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
			a.Who = p.who("who approved")
		case p.background():
		case p.takes("for"):
			a.What = also(a.What, p.textAfter("what was approved"))
		case a.Who == "" && !verb:
			p.stops = append(p.stops, append(refusals, approvals...)...)
			a.Who = p.wording("who approved")
		case p.words[p.i].gap && !p.isWord(p.i, negations) && !p.isWord(p.i, hedges):
			a.What = also(a.What, p.textWithout("what was approved"))
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
