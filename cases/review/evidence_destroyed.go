package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A second clearing with nothing read in between destroys nothing more, and is
// not said again.
func evidenceDestroyed() Rule {
	return Rule{
		Slug:     "evidence-destroyed",
		Doctrine: "Write the codes down before clearing them, disconnecting the battery or programming a module: what they would have told is gone after.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			gone := map[string]bool{}
			for _, d := range c.Destroyed {
				module := c.Key(destroyedModule(d))
				if slices.ContainsFunc(c.Codes, func(r *cases.Step) bool { return r.Job < d.Job && recorded(c.Case, r, module) }) {
					continue
				}
				if gone[""] || gone[module] {
					continue
				}
				gone[module] = true
				out = append(out, destroyed(d))
			}
			return out
		},
	}
}

func destroyed(d *cases.Step) Finding {
	what, f := "the codes were cleared", Finding{Entries: seqs(d)}
	if e := d.Says.GetEvidenceDisturbed(); e != nil {
		if what = notation.Word(e.GetDisturbance()); what == "" {
			what = "something was done that clears codes"
		}
	}
	if m := destroyedModule(d); m != "" {
		what += fmt.Sprintf(" (%s)", m)
		f.About = []string{m}
	}
	f.Why = fmt.Sprintf("In %s: %s, and no codes are recorded before. What they and their freeze frames would have told can no longer be known.", refs(d), what)
	f.Clears = "If the codes were noted somewhere, write them up and place them before it. Otherwise read them again once the concern has been seen; that there are none now does not mean that there is no fault."
	return f
}

// destroyedModule is the module whose codes went; empty: the whole vehicle's.
func destroyedModule(d *cases.Step) string {
	if cl := d.Says.GetCodesCleared(); cl != nil {
		return cl.GetModule()
	}
	e := d.Says.GetEvidenceDisturbed()
	if e.GetDisturbance() == eventv1.Disturbance_DISTURBANCE_BATTERY_DISCONNECTED {
		return ""
	}
	return e.GetModule()
}

// recorded reports whether the reading of codes tells what the module held.
func recorded(c *cases.Case, r *cases.Step, module string) bool {
	read := r.Says.GetCodesRead()
	if read.GetAnswer() == eventv1.CodesAnswer_CODES_ANSWER_DOES_NOT_ANSWER {
		return false
	}
	of := c.Key(read.GetModule())
	return of == "" || module == "" || of == module
}
