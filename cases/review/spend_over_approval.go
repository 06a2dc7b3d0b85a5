package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// What somebody outside the register spent before the case was opened is not
// charged here. An approval without a sum allows anything; a refusal allows
// nothing more. With no approval recorded at all there is nothing to compare.
func spendOverApproval() Rule {
	return Rule{
		Slug:     "spend-over-approval",
		Doctrine: "Nobody is charged more than they agreed to: ask before the sum is passed.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			approved, open := approvals(c.Case)
			if len(approved) == 0 || open {
				return nil
			}
			var out []Finding
			for _, code := range spent(c.Case) {
				if f := over(c.Case, code, approved); f != nil {
					out = append(out, *f)
				}
			}
			return out
		},
	}
}

// approvals is the last approval in each currency, with the refusals of one in
// which nothing was approved; open when the last one names no sum.
func approvals(c *cases.Case) (last map[string]*cases.Step, open bool) {
	last = map[string]*cases.Step{}
	for _, s := range c.Approvals {
		a := s.Says.GetApproval()
		code := a.GetUpTo().GetCurrency()
		if !a.GetRefused() {
			if open = a.GetUpTo() == nil; !open {
				last[code] = s
			}
		} else if last[code] == nil && code != "" {
			last[code] = s
		}
	}
	return last, open
}

// cost is what the step added to the bill.
func cost(c *cases.Case, s *cases.Step) *eventv1.Money {
	if onWord(s) && c.Opening != nil && s.Job < c.Opening.Job {
		return nil
	}
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted:
		return k.PartFitted.GetCost()
	case *eventv1.Event_Repair:
		return k.Repair.GetCost()
	case *eventv1.Event_TimeSpent:
		return k.TimeSpent.GetCharge()
	}
	return nil
}

// spent lists the currencies in which anything was spent.
func spent(c *cases.Case) []string {
	var out []string
	for _, s := range c.Jobs() {
		if m := cost(c, s); m.GetMinor() > 0 && !slices.Contains(out, m.GetCurrency()) {
			out = append(out, m.GetCurrency())
		}
	}
	slices.Sort(out)
	return out
}

func over(c *cases.Case, code string, approved map[string]*cases.Step) *Finding {
	said := approved[code]
	var limit int64
	if said != nil && !said.Says.GetApproval().GetRefused() {
		limit = said.Says.GetApproval().GetUpTo().GetMinor()
	}
	sum := cases.Purse{}
	var crossed *cases.Step
	var costs []*cases.Step
	for _, s := range c.Jobs() {
		m := cost(c, s)
		if m.GetCurrency() != code || m.GetMinor() == 0 {
			continue
		}
		sum.Add(m)
		costs = append(costs, s)
		if crossed == nil && sum[code] > limit {
			crossed = s
		}
	}
	total := notation.FormatMoney(&eventv1.Money{Minor: sum[code], Currency: code})
	if said == nil {
		var others []*cases.Step
		for _, s := range c.Approvals {
			if approved[s.Says.GetApproval().GetUpTo().GetCurrency()] == s {
				others = append(others, s)
			}
		}
		return &Finding{
			Entries: seqs(append(costs, others...)...),
			Why:     fmt.Sprintf("%s was spent, but what is approved (%s) is in another currency; the two cannot be compared here.", total, refs(others...)),
			Clears:  "Record an approval in " + code + ", or correct the currency.",
		}
	}
	if sum[code] <= limit {
		return nil
	}
	allowed := fmt.Sprintf("%s was approved (%s)", notation.FormatMoney(&eventv1.Money{Minor: limit, Currency: code}), refs(said))
	if said.Says.GetApproval().GetRefused() {
		allowed = fmt.Sprintf("approval was refused (%s)", refs(said))
	}
	return &Finding{
		Entries: seqs(said, crossed),
		Why:     fmt.Sprintf("Parts, repairs and time come to %s; %s. The sum was passed with %s.", total, allowed, refs(crossed)),
		Clears:  "Ask for the rest and record the answer, or correct what was entered.",
	}
}
