package cases

import (
	"math"
	"slices"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Purse holds sums in minor units by ISO 4217 code. Currencies are never mixed.
type Purse map[string]int64

// Add adds the money; nothing for nil. A sum past what fits stays at the most
// that does.
func (p Purse) Add(m *eventv1.Money) {
	if m == nil {
		return
	}
	sum := p[m.GetCurrency()]
	switch d := m.GetMinor(); {
	case d > 0 && sum > math.MaxInt64-d:
		sum = math.MaxInt64
	case d < 0 && sum < math.MinInt64-d:
		sum = math.MinInt64
	default:
		sum += d
	}
	p[m.GetCurrency()] = sum
}

// Moneys lists the sums by currency code.
func (p Purse) Moneys() []*eventv1.Money {
	var out []*eventv1.Money
	for code, minor := range p {
		out = append(out, &eventv1.Money{Minor: minor, Currency: code})
	}
	slices.SortFunc(out, func(a, b *eventv1.Money) int {
		if a.GetCurrency() < b.GetCurrency() {
			return -1
		}
		return 1
	})
	return out
}

// Reason is a stated reason other than finding the fault, which makes a part fitted
// no guess: damage seen, maintenance, a bulletin, the customer's wish, a trial that
// was put back, or the original going in again. Empty when there is none.
func (f *Fitting) Reason() string {
	switch why := f.Part.GetWhy(); {
	case len(f.Damage) > 0 || why == eventv1.Why_WHY_DAMAGE_SEEN:
		return "damage seen"
	case f.Part.GetState() == eventv1.PartState_PART_STATE_ORIGINAL:
		return "the original again"
	case why == eventv1.Why_WHY_TRIAL && f.PutBack != nil:
		return "a trial, put back"
	case why == eventv1.Why_WHY_MAINTENANCE, why == eventv1.Why_WHY_BULLETIN, why == eventv1.Why_WHY_CUSTOMERS_WISH:
		return notation.Word(why)
	}
	return ""
}

// Guess reports whether the part was fitted with neither a test behind it nor
// another reason.
func (g Graded) Guess() bool {
	return (g.Grade == NoEvidence || g.Grade == AgainstEvidence) && g.Reason() == ""
}

// Spend is what a case has cost and what was agreed to.
type Spend struct {
	// Parts by the grade they were given when they were fitted.
	Parts [grades]Purse
	// Guessed are those of them with neither a test nor another reason.
	Guessed Purse
	// Repairs are the costs of mending, Time what was charged for time.
	Repairs, Time Purse
	Minutes       uint64
	// Approved is the last approval in each currency: all that is approved so
	// far, parts and time together.
	Approved Purse
}

// Total of parts, repairs and time.
func (s *Spend) Total() Purse {
	all := Purse{}
	for _, p := range append(s.Parts[:], s.Repairs, s.Time) {
		for _, m := range p.Moneys() {
			all.Add(m)
		}
	}
	return all
}

// Spend of the case.
func (j *Judged) Spend() *Spend {
	out := &Spend{Guessed: Purse{}, Repairs: Purse{}, Time: Purse{}, Approved: Purse{}}
	for g := range out.Parts {
		out.Parts[g] = Purse{}
	}
	for _, f := range j.Fittings {
		g := j.Graded(f)
		out.Parts[g.Grade].Add(f.Part.GetCost())
		if g.Guess() {
			out.Guessed.Add(f.Part.GetCost())
		}
	}
	for _, r := range j.Repairs {
		out.Repairs.Add(r.Says.GetCost())
	}
	for _, t := range j.Time {
		out.Minutes += uint64(t.Says.GetTimeSpent().GetMinutes())
		out.Time.Add(t.Says.GetTimeSpent().GetCharge())
	}
	for _, a := range j.Approvals {
		if up := a.Says.GetApproval().GetUpTo(); up != nil && !a.Says.GetApproval().GetRefused() {
			out.Approved[up.GetCurrency()] = up.GetMinor()
		}
	}
	return out
}
