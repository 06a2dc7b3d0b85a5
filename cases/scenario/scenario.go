// Package scenario reads invented cases that are written a line an entry, so
// that a test can be read like a job card. Only tests import it.
//
//	# a comment
//	mara@north: case-opened concern.statement="fan does not run"
//	part-fitted component="fan motor" state=new why=guess cost="189.00 EUR" before-opening
//	reading value="12.4 V" red="fan C1-2" black=batt- outcome=fail covers="fan feed"
//	    because=#3
//
// A line that begins with a space continues the one before. 'mara@north:' says
// who writes and for which shop, until another line says otherwise. The kind and
// the fields are those of knowngood.event.v1, with hyphens or underscores; a dot
// reaches into a message; a key given twice adds to a list. '#3' is the id of
// the third entry. Keys of the envelope: by, because, after, before-opening,
// happened; a field of the kind of that name comes first, as in a check after
// repair, where the envelope's is placed-after.
//
// A circuit drawn by its line alone, said="batt+ > fuse F7 > lamp A > gnd G1", has the
// elements and points that package path reads in it.
//
// Values: text, with double quotes where it has spaces; an enum's word ('new',
// 'high-resistance'); yes or no; a number; a quantity ('12.31 V', '0.2 V drop',
// 'OL Ohm'); money with all its decimals ('189.00 EUR'); a moment ('2026-03-02',
// '2026-03-02T09:30+01:00', or any words); covered components ('fan motor, fan
// relay', 'mostly fan motor'); any message in braces as protobuf text.
package scenario

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/cases"
	"knowngood.example/cases/path"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Scenario is an invented case.
type Scenario struct {
	Records []cases.Record
	// Names maps the ids of its people and shops to the names in the text.
	Names map[string]string
}

// Stream is the id of every scenario's case.
const Stream = "01900000-0000-7000-8000-0000000000ca"

// opened is when the first entry is taken by the log; each next one is taken ten
// minutes later.
var opened = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// Read reads a scenario. An error names the entry.
func Read(text string) (*Scenario, error) {
	s := &Scenario{Names: map[string]string{}}
	who := writer{person: "writer", shop: "home"}
	for _, line := range entries(text) {
		n := uint64(len(s.Records) + 1)
		words, err := split(line)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", n, err)
		}
		if w, ok := writerOf(words[0]); ok {
			who, words = w, words[1:]
		}
		if len(words) == 0 {
			return nil, fmt.Errorf("entry %d: it says who, but not what", n)
		}
		r, err := s.record(n, who, words)
		if err != nil {
			return nil, fmt.Errorf("entry %d (%s): %w", n, words[0], err)
		}
		s.Records = append(s.Records, r)
	}
	return s, nil
}

// Case folds the scenario.
func (s *Scenario) Case() (*cases.Case, error) { return cases.Fold(Stream, s.Records) }

// PersonID is the id of the person or shop of that name.
func PersonID(name string) string {
	h := sha256.Sum256([]byte(name))
	x := hex.EncodeToString(h[:])
	return x[:8] + "-" + x[8:12] + "-7" + x[13:16] + "-8" + x[17:20] + "-" + x[20:32]
}

// EntryID is the id of the entry at the place.
func EntryID(seq uint64) string { return fmt.Sprintf("01900000-0000-7000-8000-%012x", seq) }

type writer struct{ person, shop string }

func writerOf(word string) (writer, bool) {
	w, ok := strings.CutSuffix(word, ":")
	person, shop, at := strings.Cut(w, "@")
	return writer{person, shop}, ok && at
}

