package path

import (
	"slices"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// use is one place in a path where something is named.
type use struct {
	mark
	// words that name it, without its attributes.
	words []word
	kind  eventv1.ElementKind
	// name is the component's as written; base is it without its kind word.
	name, base string
	// pin: it has no kind word and looks like a pin.
	pin bool
	// post is batt+ or batt-, or battery, which may be either.
	post string
	// side: it is the point 'X in' or 'X out', and no element.
	side string
	// point that a side or terminal stands for.
	point string
	attributes
	closed   []*eventv1.Conditions
	whenMark mark
	of       *element
}

// use reads the words of one element; nil when they are refused as a whole.
func (d *drawing) use(line string, words []word) *use {
	u := &use{mark: words[0].to(words[len(words)-1].mark)}
	before := len(d.problems)
	for i, w := range words {
		if w.key == "when" {
			d.when(u, line, w, words[i+1:])
			words = words[:i]
			break
		}
	}
	if len(words) == 0 {
		if len(d.problems) == before {
			d.refuse(u.mark, "conditions of nothing", "name what they close: relay K2 when key on")
		}
		return nil
	}
	for _, w := range words {
		if len(w.key) > 2 && w.key[0] == 'w' && notation.Nearest(w.key, []string{"when"}) != "" {
			d.refuse(w.mark, "'"+w.text+"' looks like 'when' misspelt", `write when, or put it in quotes: "`+w.text+`"`)
		}
	}
	u.words = d.attributes(u, words)
	if len(d.problems) > before {
		return nil
	}
	if len(u.words) == 0 {
		u.kind = wire
		return u
	}
	name := joined(u.words)
	key := notation.Key(name)
	switch {
	case key == "":
		d.refuse(u.mark, "'"+name+"' is no name", "a name has a letter or a digit: lamp A")
		return nil
	case len(name) > maxName-20:
		d.refuse(u.mark, "a name longer than 180 bytes", "shorten it")
		return nil
	}
	if post, ok := posts[key]; ok && !quotes(u.words) {
		u.kind, u.post, u.name = supply, post, battery
		return u
	}
	if last := u.words[len(u.words)-1].key; len(u.words) > 1 && (last == "in" || last == "out") {
		u.side, u.name = last, joined(u.words[:len(u.words)-1])
		if notation.Key(u.name) == "" {
			d.refuse(u.mark, "'"+u.name+"' is no name", "a name has a letter or a digit: lamp A")
		}
		return u
	} else if len(u.words) > 2 && last == "side" {
		d.refuse(u.mark, "a side of a contact", "say "+joined(u.words[:len(u.words)-2])+" in, towards plus, or out, towards minus")
		return nil
	}
	if allColours(u.words) {
		u.kind, u.colour, u.colourMark = wire, name, u.words[0].to(u.words[len(u.words)-1].mark)
		u.words = nil
		return u
	}
	if allCodes(u.words) {
		u.kind, u.colour, u.colourMark, u.words = wire, name, u.words[0].mark, nil
		return u
	}
	named, colour := cutColour(u.words)
	if d.kind(u, named); len(d.problems) == before && u.name != "" && notation.Key(u.name) == "" {
		d.refuse(u.mark, "'"+u.name+"' is no name", "a name has a letter or a digit: lamp A")
	}
	if len(d.problems) > before {
		return nil
	}
	wired := u.kind == wire || u.kind == contact || u.pin
	if len(colour) > 0 {
		u.colour, u.colourMark = joined(colour), colour[0].to(colour[len(colour)-1].mark)
	}
	switch c, ok := colourAmong(u.words[1:]); {
	case !ok || u.kind == unsaid && !u.pin:
	case !wired:
		d.refuse(c.mark, "a colour is of a wire or a pin, not of "+a(u.kind), `draw it as an item of its own: > `+c.text+` >, or put it in quotes if it is part of the name: "`+c.text+`"`)
	case len(colour) == 0:
		d.refuse(c.mark, "a colour with more behind it", `put it last: fan.C1-2 brown; what is part of the name goes in quotes: "`+c.text+`"`)
	}
	return u
}

// when reads the conditions behind 'when', sets of them parted by 'or'.
func (d *drawing) when(u *use, line string, at word, words []word) {
	u.whenMark = at.mark
	for {
		end := 0
		for end < len(words) && words[end].key != "or" {
			end++
		}
		if end == 0 {
			place := at.end()
			d.refuse(place, "the conditions are missing behind '"+at.text+"'", "say which: when key on; when commanded on or running")
			return
		}
		text := line[words[0].begins:words[end-1].ends]
		c, err := quick.ReadConditions(text)
		if bad := new(quick.Error); asQuick(err, &bad) {
			place := mark{words[0].line, words[0].col + bad.Column - 1, bad.Length}
			if bad.Column > utf8.RuneCountInString(text) {
				place = words[end-1].end()
			}
			d.refuse(place, bad.What, "understood there: "+strings.Join(bad.Understood, ", "))
			return
		}
		u.closed = append(u.closed, c)
		if end == len(words) {
			return
		}
		at, words = words[end], words[end+1:]
	}
}

func quotes(words []word) bool {
	return slices.ContainsFunc(words, func(w word) bool { return w.quoted })
}

// suit refuses attributes that make no sense for the kind.
func (d *drawing) suit(u *use) {
	kind := a(u.kind)
	no := func(at mark, what, remedy string) { d.refuse(at, what+" makes no sense for "+kind, remedy) }
	for _, q := range u.quantities {
		if q.slot(u.kind) != nil {
			continue
		}
		remedy := `leave it out, or put it in quotes if it is part of the name: "` + q.typed + `"`
		switch q.dim {
		case notation.Power:
			remedy = "power is of a load: lamp A 21W; of a fuse say the amperes: fuse F7 10A"
		case notation.Length:
			remedy = "length is of a wire: draw it as an item of its own: > " + q.typed + " >"
		}
		no(q.mark, q.typed, remedy)
	}
	if u.gauge != "" && u.kind != wire {
		no(u.gaugeMark, u.gauge, "size is of a wire: draw it as an item of its own: > "+u.gauge+" >")
	}
	if u.terminals[0] != "" && slices.Contains(noTerminals, u.kind) {
		no(u.terminalsMark, u.terminals[0]+"/"+u.terminals[1], "terminals are of a relay, coil, switch, load and the like: relay K2 30/87")
	}
	if u.reversed && u.kind != diode {
		no(u.reversedMark, "reversed", "it is for a diode; anything else is drawn the other way round")
	}
	if len(u.closed) > 0 && !slices.Contains(takesConditions, u.kind) {
		no(u.whenMark, "when", "conditions close a switch, a relay or a module's output: switch S1 when key on")
	}
}

// fill puts what this use says of the element into it, and refuses what another
// use says otherwise.
func (d *drawing) fill(u *use) {
	el := u.of
	differs := func(at mark, was, now string) {
		d.refuse(at, el.Component+" is "+was+" in line "+itoa(el.line)+" and "+now+" here", "say it once, or the same each time; another part needs another name")
	}
	for _, q := range u.quantities {
		slot := q.slot(u.kind)
		if slot == nil {
			continue
		}
		switch to := slot(el.Element); {
		case *to == nil:
			*to = q.Quantity
		case !proto.Equal(*to, q.Quantity):
			differs(q.mark, notation.Format(*to), q.typed)
		}
	}
	if len(u.closed) > 0 {
		switch {
		case len(el.ClosedWhen) == 0:
			el.ClosedWhen = u.closed
		case !proto.Equal(&eventv1.Element{ClosedWhen: el.ClosedWhen}, &eventv1.Element{ClosedWhen: u.closed}):
			differs(u.whenMark, "closed when "+conditions(el.ClosedWhen), "when "+conditions(u.closed))
		}
	}
	if u.gauge != "" {
		el.Gauge = u.gauge
	}
	if u.kind == wire && u.colour != "" {
		el.Colour = u.colour
	}
	el.reversed = el.reversed || u.reversed
}

func conditions(list []*eventv1.Conditions) string {
	out := make([]string, len(list))
	for i, c := range list {
		out[i] = quick.ConditionsLine(c)
	}
	return strings.Join(out, " or ")
}
