package review

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A component is suspect here when a test of what is there now failed, it was
// seen to be bad since, or somebody claims it is bad. Work is work before the
// onset when it is told as what happened just before, or is placed before the
// opening and not dated after the onset. Where a circuit is drawn, what was worked on
// may also be a part of the stretch that the readings have narrowed it to, or joined
// to it.
func workedOnThenFailed() Rule {
	return Rule{
		Slug:     "worked-on-then-failed",
		Doctrine: "The last place somebody worked is the first place to look.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			suspects := suspected(c.Case)
			if len(c.Worked) > 0 || len(c.Concerns) > 0 {
				suspects = append(suspects, alongStretch(c.witnesses, suspects)...)
			}
			if len(suspects) == 0 {
				return nil
			}
			var names []string
			for _, sus := range suspects {
				names = append(names, sus.key)
			}
			known := glossaryOf(names)
			var out []Finding
			for _, s := range c.Concerns {
				con := s.Says.GetCaseOpened().GetConcern()
				if con == nil {
					con = s.Says.GetConcernStated().GetConcern()
				}
				for _, i := range inOrder(known.mentionedIn(notation.Key(con.GetJustBefore()))) {
					out = append(out, workedOn(s, suspects[i], fmt.Sprintf("It began after this: %s (%s).", con.GetJustBefore(), refs(s))))
				}
			}
			for _, s := range c.Worked {
				if !beforeOnset(c.Case, s) {
					continue
				}
				w := s.Says.GetWorkedOn()
				at := append(known.mentionedIn(notation.Key(w.GetArea()+" "+w.GetWhat())), known.mentioning(notation.Key(w.GetArea()))...)
				for _, n := range w.GetComponents() {
					at = append(at, known.is[c.Key(n)]...)
				}
				for _, i := range inOrder(at) {
					out = append(out, workedOn(s, suspects[i], fmt.Sprintf("Somebody worked there before it began (%s).", refs(s))))
				}
			}
			return out
		},
	}
}

func workedOn(s *cases.Step, sus accused, how string) Finding {
	against := fmt.Sprintf("%s %s against %s.", refs(sus.by...), number(len(sus.by), "speaks", "speak"), the(sus.name))
	if sus.how != "" {
		against = fmt.Sprintf("By %s %s.", refs(sus.by...), sus.how)
	}
	return Finding{
		Entries: seqs(append(slices.Clone(sus.by), s)...), About: []string{sus.name},
		Why:    against + " " + how,
		Clears: fmt.Sprintf("Look at %s where the work was done: plugs, pins, grounds and pinched wires.", the(sus.name)),
	}
}

type accused struct {
	name, key string
	by        []*cases.Step
	// how it comes to be suspect, where nobody says so of it alone.
	how string
}

// alongStretch are the parts of the stretch that the trouble is narrowed to on a
// drawn circuit, and what is joined to it, but for those that are suspect already.
func alongStretch(w *witnesses, already []accused) []accused {
	st := stretchOf(w)
	if st == nil {
		return nil
	}
	var names []string
	for _, p := range st.parts {
		names = append(names, the(p.Name))
	}
	where := fmt.Sprintf("and what is drawn the trouble is in %s", strings.Join(names, " or "))
	var out []accused
	for _, comp := range slices.Concat(st.parts, st.joined) {
		if slices.ContainsFunc(already, func(a accused) bool { return a.key == comp.Key }) {
			continue
		}
		a := accused{name: comp.Name, key: comp.Key, by: st.by, how: where}
		if slices.Contains(st.joined, comp) {
			a.how += fmt.Sprintf(", and %s is joined to it", the(comp.Name))
		}
		out = append(out, a)
	}
	return out
}

// suspected lists what speaks against a component or point as it is now, in the
// order in which it first did.
func suspected(c *cases.Case) []accused {
	var out []accused
	at := map[string]int{}
	add := func(name string, s *cases.Step) {
		key := c.Key(name)
		if key == "" {
			return
		}
		i, met := at[key]
		if !met {
			i = len(out)
			at[key] = i
			out = append(out, accused{name: name, key: key})
		}
		if !slices.Contains(out[i].by, s) {
			out[i].by = append(out[i].by, s)
		}
	}
	for _, s := range c.Jobs() {
		switch k := s.Says.GetKind().(type) {
		case *eventv1.Event_Seen:
			if looksBad(s) && !k.Seen.GetOutsideConcern() && !putRight(c, s) {
				add(k.Seen.GetComponent(), s)
				add(k.Seen.GetPoint(), s)
			}
		case *eventv1.Event_Belief:
			b := c.BeliefOf(s)
			if b != nil && b.About != nil && k.Belief.GetClaim().GetOutcome() == fail && b.Holds != no && !renewed(b.About, s) {
				add(b.About.Name, s)
			}
		case *eventv1.Event_Reading, *eventv1.Event_Test:
			if outcome(s) != fail {
				continue
			}
			for _, cov := range covers(s) {
				if comp := c.Component(cov.GetComponent()); comp != nil && !renewed(comp, s) {
					add(comp.Name, s)
				}
			}
			if r := s.Says.GetReading(); len(covers(s)) == 0 {
				add(r.GetRed(), s)
			}
		}
	}
	return out
}

// renewed reports whether the component was fitted, repaired or taken out since
// the step.
func renewed(comp *cases.Component, s *cases.Step) bool {
	last := comp.Lives[comp.Present()].From
	return last != nil && last.Job > s.Job
}

// beforeOnset reports whether the work is placed before the opening and not dated
// after the onset.
func beforeOnset(c *cases.Case, s *cases.Step) bool {
	if c.Opening == nil || s.Job > c.Opening.Job {
		return false
	}
	done, dKnown := day(s)
	onset := c.Opening.Says.GetCaseOpened().GetConcern().GetOnset()
	if onset == nil || onset.GetPrecision() == eventv1.Precision_PRECISION_UNKNOWN || !dKnown {
		return true
	}
	return done <= dayOf(onset)
}
