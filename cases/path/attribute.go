package path

import (
	"errors"
	"regexp"
	"strconv"
	"strings"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func asQuick(err error, to **quick.Error) bool { return errors.As(err, to) }

func itoa(n int) string { return strconv.Itoa(n) }

// attributes are what is said of an element beside its name.
type attributes struct {
	quantities    []quantity
	gauge         string
	gaugeMark     mark
	colour        string
	colourMark    mark
	terminals     [2]string
	terminalsMark mark
	reversed      bool
	reversedMark  mark
}

// quantity is a number with its unit.
type quantity struct {
	*eventv1.Quantity
	mark
	dim   notation.Dimension
	typed string
}

// slot is where the quantity goes in an element of the kind; nil: nowhere.
func (q quantity) slot(kind eventv1.ElementKind) func(*eventv1.Element) **eventv1.Quantity {
	draws := kind == load || kind == coil || kind == resistor
	switch {
	case q.dim == notation.Current && (kind == fuse || kind == breaker):
		return func(e *eventv1.Element) **eventv1.Quantity { return &e.Rating }
	case q.dim == notation.Current && draws:
		return func(e *eventv1.Element) **eventv1.Quantity { return &e.Current }
	case q.dim == notation.Power && draws:
		return func(e *eventv1.Element) **eventv1.Quantity { return &e.Power }
	case q.dim == notation.Resistance:
		return func(e *eventv1.Element) **eventv1.Quantity { return &e.Resistance }
	case q.dim == notation.Voltage && kind == supply:
		return func(e *eventv1.Element) **eventv1.Quantity { return &e.Emf }
	case q.dim == notation.Length && kind == wire:
		return func(e *eventv1.Element) **eventv1.Quantity { return &e.Length }
	}
	return nil
}

var (
	gaugeNumber = regexp.MustCompile(`^(\d{1,2}|[1-4]/0|0{2,4})$`)
	gaugeGlued  = regexp.MustCompile(`^(\d{1,2}|[1-4]/0|0{2,4})(?i:awg|ga)$`)
	gaugeUnits  = []string{"awg", "ga", "gauge"}
	senseWords  = []string{"about", "around", "approx", "approx.", "approximately", "roughly", "under", "below", "over", "above"}
	// notAlone are units that stand for more than that when a space is before them:
	// 'lamp 2 R' is a lamp on the right, 'F7 in' a point.
	notAlone = []string{"in", "k", "r", "c", "f"}
)

// attributes takes the attributes out of the words; what is left is the name.
func (d *drawing) attributes(u *use, words []word) (left []word) {
	smallA := false // amperes in a small letter: '10a', but 'relay K2 87a'
	switch kinds[words[0].key] {
	case fuse, breaker, load:
		smallA = true
	}
	for i := 0; i < len(words); i++ {
		w := words[i]
		next := word{}
		if i+1 < len(words) {
			next = words[i+1]
		}
		switch {
		case w.quoted:
			left = append(left, w)
		case w.key == "reversed":
			u.reversed, u.reversedMark = true, w.mark
		case len(w.key) > 5 && notation.Nearest(w.key, []string{"reversed"}) != "":
			d.refuse(w.mark, "'"+w.text+"' looks like 'reversed' misspelt", `write reversed, or put it in quotes: "`+w.text+`"`)
		case gaugeGlued.MatchString(w.text):
			d.gauge(u, gaugeGlued.FindStringSubmatch(w.text)[1]+" AWG", w.mark)
		case gaugeNumber.MatchString(w.text) && among(next.key, gaugeUnits):
			d.gauge(u, w.text+" AWG", w.to(next.mark))
			i++
		case w.key == "awg" && gaugeNumber.MatchString(next.text):
			d.gauge(u, next.text+" AWG", w.to(next.mark))
			i++
		case termForm.MatchString(w.text) && bothNumbered(w.text):
			a, b, _ := strings.Cut(w.text, "/")
			switch {
			case u.terminals[0] != "":
				d.refuse(w.mark, "a second pair of terminals", "draw the second pair as an element of its own: relay K2 30/87a")
			case notation.Key(a) == notation.Key(b):
				d.refuse(w.mark, "both ends at terminal "+a, "it lies between two terminals: 30/87")
			}
			u.terminals, u.terminalsMark = [2]string{a, b}, w.mark
		default:
			n := d.quantity(u, words[i:], smallA)
			if n == 0 {
				left = append(left, w)
				continue
			}
			i += n - 1
		}
	}
	return left
}

func among(key string, list []string) bool {
	for _, k := range list {
		if k == key {
			return true
		}
	}
	return false
}

func bothNumbered(text string) bool {
	a, b, _ := strings.Cut(text, "/")
	return strings.ContainsAny(a, "0123456789") && strings.ContainsAny(b, "0123456789")
}

func (d *drawing) gauge(u *use, text string, at mark) {
	if u.gauge != "" {
		d.refuse(at, "a second size", "a wire has one; where it changes there is a joint: draw it as a splice")
	}
	u.gauge, u.gaugeMark = text, at
}

// quantity takes a quantity at the start of the words; n is how many it took.
func (d *drawing) quantity(u *use, words []word, smallA bool) (n int) {
	sense := 0
	if len(words) > 1 && among(words[0].key, senseWords) {
		sense = 1
	}
	first := strings.TrimLeft(words[sense].text, "~<≈+-−.")
	if words[sense].quoted || first == "" || first[0] < '0' || first[0] > '9' {
		return 0
	}
	var q *eventv1.Quantity
	for k := min(3, len(words)-sense); k > 0 && q == nil; k-- {
		text := joined(words[sense : sense+k])
		if quotes(words[:sense+k]) || k > 1 && (words[sense+1].text[0] >= '0' && words[sense+1].text[0] <= '9' || among(words[sense+1].key, notAlone) || words[sense+1].text == "M") {
			continue
		}
		if k == 1 && strings.HasSuffix(text, "a") && !smallA {
			continue
		}
		if sense == 1 {
			text = words[0].key + " " + text
		}
		if got, err := notation.ParseQuantity(text); err == nil {
			q, n = got, sense+k
		}
	}
	if q == nil {
		return 0
	}
	unit, _ := notation.LookupUnit(q.GetUnit())
	got := quantity{Quantity: q, mark: words[0].to(words[n-1].mark), dim: unit.Dim, typed: joined(words[:n])}
	switch unit.Dim {
	case notation.Current, notation.Power, notation.Resistance, notation.Voltage, notation.Length, notation.Area:
	default:
		return 0 // no unit of a circuit: part of the name
	}
	value, _, err := notation.Value(q)
	switch {
	case err != nil || q.GetSense() == eventv1.Sense_SENSE_OVER_RANGE:
		d.refuse(got.mark, got.typed+" is no size", "write digits and unit, as 10A or 85 ohm")
	case value < 0 || value == 0 && unit.Dim != notation.Resistance:
		d.refuse(got.mark, got.typed+" cannot be", "it is more than nothing")
	case q.GetShape() != eventv1.Shape_SHAPE_UNSPECIFIED:
		d.refuse(got.mark, got.typed+" says how it was read", "write digits and unit alone")
	case unit.Dim == notation.Area:
		text := q.GetDigits() + " " + q.GetUnit()
		d.gauge(u, text, got.mark)
		return n
	}
	for _, was := range u.quantities {
		if was.dim == got.dim {
			d.refuse(got.mark, "a second "+string(got.dim)+" beside "+was.typed, `one is enough; what is part of the name goes in quotes: "`+got.typed+`"`)
			return n
		}
	}
	u.quantities = append(u.quantities, got)
	return n
}
