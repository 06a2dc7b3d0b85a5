package quick

import (
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var keyPositions = map[string]eventv1.KeyPosition{
	"key off": eventv1.KeyPosition_KEY_POSITION_OFF, "ignition off": eventv1.KeyPosition_KEY_POSITION_OFF,
	"key acc": eventv1.KeyPosition_KEY_POSITION_ACCESSORY, "key accessory": eventv1.KeyPosition_KEY_POSITION_ACCESSORY,
	"key in accessory": eventv1.KeyPosition_KEY_POSITION_ACCESSORY, "ignition accessory": eventv1.KeyPosition_KEY_POSITION_ACCESSORY,
	"key on": eventv1.KeyPosition_KEY_POSITION_ON, "ignition on": eventv1.KeyPosition_KEY_POSITION_ON,
	"key on engine off": eventv1.KeyPosition_KEY_POSITION_ON, "koeo": eventv1.KeyPosition_KEY_POSITION_ON,
	"keyon": eventv1.KeyPosition_KEY_POSITION_ON, "keyoff": eventv1.KeyPosition_KEY_POSITION_OFF,
	"ign on": eventv1.KeyPosition_KEY_POSITION_ON, "ign off": eventv1.KeyPosition_KEY_POSITION_OFF,
	"ignition key on": eventv1.KeyPosition_KEY_POSITION_ON, "ignition key off": eventv1.KeyPosition_KEY_POSITION_OFF,
	"key run": eventv1.KeyPosition_KEY_POSITION_ON, "key in run": eventv1.KeyPosition_KEY_POSITION_ON,
	"key start": eventv1.KeyPosition_KEY_POSITION_CRANKING, "key in start": eventv1.KeyPosition_KEY_POSITION_CRANKING,
	"engine on": eventv1.KeyPosition_KEY_POSITION_RUNNING, "koer": eventv1.KeyPosition_KEY_POSITION_RUNNING,
	"while running": eventv1.KeyPosition_KEY_POSITION_RUNNING,
	"ready":         eventv1.KeyPosition_KEY_POSITION_READY, "key ready": eventv1.KeyPosition_KEY_POSITION_READY,
	"cranking": eventv1.KeyPosition_KEY_POSITION_CRANKING, "engine cranking": eventv1.KeyPosition_KEY_POSITION_CRANKING,
	"while cranking": eventv1.KeyPosition_KEY_POSITION_CRANKING, "key cranking": eventv1.KeyPosition_KEY_POSITION_CRANKING,
	"running": eventv1.KeyPosition_KEY_POSITION_RUNNING, "engine running": eventv1.KeyPosition_KEY_POSITION_RUNNING,
	"engine is running": eventv1.KeyPosition_KEY_POSITION_RUNNING, "with engine running": eventv1.KeyPosition_KEY_POSITION_RUNNING, "key running": eventv1.KeyPosition_KEY_POSITION_RUNNING,
	"driving": eventv1.KeyPosition_KEY_POSITION_DRIVING, "while driving": eventv1.KeyPosition_KEY_POSITION_DRIVING,
	"key driving": eventv1.KeyPosition_KEY_POSITION_DRIVING,
}

// otherStates say something of the engine that no field holds.
var otherStates = []string{"idling", "engine idling", "engine off", "at idle", "idle", "hot", "cold", "engine hot", "engine cold", "raining"}

var presences = map[string]eventv1.Presence{
	"concern present": eventv1.Presence_PRESENCE_PRESENT, "acting up": eventv1.Presence_PRESENCE_PRESENT,
	"while acting up": eventv1.Presence_PRESENCE_PRESENT, "concern absent": eventv1.Presence_PRESENCE_ABSENT,
	"concern not present": eventv1.Presence_PRESENCE_ABSENT, "not acting up": eventv1.Presence_PRESENCE_ABSENT,
	"not acting up now": eventv1.Presence_PRESENCE_ABSENT, "concern not known": eventv1.Presence_PRESENCE_NOT_KNOWN,
}

func longest[V any](p *parser, table map[string]V) (n int, v V) {
	return longestAt(p, p.i, table)
}

func longestAt[V any](p *parser, i int, table map[string]V) (n int, v V) {
	for phrase, value := range table {
		if k := p.match(i, phrase); k > n {
			n, v = k, value
		}
	}
	return n, v
}

// presence consumes whether the concern was there.
func (p *parser) presence(to *eventv1.Presence) bool {
	n, v := longest(p, presences)
	if n == 0 {
		return false
	}
	if *to != 0 && *to != v {
		return p.fail(p.i, p.i+n, "the concern is present and absent", "acting up", "not acting up")
	}
	*to = v
	p.i += n
	return true
}

// setting is the conditions of a line while it is read.
type setting struct {
	c    eventv1.Conditions
	same bool
}

// conditions consumes one condition.
func (p *parser) conditions(s *setting) bool {
	c := &s.c
	with, _ := p.matchAny(p.i, "with the", "with")
	if n, key := longestAt(p, p.i+with, keyPositions); n > 0 {
		n += with
		if c.Key != 0 && c.Key != key {
			return p.fail(p.i, p.i+n, "a second position of the key", notation.Word(c.Key), notation.Word(key))
		}
		c.Key, p.i = key, p.i+n
		return true
	}
	if n, phrase := p.matchAny(p.i+with, otherStates...); n > 0 {
		c.Said, p.i = also(c.Said, phrase), p.i+with+n
		return true
	}
	switch {
	case p.takes("same state", "same conditions"):
		if p.ctx.Conditions == nil {
			return p.fail(p.i-2, p.i, "no earlier reading or test to take the conditions from", "key on", "running")
		}
		s.same = true
	case p.takes("not commanded", "commanded off", "uncommanded"):
		return p.command(c, eventv1.Command_COMMAND_OFF)
	case p.takes("commanded on", "commanded"):
		return p.command(c, eventv1.Command_COMMAND_ON)
	case p.takes("loaded with", "load on"):
		c.Loaded = append(c.Loaded, p.names("what loaded it")...)
	case p.takes("supply at", "supply"):
		return p.measure(&c.Supply, "V", "supply 12.6 V")
	case p.matchesAny(p.i, []string{"at", "@", "current", "drawing"}) > 0 && p.atMeasure(c):
	case p.suffixed(c):
	default:
		return false
	}
	return true
}

func (p *parser) command(c *eventv1.Conditions, to eventv1.Command) bool {
	if c.Commanded != 0 && c.Commanded != to {
		return p.fail(p.i-1, p.i, "commanded and not commanded", "commanded", "not commanded")
	}
	c.Commanded = to
	return true
}

// measure consumes a quantity into an empty slot. dimension is a unit it must
// be convertible to, and the unit of a bare number.
func (p *parser) measure(to **eventv1.Quantity, dimension, example string) bool {
	n, q, err := p.quantityAt(p.i, dimension)
	if n == 0 {
		return p.fail(p.i, p.segmentEndHere(), "a number with its unit is needed: "+err, example)
	}
	if !alike(q.Unit, dimension) {
		return p.fail(p.i, p.i+n, "the unit does not fit", example)
	}
	if *to != nil {
		return p.fail(p.i, p.i+n, "said twice", example)
	}
	*to, p.i = q, p.i+n
	return true
}

func (p *parser) segmentEndHere() int {
	if p.done() {
		return p.i
	}
	return p.segmentEnd(p.i)
}

// atMeasure consumes 'at 8 A', 'current 8 A', 'at 20 C', 'at 2000 rpm'. Terminals are numbers
// too: 'at 87a' is a point, so amperes take a capital A or the word.
func (p *parser) atMeasure(c *eventv1.Conditions) bool {
	if k, _ := p.knownAt(p.i + 1); k > 0 {
		return false
	}
	n, q, _ := p.quantityAt(p.i+1, "")
	if n == 0 {
		return false
	}
	typed := p.raw(p.i+1, p.i+1+n)
	if q.Unit == "A" && strings.HasSuffix(typed, "a") ||
		!measures(q.Unit, notation.Current, notation.Temperature, notation.Frequency, notation.Speed, notation.Ratio, notation.Pressure) {
		return false
	}
	at := p.i
	p.i += 1 + n
	switch {
	case measures(q.Unit, notation.Current) && c.Current == nil:
		c.Current = q
	case measures(q.Unit, notation.Temperature) && c.Temperature == nil:
		c.Temperature = q
	case measures(q.Unit, notation.Current, notation.Temperature):
		return p.fail(at, p.i, "said twice", "at 8 A", "at 20 C")
	default:
		c.Said = also(c.Said, "at "+typed)
	}
	return true
}

// several are words for more than one of a kind, by which each of them is called.
var several = map[string]string{
	"fuses": "fuse", "breakers": "breaker", "relays": "relay", "plugs": "plug", "connectors": "connector", "switches": "switch", "lamps": "lamp", "contacts": "contact",
}

// pluggedIn begins the name of what is plugged in, and may be out.
var pluggedIn = []string{"fuse", "fuses", "breaker", "breakers", "relay", "relays", "plug", "plugs", "connector", "connectors"}

// suffixed consumes what names something first: '[with] C3 and C4 unplugged',
// '[with] 30-87 jumped', 'fan commanded', 'fan running'.
func (p *parser) suffixed(c *eventv1.Conditions) bool {
	from, start := p.i, p.i
	if p.match(p.i, "with") > 0 {
		from++
	} else if !p.words[p.i].gap || p.match(p.i, "because") > 0 {
		return false
	}
	end := p.segmentEnd(start)
	for k := from + 1; k < end; k++ {
		if p.endsText(k, end, nil) {
			end = k
		}
	}
	if from >= end {
		return false
	}
	named, _ := p.knownAt(from)
	if from+named == end && p.match(end-1, "out") > 0 && p.isWord(from, pluggedIn) {
		named-- // the point 'fuse F3 out' is no condition
	}
	for i := from + 1; i < end; i++ {
		n, word := p.matchAny(i, "unplugged", "disconnected", "jumped", "bridged", "commanded on", "commanded off", "commanded", "not commanded",
			"plugged in", "running", "loaded", "on", "off", "out", "pulled")
		if (word == "on" || word == "off" || word == "out" || word == "pulled") && i+n != end {
			continue
		}
		if (word == "out" || word == "pulled") && !p.isWord(from, pluggedIn) {
			continue // a lamp that is out is dark
		}
		if n == 0 {
			if i >= from+named && p.match(i, "and") == 0 && p.stopsAt(i) {
				return false
			}
			continue
		}
		if i < from+named {
			continue
		}
		if word == "loaded" || p.isNumber(from) && word != "jumped" && word != "bridged" && word != "unplugged" && word != "disconnected" || p.isWord(i-1, negations) || p.isWord(i-1, hedges) {
			return false
		}
		p.i = from
		switch word {
		case "unplugged", "disconnected", "out", "pulled", "jumped", "bridged":
			list := p.namesUntil(i)
			if p.err != nil {
				return true
			}
			if word == "jumped" || word == "bridged" {
				c.Jumped = append(c.Jumped, list...)
			} else {
				c.Unplugged = append(c.Unplugged, list...)
			}
			p.i = i + n
			return true
		}
		if like := nearKeyword(p.words[from].key); like != "" && named == 0 {
			return p.fail(from, from+1, "'"+p.words[from].text+"' looks like '"+like+"' misspelt", like)
		}
		if p.doubtfulWords(from, from+named, i) {
			return true
		}
		c.Said = also(c.Said, p.raw(from, i+n))
		p.i = i + n
		switch word {
		case "commanded on", "commanded":
			return p.command(c, eventv1.Command_COMMAND_ON)
		case "commanded off", "not commanded":
			return p.command(c, eventv1.Command_COMMAND_OFF)
		}
		return true
	}
	return false
}

// namesUntil reads names joined by 'and' up to the word end.
func (p *parser) namesUntil(end int) []string {
	var out []string
	kind := "" // that several were said to be: 'fuses F1 and F2'
	for p.i < end {
		to := p.i
		for to < end && p.match(to, "and") == 0 {
			to++
		}
		if to == p.i {
			p.fail(p.i, p.i+1, "a name is missing", p.nearest("", false)...)
			return nil
		}
		if k, known := p.knownAt(p.i); k == to-p.i {
			p.i = to
			out = append(out, known.Text)
		} else if p.words[p.i].quoted && to == p.i+1 {
			p.i = to
			out = append(out, p.found(p.words[to-1].text, false, to-1))
		} else {
			if p.doubtfulWords(p.i, p.i, to) {
				return nil
			}
			text, from := make([]string, 0, to-p.i), p.i
			for _, w := range p.words[p.i:to] {
				text = append(text, w.text)
			}
			switch one := several[p.words[from].key]; {
			case one != "" && len(text) > 1:
				kind, text[0] = one, one
			case kind != "" && len(text) == 1:
				text = []string{kind, text[0]}
			}
			p.i = to
			out = append(out, p.found(spokenName(text), false, from))
		}
		if p.i < end {
			p.i++
			if p.i == end {
				p.fail(p.i, p.i, "a name is missing behind 'and'")
				return nil
			}
		}
	}
	return out
}

// ReadConditions reads conditions alone: 'key on, fan commanded'. The error is
// always a *Error.
func ReadConditions(text string) (*eventv1.Conditions, error) {
	p, err := newParser(text, Context{})
	if err != nil {
		err.Line = text
		return nil, err
	}
	var s setting
	for !p.done() {
		if !p.conditions(&s) {
			p.fail(p.i, p.segmentEndHere(), "this is no condition", "key on", "running", "commanded", "not commanded")
		}
	}
	c := s.finish(p)
	switch {
	case p.err != nil:
	case c == nil:
		p.fail(0, 0, "a condition is missing", "key on", "running", "commanded", "not commanded")
	case p.note != "":
		p.fail(len(p.words), len(p.words), "a note is no condition", "key on", "running", "commanded", "not commanded")
	}
	if p.err != nil {
		p.err.Line = text
		return nil, p.err
	}
	return c, nil
}

// ConditionsLine writes conditions so that ReadConditions reads the same.
func ConditionsLine(c *eventv1.Conditions) string {
	w := new(writer)
	w.conditions(c)
	return strings.Join(w.parts, ", ")
}

// names reads one or more names joined by 'and'.
func (p *parser) names(what string) []string {
	p.stops = append(p.stops, "and")
	defer func() { p.stops = p.stops[:len(p.stops)-1] }()
	out := []string{p.name(false, what)}
	for p.err == nil && p.takes("and") {
		out = append(out, p.name(false, what))
	}
	return out
}

// finish gives the conditions, those of the context underneath when the line
// said 'same state'; nil when nothing was said.
func (s *setting) finish(p *parser) *eventv1.Conditions {
	c := &s.c
	if s.same {
		was := proto.Clone(p.ctx.Conditions).(*eventv1.Conditions)
		p.carry("state")
		if c.Key == 0 {
			c.Key = was.Key
		}
		if c.Commanded == 0 {
			c.Commanded = was.Commanded
		}
		for _, slot := range []struct{ now, was **eventv1.Quantity }{
			{&c.Supply, &was.Supply}, {&c.Current, &was.Current}, {&c.Temperature, &was.Temperature},
		} {
			if *slot.now == nil {
				*slot.now = *slot.was
			}
		}
		c.Unplugged = append(was.Unplugged, c.Unplugged...)
		c.Jumped = append(was.Jumped, c.Jumped...)
		c.Loaded = append(was.Loaded, c.Loaded...)
		c.Said = also(was.Said, c.Said)
	}
	if proto.Size(c) == 0 {
		return nil
	}
	return c
}

// also joins two remarks.
func also(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + ", " + b
}
