package quick

import (
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// change is how a kind of temporary is put on and taken off in speech.
type change struct {
	kind eventv1.TemporaryKind
	// on and off begin a line; onEnd and offEnd end its first part.
	on, off, onEnd, offEnd []string
	// noun stands in the name of what is changed and stays in it.
	noun string
}

var changes = []change{
	{eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER, []string{"jumper on", "jumper from", "jumper", "jumpered", "jumped", "bridged"},
		[]string{"jumper off", "removed jumper", "removed the jumper", "took jumper off", "took off jumper", "jumper removed"}, []string{"on"}, []string{"off", "removed", "taken off", "out"}, ""},
	{eventv1.TemporaryKind_TEMPORARY_KIND_CHARGER_ON, []string{"charger on", "charger connected"},
		[]string{"charger off", "charger disconnected", "charger unplugged", "charger removed"}, nil, nil, ""},
	{eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED, []string{"unplugged", "disconnected"},
		[]string{"plugged in", "plugged back in", "plugged", "reconnected"}, []string{"unplugged", "disconnected"}, []string{"back in", "plugged back in", "plugged in", "in"}, ""},
	{eventv1.TemporaryKind_TEMPORARY_KIND_FUSE_OUT, []string{"pulled fuse", "pulled the fuse", "fuse"}, []string{"fuse"}, []string{"out", "pulled"}, []string{"back in", "in"}, "fuse"},
	{eventv1.TemporaryKind_TEMPORARY_KIND_PIERCED, []string{"pierced"}, []string{"sealed"}, nil, nil, ""},
	{eventv1.TemporaryKind_TEMPORARY_KIND_COVER_OFF, []string{"cover off"}, []string{"cover on", "cover back on"}, []string{"cover off"}, []string{"cover back on", "cover on"}, ""},
	{eventv1.TemporaryKind_TEMPORARY_KIND_WIRE_CUT, []string{"cut"}, []string{"rejoined", "joined"}, nil, nil, ""},
}

// notNow are words of something that was so before, rather than changed now.
var notNow = []string{"is", "was", "were", "are", "still", "left unplugged", "left disconnected", "found unplugged", "found disconnected"}

// temporaryAt finds which change the line speaks of.
func (p *parser) temporaryAt(i int) (c *change, off bool, n int) {
	end := p.segmentEnd(i)
	endsWith := func(list []string) bool {
		for _, f := range list {
			for k := i + 1; k < end; k++ {
				if m := p.match(k, f); m > 0 && k+m == end {
					return true
				}
			}
		}
		return false
	}
	for k := range changes {
		ch := &changes[k]
		onN, _ := p.matchAny(i, ch.on...)
		offN, _ := p.matchAny(i, ch.off...)
		switch {
		case offN > 0 && (offN >= onN) && (ch.noun == "" || endsWith(ch.offEnd)):
			return ch, true, offN
		case onN > 0 && endsWith(ch.offEnd):
			return ch, true, onN
		case onN > 0 && (ch.noun == "" || onN > 1 || endsWith(ch.onEnd)):
			return ch, false, onN
		case ch.noun == "" && len(ch.onEnd) > 0 && ch.kind != eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER && endsWith(ch.onEnd):
			return ch, false, 0
		case ch.kind == eventv1.TemporaryKind_TEMPORARY_KIND_COVER_OFF && endsWith(ch.offEnd):
			return ch, true, 0
		}
	}
	return nil, false, 0
}

// temporary reads what was changed for now, or undone.
func (p *parser) temporary() {
	p.takes("temp", "temporary")
	if p.done() {
		p.fail(p.i, p.i, "what was changed is missing", "jumper on 30-87", "unplugged bcm C3", "fuse F7 out")
		return
	}
	if n, ref := p.referenceAt(p.i); n > 0 && p.undoneAt(p.i+n) > 0 {
		off := &eventv1.TemporaryOff{Temporary: p.resolve(ref, n)}
		p.event.Kind = &eventv1.Event_TemporaryOff{TemporaryOff: off}
		p.i += p.undoneAt(p.i)
		p.rest("how it was left", nil)
		return
	}
	if from := p.i; p.takes("off", "undo", "undone") {
		if n, ref := p.referenceAt(p.i); n > 0 {
			off := &eventv1.TemporaryOff{Temporary: p.resolve(ref, n)}
			p.event.Kind = &eventv1.Event_TemporaryOff{TemporaryOff: off}
			p.rest("how it was left", nil)
			return
		}
		p.i = from
		p.fail(p.i, p.i+1, "which change was undone is missing", "temp off 12", "jumper off")
		return
	}
	c, off, n := p.temporaryAt(p.i)
	if p.measuredInstead(n == 0) {
		return
	}
	if c == nil {
		p.otherTemporary()
		return
	}
	lead := p.i
	p.i += n
	if c.noun != "" {
		p.i--
	}
	p.stops = append(p.stops, "and", "to", "at", "on", "in", "out", "off", "back", "from", "unplugged", "disconnected", "pulled", "plugged", "cover", "fused", "fuse of")
	p.stops = append(p.stops, notNow...)
	where := p.places(c, lead)
	if p.err != nil {
		return
	}
	if off {
		t, what := &eventv1.TemporaryOff{}, p.raw(lead, p.segmentEnd(lead))
		p.event.Kind = &eventv1.Event_TemporaryOff{TemporaryOff: t}
		p.rest("how it was left", nil)
		if p.err == nil {
			if t.Temporary = p.undone(c.kind, where, false); t.Temporary == "" {
				p.extra = also(what, p.extra) // nothing else says what it was
			}
		}
		return
	}
	t := &eventv1.TemporaryOn{Temporary: c.kind, Where: where}
	p.event.Kind = &eventv1.Event_TemporaryOn{TemporaryOn: t}
	p.rest("what was changed", t)
	if p.err != nil {
		return
	}
	t.What = p.remark(also(p.raw(lead, p.segmentEnd(lead)), p.extra))
	if len(where) == 0 && c.kind != eventv1.TemporaryKind_TEMPORARY_KIND_CHARGER_ON {
		p.fail(lead+max(n, 1), lead+max(n, 1), "where is missing", "jumper on 30-87", "jumper from A to B", "unplugged bcm C3")
	}
}

// undoneAt is the length of what says at word i that the entry named before it
// was undone; it ends its part of the line.
func (p *parser) undoneAt(i int) int {
	lead := p.matchesAny(i, []string{"is", "was", "now"})
	n, _ := p.matchAny(i+lead, "off", "undone", "taken off", "back off", "removed", "gone")
	if n > 0 && (i+lead+n >= len(p.words) || p.words[i+lead+n].gap || p.stopsAt(i+lead+n)) {
		return lead + n
	}
	return 0
}

// measuredInstead refuses a line that holds a value and so may be a reading: any
// value where only a word at the end speaks of a change, elsewhere one with a
// lead behind it.
func (p *parser) measuredInstead(trailing bool) bool {
	for i := p.i; i < p.segmentEndHere(); i++ {
		if k, _ := p.matchAny(i, "fused", "fuse", "undo"); k > 0 {
			return false
		}
		if p.electricAt(i)+p.matchesAny(i, overRange) == 0 || p.inKnown(i) {
			continue
		}
		if trailing || p.leadBehind(i) {
			return p.offerReading(i)
		}
	}
	return false
}

// inKnown tells whether word i is part of a known name.
func (p *parser) inKnown(i int) bool {
	for k := max(0, i-p.longestKnown); k <= i; k++ {
		if n, _ := p.knownAt(k); k+n > i {
			return true
		}
	}
	return false
}

// leadBehind tells whether a place for the leads stands right behind the value at
// i: '3.1 V at', but not '12V socket to' nor '14.1 V at 40 A'.
func (p *parser) leadBehind(i int) bool {
	k := p.electricAt(i)
	if k == 0 {
		k = p.matchesAny(i, overRange)
	}
	s, _ := p.matchAny(i+k, "drop", "dc", "ac", "peak")
	lead, _ := p.matchAny(i+k+s, "at", "to", "across", "between", "over", "on", "red", "@")
	if n, _, _ := p.quantityAt(i+k+s+lead, ""); n > 0 {
		return false
	}
	return lead > 0 && (strings.ContainsAny(p.words[i].text, ".,") || p.match(i+k+s, "to") == 0)
}

// offerReading refuses a line with a value at word i that its kind has no place
// for, the reading first among what would be understood.
func (p *parser) offerReading(i int) bool {
	end := p.segmentEnd(i)
	reading := p.raw(i, end)
	if n, word := 0, ""; end > i+1 {
		for k := i + 1; k < end; k++ {
			if n, word = p.matchAny(k, "unplugged", "disconnected", "jumped", "bridged"); n > 0 && k+n == end {
				reading = p.raw(i, k) + ", with NAME " + word
				break
			}
		}
	}
	return p.fail(i, end, "a value stands in it: is it a reading, or something else?", reading, "the line without the value", "note "+p.raw(0, len(p.words)))
}

// places reads the names of what a change touches.
func (p *parser) places(c *change, lead int) []string {
	point := c.kind == eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER
	var out []string
	for !p.done() && (!p.words[p.i].gap || p.i == lead) {
		switch {
		case p.takes(append(append([]string{}, c.onEnd...), c.offEnd...)...), p.takes("on", "from", "to", "between", "and", "at", "in"):
		case p.match(p.i, "fused") > 0 || p.match(p.i, "fuse of") > 0, p.momentAt(p.i) > 0, p.match(p.i, "by") > 0, p.match(p.i, "because") > 0:
			return out
		case p.matchesAny(p.i, notNow) > 0:
			p.fail(p.i, p.i+1, "was it done now, or found so?", "unplugged NAME", "found "+p.raw(lead, p.segmentEnd(lead)))
			return nil
		default:
			out = append(out, p.name(point, "what was changed"))
			if p.err != nil {
				return nil
			}
		}
	}
	return out
}

// otherTemporary is a change with no words of its own: 'temp hose off'.
func (p *parser) otherTemporary() {
	t := &eventv1.TemporaryOn{Temporary: eventv1.TemporaryKind_TEMPORARY_KIND_OTHER}
	p.event.Kind = &eventv1.Event_TemporaryOn{TemporaryOn: t}
	p.words[p.i].gap = true
	for k := p.i; k < p.segmentEnd(p.i); k++ {
		if n, _ := p.matchAny(k, "back", "undone", "reconnected", "refitted", "restored", "put right"); n > 0 {
			p.fail(k, k+n, "was it changed, or undone?", "temp off 12", "temp WHAT, undo HOW")
			return
		}
	}
	if p.isReference(p.i) {
		p.fail(p.i, p.segmentEnd(p.i), "is that an entry, and was it undone?", "temp off "+p.words[p.i].text, "one change a line")
		return
	}
	if n, _ := p.matchAny(p.i, "removed", "gone", "done", "out", "all removed", "all off", "all gone"); n > 0 && p.i+n == p.segmentEnd(p.i) {
		p.fail(p.i, p.i+n, "which change was undone is missing", "temp off 12", "jumper off")
		return
	}
	p.rest("what was changed", t)
	t.What = p.remark(p.extra)
}

// rest reads what may follow behind commas.
func (p *parser) rest(what string, t *eventv1.TemporaryOn) {
	for !p.done() {
		switch {
		case p.background():
		case t != nil && p.takes("fused at", "fused with", "fused", "fuse of"):
			p.measure(&t.Fuse, "A", "fused 10 A")
		case t != nil && p.label(&t.Undo, "how to undo it", "undo", "to undo"):
		case t != nil && p.takes("where", "at"):
			t.Where = append(t.Where, p.name(true, "where"))
		case p.words[p.i].gap:
			p.extra = also(p.extra, p.free())
		default:
			p.stranger("a comma before "+what, "fused 10 A", "by previous shop")
		}
	}
}

// undone finds the change that is taken back among those that are on. None of
// its kind on means that it was never entered, and the id stays empty.
func (p *parser) undone(kind eventv1.TemporaryKind, where []string, onlyWhere bool) string {
	var all, fits []Temporary
	for _, t := range p.ctx.On {
		if t.Kind != kind {
			continue
		}
		all = append(all, t)
		if len(where) == 0 || slices.ContainsFunc(t.Where, func(at string) bool {
			return slices.ContainsFunc(where, func(w string) bool { return notation.Key(w) == notation.Key(at) })
		}) {
			fits = append(fits, t)
		}
	}
	switch {
	case len(fits) == 1:
		p.carry("temporary")
		return fits[0].ID
	case len(all) == 0, onlyWhere && len(fits) == 0:
		return ""
	}
	choices := fits
	if len(fits) == 0 {
		choices = all
	}
	var hints []string
	for _, t := range choices[:min(4, len(choices))] {
		hints = append(hints, "temp off "+notation.ShortID(t.ID)+" ("+t.What+")")
	}
	p.fail(0, len(p.words), "it is not clear which of those that are on was undone", hints...)
	return ""
}
