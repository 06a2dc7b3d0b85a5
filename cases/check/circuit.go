package check

import (
	"fmt"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func (c checker) circuitDrawn(k *eventv1.CircuitDrawn) {
	if len(k.GetElements())+len(k.GetPoints()) == 0 {
		c.refuse("elements", "is empty, and so is points", "draw something, or name what is known of a point")
	}
	switch k.GetBasis() {
	case eventv1.Basis_BASIS_UNSPECIFIED:
		c.refuse("basis", "is not set", "say where it comes from: looked up, traced, told, remembered")
	case eventv1.Basis_BASIS_LOOKED_UP:
		if blank(k.GetSource()) {
			c.remark("source", "is empty", "which diagram?")
		}
	}
	c.name("name", k.GetName())
	for i, e := range k.GetElements() {
		c.sub(item("elements", i)).element(e)
	}
	for i, p := range k.GetPoints() {
		c.sub(item("points", i)).mustName("point", p.GetPoint(), "name the point, as 'bcm.C3-14'")
	}
}

func (c checker) element(e *eventv1.Element) {
	switch e.GetKind() {
	case eventv1.ElementKind_ELEMENT_KIND_UNSPECIFIED:
		c.refuse("kind", "is not set", "say what it is: wire, fuse, switch, load and so on")
	case eventv1.ElementKind_ELEMENT_KIND_WIRE: // known by its points
		c.name("component", e.GetComponent())
	default:
		c.mustName("component", e.GetComponent(), fmt.Sprintf("'%s' has a name; only a wire may go without", notation.Word(e.GetKind())))
	}
	c.mustName("from", e.GetFrom(), "name the point where it begins")
	c.mustName("to", e.GetTo(), "name the point where it ends")
	if from := notation.Key(e.GetFrom()); from != "" && from == notation.Key(e.GetTo()) {
		c.refuse("to", fmt.Sprintf("%q is where it begins", e.GetTo()), "it lies between two points")
	}
	c.dim("rating", e.GetRating(), notation.Current)
	c.positive("rating", e.GetRating())
	c.dim("resistance", e.GetResistance(), notation.Resistance)
	c.dim("power", e.GetPower(), notation.Power)
	c.positive("power", e.GetPower())
	c.dim("current", e.GetCurrent(), notation.Current)
	c.positive("current", e.GetCurrent())
	c.dim("emf", e.GetEmf(), notation.Voltage)
	c.dim("length", e.GetLength(), notation.Length)
	c.positive("length", e.GetLength())
}

func (c checker) sameAs(k *eventv1.SameAs) {
	c.mustName("one", k.GetOne(), "name what is the same")
	c.mustName("other", k.GetOther(), "name what it is the same as")
	if one := notation.Key(k.GetOne()); one != "" && one == notation.Key(k.GetOther()) {
		c.refuse("other", fmt.Sprintf("%q is the same name already", k.GetOther()), "give two different names")
	}
}
