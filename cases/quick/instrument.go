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

// instrument consumes 'clamp', 'lamp', 'scan coolant temperature', 'with meter
// 2', 'by clamp'.
func (rd *reader) instrument() bool {
	p, r := rd.parser, rd.r
	from := p.i
	lead, word := p.matchAny(p.i, append([]string{"on the", "on"}, instrumentLeads...)...)
	if lead == 0 && !p.words[p.i].gap && p.i != rd.afterValue {
		return false
	}
	n, kind := longestAt(p, p.i+lead, instruments)
	whole, named := p.instrumentAt(p.i + lead)
	if n == 0 || lead > 0 && whole == 0 || strings.HasPrefix(word, "on") && !rd.isInstrument(p.i+lead, whole, kind) {
		return false
	}
	in := &eventv1.Instrument{Kind: kind}
	switch {
	case lead > 0 || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_METER && whole > 0:
		in, p.i = named, p.i+lead+whole
	case kind == eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL, kind == eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE:
		p.i += n
		if !rd.quantityName() {
			return true
		}
	default:
		p.i += n
	}
	if r.Instrument != nil {
		return p.fail(from, p.i, "a second instrument", p.raw(from, p.i)+" on a line of its own")
	}
	r.Instrument = in
	return true
}

// isInstrument tells whether 'on X' names an instrument. A lamp and a gauge are
// places too, and so is a clamp unless it reads a current.
func (rd *reader) isInstrument(i, n int, kind eventv1.InstrumentKind) bool {
	switch rd.raw(i, i+n) {
	case "lamp", "led", "gauge", "scan":
		return false
	}
	switch kind {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP:
		return measures(rd.r.GetValue().GetUnit(), notation.Current)
	case eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE:
		return false
	}
	_, word := rd.matchAny(i, "lamp", "led", "scan")
	_, tester := rd.matchAny(i, "led tester", "scan tool")
	return word == "" || tester != ""
}

// instrumentLeads stand before an instrument wherever it is named.
var instrumentLeads = []string{"with", "with the", "with a", "with my", "using", "using the", "using a", "by", "by the", "by a"}

// instrumentAt finds an instrument with the two words or fewer that tell which
// one. 'Lamp on' is no instrument, but what a lamp did.
func (p *parser) instrumentAt(i int) (n int, in *eventv1.Instrument) {
	k, kind := longestAt(p, i, instruments)
	if k == 0 {
		return 0, nil
	}
	end := i + k
	part := p.matchesAny(i, []string{"lamp", "led", "gauge"}) == k // a part of a vehicle too, unless it has a number
	for end < i+k+2 && !p.stopsAt(end) && (end == i+k || !p.isNumber(end)) && (!part || strings.ContainsAny(p.words[end].key, "0123456789")) {
		end++
	}
	for at := i + k; at <= end; at++ {
		if m, _ := p.matchAny(at, "on", "off", "out", "in", "unplugged", "disconnected", "jumped", "bridged", "commanded", "plugged", "running", "loaded", "lit"); m > 0 && p.match(at, "on meter") == 0 &&
			(at < len(p.words) && !p.words[at].gap) && (at+m >= len(p.words) || p.words[at+m].gap) {
			return 0, nil
		}
	}
	in = &eventv1.Instrument{Kind: kind}
	if end > i+k {
		in.Name = p.raw(i, end)
	}
	return end - i, in
}

// quantityName consumes what a scan value or gauge shows: 'coolant temperature'
// up to its number.
func (rd *reader) quantityName() bool {
	p := rd.parser
	p.takes("says", "reads", "shows")
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

// testInstrument consumes the instrument of a test or of codes.
func (p *parser) testInstrument(to **eventv1.Instrument) bool {
	lead, _ := p.matchAny(p.i, instrumentLeads...)
	n, in := p.instrumentAt(p.i + lead)
	if lead == 0 || n == 0 {
		return false
	}
	end := p.i + lead + n
	if *to != nil {
		return p.fail(p.i, end, "a second instrument", "one instrument a line")
	}
	if !p.stopsAt(end) {
		return p.fail(end, end+1, "is this still the instrument's name?", "a comma before it: "+p.raw(p.i, end)+", "+p.raw(end, p.segmentEnd(end)))
	}
	*to, p.i = in, end
	return true
}

// instrumentPhrases are those that a comma need not stand before in the words of
// a test. A lamp, a gauge and a clamp are parts of a vehicle too.
func instrumentPhrases() []string {
	var out []string
	for phrase := range instruments {
		out = append(out, "by "+phrase, "by the "+phrase, "by a "+phrase)
		if phrase == "lamp" || phrase == "led" || phrase == "gauge" || phrase == "scan" {
			continue
		}
		for _, lead := range instrumentLeads {
			out = append(out, lead+" "+phrase)
		}
	}
	return out
}
