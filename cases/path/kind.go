package path

import (
	"maps"
	"regexp"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Short names for the kinds of element.
const (
	supply   = eventv1.ElementKind_ELEMENT_KIND_SUPPLY
	fuse     = eventv1.ElementKind_ELEMENT_KIND_FUSE
	breaker  = eventv1.ElementKind_ELEMENT_KIND_BREAKER
	switched = eventv1.ElementKind_ELEMENT_KIND_SWITCH
	relay    = eventv1.ElementKind_ELEMENT_KIND_RELAY_CONTACT
	coil     = eventv1.ElementKind_ELEMENT_KIND_RELAY_COIL
	wire     = eventv1.ElementKind_ELEMENT_KIND_WIRE
	contact  = eventv1.ElementKind_ELEMENT_KIND_CONTACT
	splice   = eventv1.ElementKind_ELEMENT_KIND_SPLICE
	load     = eventv1.ElementKind_ELEMENT_KIND_LOAD
	output   = eventv1.ElementKind_ELEMENT_KIND_OUTPUT
	diode    = eventv1.ElementKind_ELEMENT_KIND_DIODE
	ground   = eventv1.ElementKind_ELEMENT_KIND_GROUND
	resistor = eventv1.ElementKind_ELEMENT_KIND_RESISTOR
	unsaid   = eventv1.ElementKind_ELEMENT_KIND_UNSPECIFIED
)

var kinds = map[string]eventv1.ElementKind{
	"battery": supply, "alternator": supply, "supply": supply,
	"fuse": fuse, "link": fuse, "breaker": breaker, "switch": switched, "relay": relay, "coil": coil, "wire": wire,
	"pin": contact, "contact": contact, "connector": contact, "inline": contact, "plug": contact, "socket": contact, "terminal": contact,
	"splice": splice,
	"lamp":   load, "bulb": load, "motor": load, "fan": load, "pump": load, "heater": load, "horn": load, "load": load,
	"resistor": resistor, "sender": resistor, "sensor": resistor,
	"output": output, "bcm": output, "ecm": output, "ecu": output, "module": output,
	"diode": diode, "gnd": ground, "ground": ground, "chassis": ground,
}

// generic kind words say the kind and are no part of the name.
var generic = map[eventv1.ElementKind]string{load: "load", contact: "pin", output: "output", wire: "wire"}

// hasPin: such a part's own pins are drawn beside it, with no wire between.
var hasPin = []eventv1.ElementKind{load, coil, resistor, output, switched, relay, fuse, breaker, diode}

// endsPath: a pin next to such a part is its own.
var endsPath = []eventv1.ElementKind{load, coil, resistor, output, diode}

// takesConditions: such an element is open or closed.
var takesConditions = []eventv1.ElementKind{switched, relay, output}

// changesOver: such an element may have two pairs of terminals.
var changesOver = []eventv1.ElementKind{switched, relay}

// noTerminals: these have two sides, or posts, and no terminals with names.
var noTerminals = []eventv1.ElementKind{supply, wire, contact, splice, ground, diode}

const kindsOffered = "say what it is: fuse, breaker, switch, relay, coil, splice, lamp, motor, load, resistor, pin, inline, output, diode, gnd, supply"

const plus, minus, battery = "batt+", "batt-", "battery"

// posts are the ways to write the two posts, by key.
var posts = map[string]string{
	"batt+": plus, "batt+ post": plus, "battery+": plus, "battery +": plus, "battery plus": plus, "battery positive": plus, "battery positive post": plus,
	"batt-": minus, "batt- post": minus, "battery-": minus, "battery -": minus, "battery minus": minus, "battery negative": minus, "battery negative post": minus,
	"battery": battery,
}

var (
	// pinForm is a name that looks like a pin of something: 'fan.C1-2', 'C3-14'.
	pinForm  = regexp.MustCompile(`^[\pL\pN][\pL\pN_+-]*\.[\pL\pN][\pL\pN_+-]*$|^[\pL\pN]*\pL[\pL\pN]*-\pL?\pN+\pL?$`)
	termForm = regexp.MustCompile(`^[\pL\pN]{1,4}/[\pL\pN]{1,4}$`)
	termName = regexp.MustCompile(`^[\pL\pN]{1,4}$`)
)

func looksLikePin(name string) bool { return pinForm.MatchString(name) }

// kind works out the kind and name of an element from the words that are left
// when the attributes are taken out. unsaid: no word says a kind.
func (d *drawing) kind(u *use, words []word) {
	first, last := kinds[words[0].key], kinds[words[len(words)-1].key]
	u.name = joined(words)
	if words[0].key == "relay" && len(words) > 1 {
		switch words[1].key {
		case "coil":
			u.kind = coil
		case "contact", "contacts":
			u.kind = relay
		}
		if u.kind != unsaid {
			u.base = joined(words[2:])
			return
		}
		if len(words) > 2 && words[len(words)-1].key == "coil" { // 'relay K2 coil', as it is said
			u.kind, u.base = coil, joined(words[1:len(words)-1])
			return
		}
	}
	switch {
	case first != unsaid && generic[first] == words[0].key:
		u.kind, u.name = first, joined(words[1:])
		if u.name == "" && first != wire {
			d.refuse(words[0].end(), "'"+words[0].text+"' needs a name", "name it: "+words[0].key+" "+map[eventv1.ElementKind]string{load: "fan motor", contact: "bcm C3-14", output: "bcm C3-14"}[first])
		}
		return
	case len(words) > 2 && first != unsaid && words[0].key == words[len(words)-1].key:
		u.kind, u.name = first, joined(words[1:])
		return
	case first == unsaid && last == unsaid:
		if looksLikePin(words[len(words)-1].text) {
			u.pin = true
		}
		return
	}
	u.kind = first
	if first == unsaid || first == load && last != unsaid {
		u.kind = last
	}
	if first != unsaid && u.kind == first && len(words) > 1 {
		u.base = joined(words[1:])
	}
	for i, w := range words {
		k := kinds[w.key]
		if k == unsaid || k == load || k == u.kind || u.kind == relay && i == len(words)-1 && w.key == "contact" {
			continue
		}
		whole := joined(words)
		d.refuse(words[0].to(words[len(words)-1].mark), "'"+whole+"' can be "+a(u.kind)+" or "+a(k),
			"put what is only a name in quotes: "+unlike(words, u.kind)+", or "+w.key+` "`+whole+`"`)
		return
	}
	if end := words[len(words)-1]; u.kind == load && len(words) > 1 && looksLikePin(end.text) {
		d.refuse(words[0].to(end.mark), "'"+joined(words)+"' can be a load or a pin of one",
			"write pin "+joined(words)+" or "+joined(words[:len(words)-1])+"."+end.text+" for the pin, load "+joined(words)+" for the load")
	}
}

// a kind with its article.
func a(kind eventv1.ElementKind) string {
	if kind == output {
		return "an " + notation.Word(kind)
	}
	return "a " + notation.Word(kind)
}

// unlike writes a name so that it is of the kind alone: the words of other kinds
// in quotes.
func unlike(words []word, kind eventv1.ElementKind) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = w.text
		if k := kinds[w.key]; k != unsaid && k != kind && k != load {
			out[i] = `"` + w.text + `"`
		}
	}
	return strings.Join(out, " ")
}

func joined(words []word) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = w.text
	}
	return strings.Join(out, " ")
}

// kindNear is the kind word that one of the words comes near to, and that word.
func kindNear(words []word) (kind string, typed word) {
	all := slices.Sorted(maps.Keys(kinds))
	for _, w := range words {
		if len(w.key) < 3 {
			continue
		}
		if near := notation.Nearest(w.key, all); near != "" {
			return near, w
		}
	}
	return "", word{}
}