// record makes the record of one entry.
func (s *Scenario) record(n uint64, who writer, words []string) (cases.Record, error) {
	person, shop := PersonID(who.person), PersonID(who.shop)
	s.Names[person], s.Names[shop] = who.person, who.shop
	at := moment(opened.Add(time.Duration(n-1) * 10 * time.Minute))
	e := &eventv1.Event{
		Id: EntryID(n), Stream: Stream, Device: person, DeviceSeq: n, ObservedThrough: n - 1,
		Happened: at, RecordedBy: person, Salt: make([]byte, 16),
	}
	m := e.ProtoReflect()
	kind := m.Descriptor().Fields().ByName(fieldName(words[0]))
	if kind == nil || kind.ContainingOneof() == nil {
		return cases.Record{}, fmt.Errorf("%q is no kind of event", words[0])
	}
	body := m.Mutable(kind).Message()
	for _, w := range words[1:] {
		key, value, given := strings.Cut(w, "=")
		if !given {
			value = "yes"
		}
		fields := strings.Split(key, ".")
		var err error
		if body.Descriptor().Fields().ByName(fieldName(fields[0])) != nil || !envelopeKey(e, key, value) {
			err = set(body, fields, value)
		}
		if err != nil {
			return cases.Record{}, fmt.Errorf("%s: %w", key, err)
		}
	}
	sketch(e.GetCircuitDrawn())
	entry := &eventv1.Entry{
		Log: "0123456789abcdef", Index: n - 1, Seq: n, Stream: Stream, Id: e.GetId(), Recorded: at,
		Device: person, DeviceSeq: n, Person: person, Shop: shop, Kind: uint32(kind.Number()),
	}
	return cases.Record{Entry: entry, Event: e, Known: true}, nil
}

// sketch gives a circuit that is drawn by its line alone what the line says. A line
// that is no drawing stays what somebody said.
func sketch(c *eventv1.CircuitDrawn) {
	if c.GetSaid() == "" || len(c.GetElements()) > 0 {
		return
	}
	if d, err := path.Read(c.GetSaid()); err == nil {
		c.Elements, c.Points = d.Event.GetElements(), append(c.GetPoints(), d.Event.GetPoints()...)
	}
}

// envelopeKey sets what belongs to the envelope and reports whether it did.
func envelopeKey(e *eventv1.Event, key, value string) bool {
	switch key {
	case "by":
		e.By = value
	case "because":
		for _, ref := range strings.Split(value, ",") {
			e.Because = append(e.Because, reference(strings.TrimSpace(ref)))
		}
	case "after", "placed-after":
		e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{After: reference(value)}}
	case "before-opening":
		e.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
		e.Happened = nil
	case "happened":
		e.Happened = readMoment(value)
	default:
		return false
	}
	return true
}

// reference turns '#3' into the id of the third entry.
func reference(s string) string {
	var n uint64
	if _, err := fmt.Sscanf(s, "#%d", &n); err == nil && fmt.Sprintf("#%d", n) == s {
		return EntryID(n)
	}
	return s
}

func fieldName(word string) protoreflect.Name {
	return protoreflect.Name(strings.ReplaceAll(word, "-", "_"))
}

// entries joins continued lines and drops comments and empty ones.
func entries(text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		trimmed := strings.TrimSpace(line)
		switch {
		case trimmed == "" || strings.HasPrefix(line, "#"):
		case (line[0] == ' ' || line[0] == '\t') && len(out) > 0:
			out[len(out)-1] += " " + trimmed
		default:
			out = append(out, trimmed)
		}
	}
	return out
}

// split cuts a line at spaces outside double quotes and braces; the quotes go.
func split(line string) ([]string, error) {
	var words []string
	var b strings.Builder
	quoted, depth, any := false, 0, false
	flush := func() {
		if any {
			words = append(words, b.String())
		}
		b.Reset()
		any = false
	}
	for _, r := range line {
		switch {
		case r == '"' && depth == 0:
			quoted, any = !quoted, true
			continue
		case r == ' ' && !quoted && depth == 0:
			flush()
			continue
		case r == '{':
			depth++
		case r == '}':
			depth--
		}
		any = true
		b.WriteRune(r)
	}
	if quoted || depth != 0 {
		return nil, fmt.Errorf("a quote or brace is not closed in %q", line)
	}
	flush()
	return words, nil
}
