package cases

import (
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// hazard is what can hurt somebody who tests a component: by its name, by the
// points that a drawing gives it, or because it leads to such a component.
type hazard struct{ airbag, highVoltage, fuel bool }

// allows says whether a test of the manner is ever advised. What fires when it is
// fed is neither fed nor bridged nor measured, made safe or not; where nothing is
// live, nothing that needs it live is done; and a lead in a tank makes a spark.
func (h hazard) allows(m suspect.Manner) bool {
	switch m {
	case suspect.Look:
		return true
	case suspect.Reseat:
		return !h.highVoltage
	case suspect.Continuity:
		return !h.airbag
	case suspect.Bypass, suspect.Bench, suspect.TestLamp:
		return h == hazard{}
	}
	return !h.airbag && !h.highVoltage
}

// unsafe says why nothing is advised; empty: the tests that are allowed may be.
func (h hazard) unsafe(c *Case) string {
	safe := func(of eventv1.Hazard) bool {
		return slices.ContainsFunc(c.MadeSafe, func(s *Step) bool { return s.Says.GetMadeSafe().GetHazard() == of })
	}
	switch {
	case h.airbag && !safe(eventv1.Hazard_HAZARD_AIRBAG):
		return "airbag or belt tensioner: nothing is advised here until it is recorded as made safe, by somebody qualified, as the maker says"
	case h.highVoltage && !safe(eventv1.Hazard_HAZARD_HIGH_VOLTAGE):
		return "high voltage: nothing is advised here until it is recorded as made safe, locked off and proven dead, by somebody qualified"
	}
	return ""
}

// hazard of a component.
func (j *Judged) hazard(c *Component) hazard {
	if j.dangers == nil {
		j.dangers = j.hazards()
	}
	return j.dangers[c]
}

// hazards of all components that have one.
func (c *Case) hazards() map[*Component]hazard {
	out := map[*Component]hazard{}
	nets := map[string]hazard{} // by the key of a point
	for _, d := range c.Drawings {
		for _, p := range d.Says.GetCircuitDrawn().GetPoints() {
			h := hazard{airbag: p.GetNet() == eventv1.NetKind_NET_KIND_AIRBAG, highVoltage: p.GetNet() == eventv1.NetKind_NET_KIND_HIGH_VOLTAGE}
			if h != (hazard{}) {
				nets[notation.Key(p.GetPoint())] = h
				nets[c.pointKey(p.GetPoint())] = h
			}
		}
	}
	fuel := c.aboutFuel()
	for _, comp := range c.Components {
		h := hazardOf(comp.Name, fuel)
		for point, net := range nets {
			if strings.HasPrefix(point, comp.Key) {
				h = h.and(net)
			}
		}
		if h != (hazard{}) {
			out[comp] = h
		}
	}
	if len(out) == 0 && len(nets) == 0 {
		return out
	}
	c.leads(out, nets)
	return out
}

func (h hazard) and(o hazard) hazard {
	return hazard{h.airbag || o.airbag, h.highVoltage || o.highVoltage, h.fuel || o.fuel}
}

// hazardOf is the hazard that a name tells. Where the case is about fuel, a sender is
// the one in the tank, unless its name says what else it senses.
func hazardOf(name string, aboutFuel bool) hazard {
	key := strings.ReplaceAll(notation.Key(name), "-", " ")
	words := wordsOf(key)
	sender := aboutFuel && anyWord(words, "sender", "sending", "float") && !anyWord(words, "temperature", "coolant", "oil", "pressure")
	tank := anyWord(words, "tank") && !anyWord(words, "washer", "water", "coolant", "expansion", "air")
	return hazard{
		airbag:      anyWord(words, "airbag", "srs", "tensioner", "pretensioner", "squib") || strings.Contains(key, "air bag"),
		highVoltage: anyWord(words, "inverter", "traction", "hv") || strings.Contains(key, "high voltage"),
		fuel:        anyWord(words, fuelWords...) || tank || sender,
	}
}

var fuelWords = []string{"fuel", "petrol", "gasoline", "diesel", "lpg"}

// wordsOf are the words of a name in lower case.
func wordsOf(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" -.,/:;()", r) })
}

// anyWord reports whether one of the words is there, in the plural too.
func anyWord(words []string, any ...string) bool {
	return slices.ContainsFunc(words, func(w string) bool {
		return slices.Contains(any, w) || slices.Contains(any, strings.TrimSuffix(w, "s"))
	})
}

// aboutFuel reports whether the concern speaks of fuel, or the name of anything
// that the case speaks of.
func (c *Case) aboutFuel() bool {
	for _, s := range c.Concerns {
		if anyWord(wordsOf(concernOf(s).GetStatement()), append(fuelWords, "tank")...) {
			return true
		}
	}
	for _, comp := range c.Components {
		if anyWord(wordsOf(comp.Name), fuelWords...) {
			return true
		}
	}
	return false
}

// leads gives the hazard of a component, or of a point, to the wires and contacts
// that lead there, as far as the first branch or the first thing that is neither.
func (c *Case) leads(to map[*Component]hazard, nets map[string]hazard) {
	all := c.elements(c.everything())
	at := map[string][]int{}
	for i, e := range all {
		for _, p := range []string{e.GetFrom(), e.GetTo()} {
			key := c.pointKey(p)
			at[key] = append(at[key], i)
		}
	}
	var walk func(i int, h hazard)
	walk = func(i int, h hazard) {
		for _, p := range []string{all[i].GetFrom(), all[i].GetTo()} {
			key := c.pointKey(p)
			near := at[key]
			if len(near) != 2 || key == keyPlus || key == keyMinus {
				continue
			}
			next := near[0] + near[1] - i
			if next == i || !leadsOn(all[next].GetKind()) {
				continue
			}
			if comp := all[next].Component; to[comp].and(h) != to[comp] {
				to[comp] = to[comp].and(h)
				walk(next, h)
			}
		}
	}
	for i, e := range all {
		h := to[e.Component]
		if leadsOn(e.GetKind()) {
			h = h.and(nets[c.pointKey(e.GetFrom())]).and(nets[c.pointKey(e.GetTo())])
		}
		if h != (hazard{}) {
			to[e.Component] = to[e.Component].and(h)
			walk(i, h)
		}
	}
}

// leadsOn reports whether an element is no more than a way for current.
func leadsOn(k eventv1.ElementKind) bool {
	switch k {
	case eventv1.ElementKind_ELEMENT_KIND_WIRE, eventv1.ElementKind_ELEMENT_KIND_CONTACT, eventv1.ElementKind_ELEMENT_KIND_SPLICE, eventv1.ElementKind_ELEMENT_KIND_GROUND:
		return true
	}
	return false
}
