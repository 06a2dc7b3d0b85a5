package quick

import (
	"regexp"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// shownWords are what an instrument may show instead of a number.
var shownWords = []string{
	"bright", "full brightness", "dim", "dark", "out", "lit", "not lit", "glows", "flickers", "flickering", "blinking", "blinks",
	"does not light", "doesn't light", "lights", "continuity", "no continuity", "beeps", "no beep", "does not beep",
}

// reader holds a reading while its line is read.
type reader struct {
	*parser
	r *eventv1.Reading
	s setting
	// first and second are the points behind 'at' and 'to'.
	first, second string
	// spoken: the line names the leads by colour, so volts go without saying.
	spoken bool
	// valueFrom and valueWords are where the value stands; afterValue is the word
	// behind it and its shape.
	valueFrom, valueWords, afterValue int
	// unitless: the value stands without a unit of its own.
	unitless bool
}

func (p *parser) reading() {
	r := &eventv1.Reading{}
	p.event.Kind = &eventv1.Event_Reading{Reading: r}
	p.states = true
	p.measuring = true
	p.stops = append(p.stops, "drop", "dc", "ac", "peak", "scan", "covering", "and", "to", "at", "red", "black", "across", "over", "between", "on", "off", "@",
		"with", "using", "on meter")
	rd := &reader{parser: p, r: r, afterValue: -1}
	for !p.done() {
		p.wantsValue = r.Value == nil && r.Shown == ""
		if !rd.step() {
			p.stranger(rd.hints()...)
		}
	}
	rd.finish()
}

func (rd *reader) step() bool {
	p, r := rd.parser, rd.r
	switch {
	case rd.unitBehind(), rd.announced(), p.tries(&r.Tries, &r.Failures, &r.Outcome), p.outcome(&r.Outcome), rd.value(),
		p.expectation(&r.ShouldBe, r.GetValue().GetUnit()), rd.instrument(), p.presence(&r.Concern),
		p.conditions(&rd.s), p.background(), rd.leads(), p.covers(&r.Covers), p.meanwhile(&r.Meanwhile), rd.shape():
		return true
	}
	return rd.bareName()
}

// value consumes the number, or the word shown instead of it.
func (rd *reader) value() bool {
	p, r := rd.parser, rd.r
	unit := ""
	if rd.spoken {
		unit = "V"
	}
	if s := p.spokenAt(p.i); s.words {
		unit = "V"
	}
	if n, shown := p.matchAny(p.i, shownWords...); n > 0 && (r.Instrument != nil || n == p.match(p.i, shown) && strings.Contains(shown, "continuity") || strings.Contains(shown, "beep")) {
		if r.Shown != "" || r.Value != nil {
			return p.fail(p.i, p.i+n, "a second value", "one value a line")
		}
		r.Shown, p.i = shown, p.i+n
		rd.afterValue = p.i
		return true
	}
	if !p.isNumber(p.i) {
		return false
	}
	n, q, why := p.quantityAt(p.i, unit)
	if n == 0 && p.conditions(&rd.s) {
		return true
	}
	if n == 0 && r.Value != nil && p.match(p.i, "over") > 0 {
		return false // '12.4 V over 30 to 87': terminals are numbers
	}
	if n == 0 {
		w := p.words[p.i].text
		hints := []string{"12.31 V", "0.4 ohm", "8.2 A", "OL"}
		if s := p.spokenAt(p.i); s.either != nil {
			hints = nil
			for _, e := range s.either {
				hints = append(hints, e+" V")
			}
			return p.fail(p.i, p.i+s.n, why, hints...)
		}
		to := p.i + 1
		if bareNumber.MatchString(w) {
			hints = []string{w + " V", w + " ohm", w + " A"}
			if _, _, err := p.quantityAt(p.i, ""); !p.stopsAt(to) {
				why, to = err, to+1
			}
		}
		return p.fail(p.i, to, why, hints...)
	}
	if r.Value != nil || r.Shown != "" {
		return p.fail(p.i, p.i+n, "a second value", "one value a line", "supply 12.6 V", "at 8 A", "should be 12..12.9")
	}
	rd.valueFrom, rd.valueWords, rd.unitless = p.i, n, !rd.hasUnit(p.i, n)
	r.Value, p.i = q, p.i+n
	rd.afterValue = p.i
	return true
}

// announced consumes 'reads' and the like before the value.
func (rd *reader) announced() bool {
	return rd.r.Value == nil && rd.isNumber(rd.i+1) && rd.takes("reads", "shows", "gives", "measures")
}

// hasUnit tells whether the value in the n words at i was said with a unit.
func (rd *reader) hasUnit(i, n int) bool {
	sense, _ := rd.matchAny(i, senses...)
	if over, _ := rd.matchAny(i+sense, overRange...); over > 0 {
		return n > sense+over
	}
	k, _, _ := rd.quantityAt(i, "")
	return k > 0
}

// unitForm is a unit of volts, ohms or amperes that stands by itself, in the
// letters it is typed with. A single A may be a name.
var unitForm = regexp.MustCompile(`^([mkµu]?V|[mkM]?Ω|k|M|[mµu]A|(?i:vdc|vac|(milli|micro|kilo|mega|m|k)?(volts?|ohms?|amps?|amperes?)))$`)

// isUnit tells whether word i is a unit by itself.
func (p *parser) isUnit(i int) bool {
	return i < len(p.words) && !p.words[i].quoted && unitForm.MatchString(p.words[i].text)
}

// unitBehind consumes the unit that stands behind the leads: 'OL at fan 1 to fan
// 2 ohms'.
func (rd *reader) unitBehind() bool {
	p, r := rd.parser, rd.r
	if r.Value == nil || p.words[p.i].gap || !p.isUnit(p.i) || !p.stopsAt(p.i+1) {
		return false
	}
	u, err := notation.ParseUnit(p.words[p.i].text)
	if !rd.unitless || r.ShouldBe != nil || err != nil {
		return p.fail(p.i, p.i+1, "a second unit", "one value a line, with its unit behind it", "a name in double quotes")
	}
	r.Value.Unit, r.Value.Said, rd.unitless = u.Code, p.raw(rd.valueFrom, rd.valueFrom+rd.valueWords)+" "+p.words[p.i].text, false
	p.i++
	return true
}

// shape consumes drop, ac, dc or peak away from the number.
func (rd *reader) shape() bool {
	p := rd.parser
	shapes := map[string]eventv1.Shape{"drop": eventv1.Shape_SHAPE_DROP, "voltage drop": eventv1.Shape_SHAPE_DROP,
		"ac": eventv1.Shape_SHAPE_AC, "dc": eventv1.Shape_SHAPE_DC, "peak": eventv1.Shape_SHAPE_PEAK}
	n, shape := longest(p, shapes)
	if n == 0 {
		return false
	}
	if rd.r.Value == nil {
		at := p.i
		p.i += n
		if p.takes("of"); p.err == nil && !rd.value() {
			return p.fail(p.i, p.i, "the value is missing", "drop 0.2 V", "0.2 V drop")
		}
		if p.err != nil || rd.r.Value == nil {
			return p.fail(at, p.i, "a drop is a number", "drop 0.2 V")
		}
	} else {
		p.i += n
		rd.afterValue = p.i
	}
	if rd.r.Value.Shape != 0 && rd.r.Value.Shape != shape {
		return p.fail(p.i-1, p.i, "a second way of reading the value", "drop", "ac", "dc", "peak")
	}
	rd.r.Value.Shape = shape
	return true
}

// leads consumes the points.
func (rd *reader) leads() bool {
	p, r := rd.parser, rd.r
	at := p.i
	twice := func(slot string) bool {
		if slot != "" && at > 0 && !p.words[at].gap && p.i == p.segmentEnd(at) && p.match(at, "on") == 1 { // '... to batt- light on'
			return p.fail(at-1, p.i, "is that how something stood? Such a condition stands behind a comma", ", "+p.raw(at-1, p.i))
		}
		return slot != "" && p.fail(at, p.i, "a second place for the same lead", "one reading a line", `a name in double quotes: "`+slot+`"`)
	}
	switch {
	case p.takes("same leads", "same points", "same place"):
		if p.ctx.Red == "" && p.ctx.Black == "" && p.ctx.At == "" {
			return p.fail(at, p.i, "no earlier reading to take the leads from", "at POINT to POINT", "red POINT, black POINT")
		}
		if rd.first != "" || rd.second != "" || r.Red != "" || r.Black != "" {
			return p.fail(at, p.i, "the same leads, and others", "same leads", "at POINT to POINT")
		}
		p.carry("leads")
		r.Red, r.Black, r.At = p.ctx.Red, p.ctx.Black, p.ctx.At
	case p.takes("red lead at", "red lead on", "red at", "red on", "red lead", "red"):
		if !twice(r.Red) {
			rd.spoken = true
			r.Red = p.name(true, "the point of the red lead")
		}
	case p.takes("black lead at", "black lead on", "black at", "black on", "black lead", "black"):
		if !twice(r.Black) {
			rd.spoken = true
			r.Black = p.name(true, "the point of the black lead")
		}
	case p.takes("across", "over"):
		if !twice(rd.first + rd.second + r.At + r.Red + r.Black) {
			rd.across()
		}
	case p.takes("between"):
		if !twice(rd.first + rd.second + r.At) {
			rd.first = p.name(true, "the first point")
			if p.err == nil && !p.takes("and", "to") {
				return p.fail(p.i, p.i+1, "the second point is missing", "between POINT and POINT")
			}
			rd.second = p.name(true, "the second point")
		}
	case p.takes("at", "from", "on", "@", "in", "through"):
		if !twice(rd.first + r.At) {
			rd.first = p.name(true, "the point")
		}
	case p.takes("to"):
		if !twice(rd.second + r.At) {
			rd.second = p.name(true, "the second point")
		}
	default:
		return false
	}
	return true
}

// across consumes 'ground strap', or the two points 'relay 30 and relay 87'.
func (rd *reader) across() {
	p, known := rd.parser, len(rd.parsed.New)
	what := p.name(false, "what it is across")
	if p.err != nil || !p.takes("to", "and") {
		rd.r.At = what
		return
	}
	for k := range p.parsed.New[known:] {
		p.parsed.New[known+k].Point = true
	}
	rd.first, rd.second = what, p.name(true, "the second point")
}

// unplaced are words that say where, but not where a lead touched.
var unplaced = []string{"off", "into", "onto", "via", "near", "behind", "before", "after", "under", "inside", "around", "of", "for", "in", "through"}

// bareName takes the words right behind the value as the point: '12.3 V batt+'.
func (rd *reader) bareName() bool {
	if rd.i != rd.afterValue || rd.first != "" || rd.r.Red != "" || rd.r.At != "" || rd.words[rd.i].gap || rd.stopsAt(rd.i) {
		return false
	}
	if rd.isWord(rd.i, unplaced) {
		return false
	}
	if like := nearKeyword(rd.words[rd.i].key); like == "across" || like == "between" {
		return rd.fail(rd.i, rd.i+1, "'"+rd.words[rd.i].text+"' looks like '"+like+"' misspelt", like)
	}
	rd.first = rd.name(true, "the point")
	return true
}

func (rd *reader) hints() []string {
	switch {
	case rd.r.Value == nil && rd.r.Shown == "":
		return []string{"a value: 12.31 V", "red POINT", "black POINT", "lamp bright"}
	case rd.first == "" && rd.r.Red == "" && rd.r.At == "":
		return []string{"at POINT", "to POINT", "same leads", "running"}
	}
	if rd.matchesAny(rd.i, []string{"unplugged", "disconnected", "jumped", "bridged"}) > 0 {
		return []string{"with NAME " + rd.words[rd.i].key, "a comma and the name before it: , NAME " + rd.words[rd.i].key}
	}
	return []string{"to POINT", "key on", "at 8 A", "should be 12..12.9", "pass", "# note", "a longer name in double quotes"}
}

// finish puts the points where they belong and refuses what is no reading.
func (rd *reader) finish() {
	p, r := rd.parser, rd.r
	if p.err != nil {
		return
	}
	r.Conditions = rd.s.finish(p)
	if r.Value == nil && r.Shown == "" {
		p.noValue(rd)
		return
	}
	switch kind := r.GetInstrument().GetKind(); {
	case rd.first == "" && rd.second == "":
	case kind == eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP, kind == eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL,
		kind == eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE, !hasLeads(r.Value),
		kind == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP && rd.second == "":
		r.At = rd.first
		if rd.second != "" {
			r.At = strings.TrimSpace(r.At + " to " + rd.second)
		}
	default:
		if rd.first != "" && r.Red != "" || rd.second != "" && r.Black != "" {
			p.fail(0, len(p.words), "the leads are named twice", "at POINT to POINT", "red POINT, black POINT")
			return
		}
		r.Red, r.Black = r.Red+rd.first, r.Black+rd.second
	}
	if r.At != "" && r.Red+r.Black != "" {
		p.fail(0, len(p.words), "it was read between two leads, and at one place", "at POINT", "red POINT, black POINT")
	}
	if r.Red == "" && r.Black == "" && r.At == "" && r.Quantity == "" {
		p.fail(len(p.words), len(p.words), "where it was measured is missing", "at POINT to POINT", "across COMPONENT", "same leads")
	}
}

// noValue says that no value is there, and offers the number that a name
// swallowed: 'black battery twelve three'.
func (p *parser) noValue(rd *reader) {
	for i := 1; i < len(p.words); i++ {
		if s := p.spokenAt(i); !p.words[i].gap && (s.implied || s.words && strings.Contains(s.digits, ".")) && s.either == nil {
			p.fail(i, i+s.n, "is this a value, or part of a name? There is no value yet",
				"a comma before it: ', "+p.raw(i, i+s.n)+"' is "+s.digits+" V")
			return
		}
	}
	p.fail(len(p.words), len(p.words), "the value is missing", rd.hints()[0], "lamp bright", "twelve three")
}

// hasLeads tells whether a value of this unit is read between two leads: a
// pressure is not.
func hasLeads(q *eventv1.Quantity) bool {
	return q == nil || measures(q.Unit, notation.Voltage, notation.Current, notation.Resistance, notation.Frequency, notation.Ratio,
		notation.Conductance, notation.Capacitance, notation.Inductance, notation.Time)
}
