package cases

import (
	"math"
	"slices"

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

// Ground is what a part was fitted on, as the record has it.
type Ground int

const (
	// NoGround: no failing test on it before, and no other reason given.
	NoGround Ground = iota
	// StatedGround: damage seen, maintenance, bulletin, the customer's wish, a
	// trial that was put back, or the original going in again.
	StatedGround
	// TestGround: a failing test or judged reading on it, or on something that
	// covers it, stands earlier in job order; or a way round it made the concern
	// go away; or the fitter names a failing one as the reason.
	TestGround
)

func (g Ground) String() string {
	return [...]string{"no test before", "another reason", "test before"}[g]
}

// Ground of the fitting.
func (f *Fitting) Ground() Ground {
	if len(f.Failing) > 0 || f.pointedTo() {
		return TestGround
	}
	if len(f.Damage) > 0 || f.Part.GetState() == eventv1.PartState_PART_STATE_ORIGINAL {
		return StatedGround
	}
	switch f.Part.GetWhy() {
	case eventv1.Why_WHY_DAMAGE_SEEN, eventv1.Why_WHY_MAINTENANCE, eventv1.Why_WHY_BULLETIN, eventv1.Why_WHY_CUSTOMERS_WISH:
		return StatedGround
	case eventv1.Why_WHY_TRIAL:
		if f.PutBack != nil {
			return StatedGround
		}
	}
	return NoGround
}

// pointedTo reports whether a failing test or reading that the fitter names, or a
// bypass or substitution that made the concern go away, stands before it.
func (f *Fitting) pointedTo() bool {
	for _, s := range f.Step.Because {
		failed := s.Says.GetTest().GetOutcome() == eventv1.Outcome_OUTCOME_FAIL || s.Says.GetReading().GetOutcome() == eventv1.Outcome_OUTCOME_FAIL
		if failed && s.Job < f.Step.Job {
			return true
		}
	}
	for _, s := range f.Component.Steps {
		t := s.Says.GetTest()
		if s.Job >= f.Step.Job || t.GetManner() != eventv1.TestManner_TEST_MANNER_BYPASS && t.GetManner() != eventv1.TestManner_TEST_MANNER_SUBSTITUTION {
			continue
		}
		switch t.GetConcernChange() {
		case eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY, eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK:
			return true
		}
	}
	return false
}

// Spend is what a case has cost and what was agreed to.
type Spend struct {
	// Parts by the ground they were fitted on.
	Parts [3]Purse
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
	for _, p := range []Purse{s.Parts[NoGround], s.Parts[StatedGround], s.Parts[TestGround], s.Repairs, s.Time} {
		for _, m := range p.Moneys() {
			all.Add(m)
		}
	}
	return all
}

// Spend of the case.
func (s *State) Spend() *Spend {
	out := &Spend{Parts: [3]Purse{{}, {}, {}}, Repairs: Purse{}, Time: Purse{}, Approved: Purse{}}
	for _, f := range s.Fittings {
		out.Parts[f.Ground()].Add(f.Part.GetCost())
	}
	for _, r := range s.Repairs {
		out.Repairs.Add(r.Says.GetCost())
	}
	for _, t := range s.Time {
		out.Minutes += uint64(t.Says.GetTimeSpent().GetMinutes())
		out.Time.Add(t.Says.GetTimeSpent().GetCharge())
	}
	for _, a := range s.Approvals {
		if up := a.Says.GetApproval().GetUpTo(); up != nil && !a.Says.GetApproval().GetRefused() {
			out.Approved[up.GetCurrency()] = up.GetMinor()
		}
	}
	return out
}
