package cases

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// advice words a test, and what recording its outcomes would do.
func (j *Judged) advice(t *trial, aim Aim) Advice {
	a := Advice{Component: t.comp, Manner: t.manner, Aim: aim, NowBad: j.judgement.Probability(t.part)}
	a.AfterWell = j.after(t.comp, t.well).Probability(t.part)
	a.AfterBad = j.after(t.comp, t.bad).Probability(t.part)
	a.word(t.hazard)
	a.Caution = caution(t.comp, t.manner, t.hazard)
	return a
}

// String is the test as one would tell it to somebody.
func (a Advice) String() string {
	text := a.Do + "."
	if len(a.Expect) > 0 {
		var all []string
		for _, f := range a.Expect {
			all = append(all, f.String())
		}
		text += " To expect: " + strings.Join(all, "; ") + "."
	}
	if a.IfWell != "" {
		text += " Well: " + a.IfWell + "."
		if a.AfterWell > 0 {
			text += " Then it is " + Percent(a.AfterWell) + "."
		}
		text += " Bad: " + a.IfBad + "."
		if a.AfterBad > 0 {
			text += fmt.Sprintf(" Then it is %s; now %s.", Percent(a.AfterBad), Percent(a.NowBad))
		}
	}
	if w := a.WriteDown(); w != "" {
		text += " " + w
	}
	if a.Minutes > 0 {
		text += fmt.Sprintf(" About %.0f minutes, risk counted in.", a.Minutes)
	}
	if len(a.Tools) > 0 {
		text += " Bring: " + strings.Join(a.Tools, ", ") + "."
	}
	if a.Caution != "" {
		text += " Caution: " + a.Caution
	}
	return text
}

// word says how the test is done. The figures are common practice for 12 V
// systems; the maker's own stand above them.
func (a *Advice) word(h hazard) {
	the := "the " + a.Component.Name
	switch a.Manner {
	case suspect.Function:
		a.Do = fmt.Sprintf("Work %s by itself: feed it, or ask it for its output, with its own load on", the)
		a.IfWell, a.IfBad = "it does what it should", "it does not"
		a.Tools = []string{"fused leads", "meter"}
		if h.fuel {
			a.Do = fmt.Sprintf("Let the vehicle's own circuit work %s, and read it at a plug outside the tank; feed nothing with a lead", the)
			a.Tools = []string{"meter"}
		}
	case suspect.Bypass:
		a.Do = fmt.Sprintf("Go round %s with a fused lead while the concern is there", the)
		a.IfWell, a.IfBad = "the concern stays", "the concern goes, and comes back without the lead"
		a.Tools = []string{"fused jumper lead"}
	case suspect.Substitution:
		a.Do = fmt.Sprintf("Unplug and replug %s first; if the concern stays, put a known good one in, then the first one again", the)
		a.IfWell, a.IfBad = "the concern stays with either", "the concern goes, and comes back with the first one"
		a.Tools = []string{"a known good part"}
	case suspect.Reseat:
		a.Do = fmt.Sprintf("Unplug and replug %s, and see what the concern does", the)
		switch {
		case h.airbag:
			a.Do = fmt.Sprintf("Powered down, and after the wait that the maker gives: undo %s, look at it, and do it up again as the maker says; then see what the concern does", the)
		case joinOf(a.Component.Name) == bolted:
			a.Do = fmt.Sprintf("Undo %s, clean it and do it up, and see what the concern does", the)
		}
		a.IfWell, a.IfBad = "the concern stays", "the concern goes: look at pins and contacts before anything is bought"
	case suspect.Bench:
		a.Do = fmt.Sprintf("Take %s off and try it on the bench under its own load", the)
		a.IfWell, a.IfBad = "it works there", "it does not"
		a.Tools = []string{"bench supply", "load", "meter"}
	case suspect.Drop:
		a.Do = fmt.Sprintf("Read the drop across %s while its circuit draws current; write the current down", the)
		a.IfWell, a.IfBad = "under 0.1 to 0.2 V for one contact or short wire, under 0.5 V for a whole side", "more than that"
		a.Tools = []string{"meter", "current clamp"}
	case suspect.Continuity:
		a.Do = fmt.Sprintf("Source off, one end free: ohms through %s", the)
		a.IfWell, a.IfBad = "next to nothing: it is not open, which is all that this tells", "OL"
		a.Tools = []string{"meter"}
	case suspect.Look:
		a.Do = fmt.Sprintf("Look at %s: water, green, heat, a pushed-back pin, a wire pinched", the)
		a.IfWell, a.IfBad = "nothing to see, which proves nothing", "something to see"
		a.Tools = []string{"light", "mirror"}
	}
}

