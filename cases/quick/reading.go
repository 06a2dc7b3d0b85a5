package quick

import (
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var instruments = map[string]eventv1.InstrumentKind{
	"meter": eventv1.InstrumentKind_INSTRUMENT_KIND_METER, "multimeter": eventv1.InstrumentKind_INSTRUMENT_KIND_METER,
	"lamp": eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP, "test lamp": eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP,
	"test light": eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP,
	"led":        eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER, "led tester": eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER,
	"clamp": eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP, "current clamp": eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP,
	"scope": eventv1.InstrumentKind_INSTRUMENT_KIND_OSCILLOSCOPE, "oscilloscope": eventv1.InstrumentKind_INSTRUMENT_KIND_OSCILLOSCOPE,
	"scan": eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL, "scan tool": eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL,
	"gauge": eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE, "battery tester": eventv1.InstrumentKind_INSTRUMENT_KIND_BATTERY_TESTER,
}

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
	// afterValue: the word before was the end of the value.
	afterValue int
}

func (p *parser) reading() {
	r := &eventv1.Reading{}
	p.event.Kind = &eventv1.Event_Reading{Reading: r}
	p.states = true
	p.stops = append(p.stops, "drop", "dc", "ac", "peak", "scan", "covering", "and", "to", "at", "red", "black", "across", "with", "on meter")
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
	case p.tries(&r.Tries, &r.Failures, &r.Outcome), p.outcome(&r.Outcome), rd.value(),
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
	r.Value, p.i = q, p.i+n
	rd.afterValue = p.i
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

// instrument consumes 'clamp', 'lamp', 'scan coolant temperature', 'with meter
// 2'.
func (rd *reader) instrument() bool {
	p, r := rd.parser, rd.r
	from := p.i
	lead, _ := p.matchAny(p.i, "with the", "with", "using", "on the", "on")
	if lead == 0 && !p.words[p.i].gap && p.i != rd.afterValue {
		return false
	}
	p.i += lead
	n, kind := longest(p, instruments)
	if n == 0 {
		p.i = from
		return false
	}
	noun := p.i
	p.i += n
	switch {
	case lead > 0 || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_METER:
		for !p.stopsAt(p.i) && p.i < noun+n+3 {
			if r.Value == nil && p.i > noun+n && p.isNumber(p.i) {
				break
			}
			p.i++
		}
	case kind == eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL, kind == eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE:
		if !rd.quantityName() {
			return true
		}
	}
	if r.Instrument != nil {
		return p.fail(from, p.i, "a second instrument", p.raw(from, p.i)+" on a line of its own")
	}
	r.Instrument = &eventv1.Instrument{Kind: kind}
	if lead > 0 && p.i > noun+n || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_METER && p.i > noun+n {
		r.Instrument.Name = p.raw(noun, p.i)
	}
	return true
}

// quantityName consumes what a scan value or gauge shows: 'coolant temperature'
// up to its number.
func (rd *reader) quantityName() bool {
	p := rd.parser
	from, end := p.i, p.segmentEndHere()
	if p.done() {
		return !p.fail(p.i, p.i, "the value is missing", "scan coolant 88 C", "gauge 43 psi")
	}
	for k := from; k < min(end, from+longestQuantity); k++ {
		if n, _, _ := p.quantityAt(k, ""); n > 0 {
			to := k
			if n, _ := p.matchAny(k-1, "is", "reads", "shows", "at"); n > 0 && k-1 >= from {
				to--
			}
			rd.r.Quantity, p.i = p.raw(from, to), k
			return true
		}
	}
	return !p.fail(from, end, "no number with its unit in it", "scan coolant 88 C", "gauge 43 psi")
}

// leads consumes the points.
func (rd *reader) leads() bool {
	p, r := rd.parser, rd.r
	at := p.i
	twice := func(slot string) bool {
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
	case p.takes("across"):
		if !twice(rd.first + rd.second + r.At + r.Red + r.Black) {
			r.At = p.name(false, "what it is across")
		}
	case p.takes("between"):
		if !twice(rd.first + rd.second + r.At) {
			rd.first = p.name(true, "the first point")
			if p.err == nil && !p.takes("and", "to") {
				return p.fail(p.i, p.i+1, "the second point is missing", "between POINT and POINT")
			}
			rd.second = p.name(true, "the second point")
		}
	case p.takes("at", "from"):
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

// bareName takes the words right behind the value as the point: '12.3 V batt+'.
func (rd *reader) bareName() bool {
	if rd.i != rd.afterValue || rd.first != "" || rd.r.Red != "" || rd.r.At != "" || rd.words[rd.i].gap || rd.stopsAt(rd.i) {
		return false
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
	return []string{"to POINT", "key on", "should be 12..12.9", "pass", "# note", "a longer name in double quotes"}
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
