package review

import (
	"fmt"
	"math"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A window is what lies between two looks at the vehicle. When more than one
// thing was changed in it, and a conclusion names only some of them, the record
// does not bear the conclusion out; unless a way round the one that is named, or
// the same points before and after, does.
func severalChangesCredited() Rule {
	return Rule{
		Slug:     "several-changes-credited",
		Doctrine: "Two parts changed between two tests: nobody can say which one did anything.",
		Severity: Look,
		check:    severalChanges,
	}
}

// change is something fitted, repaired or reseated.
type change struct {
	step *cases.Step
	comp *cases.Component
	// job: changes of one job, or of one component, are one change.
	job string
}

func severalChanges(c *sheet) []Finding {
	all := changes(c.Case)
	if len(all) < 2 {
		return nil
	}
	looks, credits := looksAt(c.Case), creditedBy(c.Case, all)
	var out []Finding
	said := map[*cases.Step]bool{}
	for _, x := range all {
		for _, k := range credits[x.step] {
			if said[k] || exchanged(x.comp) || c.beforeAndAfter(x.comp) {
				continue
			}
			with := sameWindow(all, x, looks, k)
			named := slices.DeleteFunc(slices.Clone(with), func(y change) bool { return !slices.Contains(credits[y.step], k) })
			if jobs(with) == jobs(named) {
				continue
			}
			said[k] = true
			out = append(out, several(x, with, k))
		}
	}
	return out
}

func several(x change, with []change, k *cases.Step) Finding {
	f := Finding{Entries: seqs(k)}
	var names []string
	for _, y := range with {
		f.Entries = append(f.Entries, y.step.Seq)
		f.About = append(f.About, y.comp.Name)
		names = append(names, fmt.Sprintf("%s (%s)", the(y.comp.Name), refs(y.step)))
	}
	f.Why = fmt.Sprintf("%s were changed with no test between them, and %s credits %s. The record cannot say which of them did it.", upper(list(names)), refs(k), the(x.comp.Name))
	f.Clears = "Put one of them back as it was and see whether the concern returns, or test the parts that came out."
	return f
}

func changes(c *cases.Case) []change {
	var out []change
	for _, s := range c.Jobs() {
		x := change{step: s}
		switch k := s.Says.GetKind().(type) {
		case *eventv1.Event_PartFitted:
			if f := c.FittingOf(s); f == nil || f.PutBack != nil {
				continue
			}
			x.comp, x.job = changed(c, s), notation.Key(k.PartFitted.GetJob())
		case *eventv1.Event_Repair:
			x.comp = changed(c, s)
		case *eventv1.Event_PartPutBack:
			if k.PartPutBack.GetReseatedOnly() {
				x.comp = c.Component(k.PartPutBack.GetComponent())
			}
		}
		if x.comp == nil {
			continue
		}
		if x.job == "" {
			x.job = "component " + x.comp.Key
		}
		out = append(out, x)
	}
	return out
}

// looksAt are the places in job order at which somebody tested, or saw whether
// the concern was there.
func looksAt(c *cases.Case) []int {
	var out []int
	for _, s := range c.Jobs() {
		o := outcome(s)
		judged := measured(s) && (o == pass || o == fail)
		if judged || presence(s) != eventv1.Presence_PRESENCE_UNSPECIFIED || s.Says.GetRepairChecked() != nil {
			out = append(out, s.Job)
		}
	}
	return out
}

// sameWindow lists the changes between the look before x and the look after it,
// or the conclusion k when nobody looked.
func sameWindow(all []change, x change, looks []int, k *cases.Step) []change {
	i, _ := slices.BinarySearch(looks, x.step.Job)
	from, to := 0, math.MaxInt
	if i > 0 {
		from = looks[i-1]
	}
	if i < len(looks) {
		to = looks[i]
	}
	to = min(to, max(k.Job, x.step.Job+1))
	first := func(job int) int {
		n, _ := slices.BinarySearchFunc(all, job, func(y change, job int) int { return y.step.Job - job })
		return n
	}
	return all[first(from+1):first(to)]
}

// jobs counts the changes, those of one job once.
func jobs(cs []change) int {
	distinct := map[string]bool{}
	for _, x := range cs {
		distinct[x.job] = true
	}
	return len(distinct)
}

// creditedBy maps the step of each change to the later conclusions that put the
// cure down to it.
func creditedBy(c *cases.Case, all []change) map[*cases.Step][]*cases.Step {
	of, parts := map[*cases.Step]change{}, map[*cases.Component][]change{}
	for _, x := range all {
		of[x.step] = x
		parts[x.comp] = append(parts[x.comp], x)
	}
	out := map[*cases.Step][]*cases.Step{}
	for _, s := range concluding(c) {
		var named []change
		for _, b := range s.Because {
			named = append(named, of[b])
		}
		for _, id := range s.Says.GetRepairChecked().GetRepairs() {
			named = append(named, of[c.ByID(id)])
		}
		if cause := s.Says.GetHandedBack().GetCause(); cause != "" {
			named = append(named, parts[c.Component(cause)]...)
		}
		for _, x := range named {
			if x.step != nil && x.step.Job < s.Job && !slices.Contains(out[x.step], s) {
				out[x.step] = append(out[x.step], s)
			}
		}
	}
	return out
}

// concluding are the steps that say the fault is found or gone.
func concluding(c *cases.Case) []*cases.Step {
	var out []*cases.Step
	for _, s := range c.Checks {
		if r := s.Says.GetRepairChecked(); r.GetOutcome() == pass || r.GetOutcome() != fail && r.GetConcern() == eventv1.Presence_PRESENCE_ABSENT {
			out = append(out, s)
		}
	}
	return append(out, claiming(c)...)
}

// claiming are the steps that name a cause: hand-backs, closings as fixed, and
// beliefs settled as true.
func claiming(c *cases.Case) []*cases.Step {
	var out []*cases.Step
	for _, h := range c.Handoffs {
		if h.Back != nil {
			out = append(out, h.Back)
		}
	}
	for _, b := range c.Beliefs {
		if b.Settled != nil && b.Holds == yes {
			out = append(out, b.Settled)
		}
	}
	for _, s := range c.Closings {
		switch s.Says.GetClosed().GetOutcome() {
		case eventv1.CloseOutcome_CLOSE_OUTCOME_FIXED_AND_CHECKED, eventv1.CloseOutcome_CLOSE_OUTCOME_REPAIRED_ON_WATCH:
			out = append(out, s)
		}
	}
	return out
}