// join is how a contact is made.
type join int

const (
	plugged join = iota
	bolted
	spliced
)

// joinOf goes by the last word of a name that tells.
func joinOf(name string) join {
	for _, w := range slices.Backward(wordsOf(name)) {
		word := []string{w}
		switch {
		case anyWord(word, "splice", "crimp", "joint"):
			return spliced
		case anyWord(word, "ground", "earth", "stud", "bolt", "clamp", "strap", "lug", "post"):
			return bolted
		case anyWord(word, "connector", "contact", "plug", "socket", "terminal", "pin", "holder"):
			return plugged
		}
	}
	return plugged
}

// caution before a test, with the usual words; the maker's stand above them.
func caution(c *Component, m suspect.Manner, h hazard) string {
	var out []string
	words := wordsOf(notation.Key(c.Name))
	if h.airbag {
		out = append(out, "No meter, lamp or lead on airbag or belt tensioner wiring; power down and wait as the maker says before it is undone.")
	}
	if h.highVoltage {
		out = append(out, "Only by somebody qualified, locked off and proven dead with a proven tester: make sure that it still is.")
	}
	if m == suspect.Bypass || m == suspect.Function && !h.fuel {
		out = append(out, "Fuse the lead no larger than the circuit's own fuse; never on airbag, bus, 5 V reference or module pins.")
	}
	if isModule(c.Name) && m == suspect.Substitution {
		out = append(out, "A coded or paired module cannot be swapped to try.")
	}
	if m.PlugOff() {
		out = append(out, "Pull at the plug and not at the wire, and spread no pin with a lead. Unplugging alone may cure a bad contact: see first that the concern is there.")
	}
	if m == suspect.TestLamp {
		out = append(out, "A filament lamp, and on this wire only: never on airbag, bus, 5 V reference or module pins.")
	}
	if anyWord(words, "fan") {
		out = append(out, "The fan can start by itself: keep clear, unplug it before reaching in.")
	}
	if h.fuel {
		out = append(out, "Fuel vapour burns: no sparks, no lamp, no lead into the tank, air the place.")
	}
	if anyWord(words, "starter", "alternator", "belt") && !h.airbag {
		out = append(out, "Out of gear, brake on, clear of belts.")
	}
	if len(out) == 0 {
		return ""
	}
	return strings.Join(out, " ") + " Follow the vehicle maker's service information."
}

// toCheck asks for the check of what was mended or fitted and not tried since.
func (j *Judged) toCheck() []Advice {
	var out []Advice
	checked := func(s *Step) bool {
		return slices.ContainsFunc(j.Checks, func(c *Step) bool { return slices.Contains(c.Says.GetRepairChecked().GetRepairs(), s.ID) })
	}
	for _, r := range j.Repairs {
		if r.Component == nil || checked(r.Step) || r.Step != r.Component.Lives[r.Component.Present()].From {
			continue
		}
		if slices.ContainsFunc(j.jobs[r.Step.Job:], func(s *Step) bool { seen, _ := sighting(s); return seen }) {
			continue // the concern has come since: there is nothing left to check
		}
		tried := slices.ContainsFunc(r.Component.Since(), func(e *Evidence) bool { return e.Outcome == eventv1.Outcome_OUTCOME_PASS })
		a := Advice{
			Component: r.Component, Aim: ToCheck, NowBad: j.Judgement().Probability(j.Part(r.Component)),
			Do:     fmt.Sprintf("Try the concern again under its own conditions, and read %s at the same points as before the repair (#%d)", "the "+r.Component.Name, r.Step.Seq),
			IfWell: "the concern stays away, and the readings are what they should be", IfBad: "the cause is not, or not only, what was mended",
			Manner: suspect.Function, Tools: []string{"meter"},
		}
		if tried {
			a.Do = fmt.Sprintf("Try the concern again under its own conditions, read the codes again, and record the check of the repair (#%d)", r.Step.Seq)
		}
		h := j.hazard(r.Component)
		if h.airbag || h.highVoltage {
			a.Do = fmt.Sprintf("Put it back into service as the maker says, by somebody qualified; read the codes again, try the concern again, and record the check of the repair (#%d)", r.Step.Seq)
			a.IfWell, a.Manner, a.Tools = "the concern stays away, and no code comes back", suspect.Look, []string{"scan tool"}
		}
		a.Caution = caution(r.Component, suspect.AnyManner, h)
		out = append(out, a)
	}
	return out
}
