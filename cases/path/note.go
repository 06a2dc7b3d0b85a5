package path

import (
	"slices"
	"strings"
	"unicode/utf8"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// note is what a line or a contact's colour says of a point.
type note struct {
	mark
	seen *eventv1.PointSeen
}

var nets = map[string]eventv1.NetKind{
	"power": eventv1.NetKind_NET_KIND_POWER, "ground": eventv1.NetKind_NET_KIND_GROUND, "signal": eventv1.NetKind_NET_KIND_SIGNAL,
	"5v": eventv1.NetKind_NET_KIND_REFERENCE_5V, "5 v": eventv1.NetKind_NET_KIND_REFERENCE_5V, "5v reference": eventv1.NetKind_NET_KIND_REFERENCE_5V,
	"5 v reference": eventv1.NetKind_NET_KIND_REFERENCE_5V, "bus": eventv1.NetKind_NET_KIND_BUS, "airbag": eventv1.NetKind_NET_KIND_AIRBAG,
	"high-voltage": eventv1.NetKind_NET_KIND_HIGH_VOLTAGE, "high voltage": eventv1.NetKind_NET_KIND_HIGH_VOLTAGE,
}

// netWords are how the nets are written.
var netWords = map[eventv1.NetKind]string{
	eventv1.NetKind_NET_KIND_POWER: "power", eventv1.NetKind_NET_KIND_GROUND: "ground", eventv1.NetKind_NET_KIND_SIGNAL: "signal",
	eventv1.NetKind_NET_KIND_REFERENCE_5V: "5V", eventv1.NetKind_NET_KIND_BUS: "bus", eventv1.NetKind_NET_KIND_AIRBAG: "airbag",
	eventv1.NetKind_NET_KIND_HIGH_VOLTAGE: "high-voltage",
}

const noteOffered = "write it as point fan.C1-2: brown, pin 2, behind the radiator, power"

// note reads 'point POINT: colour, pin, where, net'.
func (d *drawing) note(line string, words []word) {
	colon := -1
	for i, w := range words[1:] {
		if !w.quoted && strings.HasSuffix(w.text, ":") {
			colon = i + 1
			break
		}
	}
	if colon < 0 {
		d.refuse(words[0].to(words[len(words)-1].mark), "a note without a colon behind the point", noteOffered)
		return
	}
	named := slices.Clone(words[1 : colon+1])
	last := &named[len(named)-1]
	last.text = strings.TrimSuffix(last.text, ":")
	name := strings.TrimSpace(joined(named))
	for _, w := range named {
		if w.sign {
			d.refuse(w.mark, "'"+w.text+"' in the name of a point", "put it in quotes, or write a path in a line of its own")
			return
		}
	}
	key := notation.Key(name)
	switch {
	case key == "":
		d.refuse(words[0].end(), "a point without a name", noteOffered)
		return
	case len(name) > maxName:
		d.refuse(named[0].mark, "a name longer than 200 bytes", "shorten it")
		return
	}
	if post := posts[key]; post == plus || post == minus {
		name = post
	}
	n := &note{mark: words[1].to(words[colon].mark), seen: &eventv1.PointSeen{Point: name}}
	said := false
	for at, rest := words[colon].ends, line[words[colon].ends:]; rest != ""; {
		part, after, _ := strings.Cut(rest, ",")
		col := utf8.RuneCountInString(line[:at]) + 1 + utf8.RuneCountInString(part) - utf8.RuneCountInString(strings.TrimLeft(part, " \t"))
		text := strings.Join(strings.Fields(part), " ")
		if text != "" {
			said = true
			d.part(n.seen, text, mark{words[0].line, col, utf8.RuneCountInString(strings.TrimSpace(part))})
		}
		at += len(part) + 1
		rest = after
	}
	if !said {
		d.refuse(words[colon].end(), "nothing is said of the point", noteOffered)
		return
	}
	d.notes = append(d.notes, n)
}

// part puts one part of a note where it belongs.
func (d *drawing) part(seen *eventv1.PointSeen, text string, at mark) {
	key := strings.ToLower(text)
	twice := func(had bool, what string) bool {
		if had {
			d.refuse(at, "a second "+what, "one is enough; what is a place begins with its word: at the red cover")
		}
		return had
	}
	words, net := plainWords(text), nets[key]
	switch pin, isPin := strings.CutPrefix(key, "pin "); {
	case allColours(words) || allCodes(words):
		if !twice(seen.Colour != "", "colour") {
			seen.Colour = text
		}
	case isPin && pin != "":
		if !twice(seen.Pin != "", "pin") {
			seen.Pin = text[len("pin "):]
		}
	case net != 0:
		if !twice(seen.Net != 0, "kind of net") {
			seen.Net = net
		}
	default:
		if len(words) == 1 && len(key) > 3 {
			if near := notation.Nearest(key, colours); near != "" {
				d.warn(at, "'"+text+"' is taken for a place", "did you mean "+near+"?")
			}
		}
		if seen.Where != "" {
			text = seen.Where + ", " + text
		}
		seen.Where = text
	}
}

func plainWords(text string) []word {
	var out []word
	for _, f := range strings.Fields(text) {
		out = append(out, word{text: f, key: strings.ToLower(f)})
	}
	return out
}

// points lists what is known of points, each once.
func (d *drawing) points() []*eventv1.PointSeen {
	for _, u := range d.uses {
		if u.kind == contact && u.colour != "" {
			d.notes = append(d.notes, &note{u.colourMark, &eventv1.PointSeen{Point: u.of.Component, Colour: u.colour}})
		}
	}
	var out []*eventv1.PointSeen
	was := map[string]*note{}
	for _, n := range d.notes {
		key := notation.Key(n.seen.Point)
		first := was[key]
		if first == nil {
			was[key] = n
			out = append(out, n.seen)
			continue
		}
		for _, slot := range []struct{ to, now *string }{
			{&first.seen.Colour, &n.seen.Colour}, {&first.seen.Pin, &n.seen.Pin}, {&first.seen.Where, &n.seen.Where},
		} {
			d.agree(first, n, *slot.to, *slot.now)
			if *slot.to == "" {
				*slot.to = *slot.now
			}
		}
		d.agree(first, n, notation.Word(first.seen.Net), notation.Word(n.seen.Net))
		if first.seen.Net == 0 {
			first.seen.Net = n.seen.Net
		}
	}
	return out
}

func (d *drawing) agree(first, n *note, was, now string) {
	if was != "" && now != "" && !strings.EqualFold(was, now) {
		d.refuse(n.mark, n.seen.Point+" is "+was+" in line "+itoa(first.line)+" and "+now+" here", "say it once, or the same each time")
	}
}
