package quick

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func (w *writer) conditions(c *eventv1.Conditions) {
	if c == nil {
		return
	}
	switch c.Key {
	case eventv1.KeyPosition_KEY_POSITION_UNSPECIFIED:
	case eventv1.KeyPosition_KEY_POSITION_RUNNING:
		w.add("engine running")
	case eventv1.KeyPosition_KEY_POSITION_CRANKING, eventv1.KeyPosition_KEY_POSITION_DRIVING, eventv1.KeyPosition_KEY_POSITION_READY:
		w.add(notation.Word(c.Key))
	default:
		w.add("key " + notation.Word(c.Key))
	}
	if c.Commanded != 0 && !strings.Contains(c.Said, "commanded") {
		w.add(map[eventv1.Command]string{eventv1.Command_COMMAND_ON: "commanded", eventv1.Command_COMMAND_OFF: "not commanded"}[c.Commanded])
	}
	if len(c.Unplugged) > 0 {
		w.add("with " + names(c.Unplugged) + " unplugged")
	}
	if len(c.Jumped) > 0 {
		w.add("with " + names(c.Jumped) + " jumped")
	}
	if len(c.Loaded) > 0 {
		w.add("loaded with " + names(c.Loaded))
	}
	w.labelled("supply", notation.Format(c.Supply))
	w.labelled("at", notation.Format(c.Current))
	w.labelled("at", notation.Format(c.Temperature))
	w.add(w.text(c.Said))
}

func (w *writer) presence(p eventv1.Presence) {
	switch p {
	case eventv1.Presence_PRESENCE_PRESENT:
		w.add("concern present")
	case eventv1.Presence_PRESENCE_ABSENT:
		w.add("concern absent")
	case eventv1.Presence_PRESENCE_NOT_KNOWN:
		w.add("concern not known")
	}
}

func (w *writer) expectation(e *eventv1.Expectation) {
	if e == nil {
		return
	}
	low, high := notation.Format(e.Low), notation.Format(e.High)
	switch {
	case e.Said != "":
		w.add("should be " + e.Said)
	case e.Low != nil && e.High != nil && proto.Equal(e.Low, e.High):
		w.add("should be " + low)
	case e.Low != nil && e.High != nil:
		w.add("should be " + low + " to " + high)
	case e.Low != nil && (e.Low.Sense == eventv1.Sense_SENSE_OVER || e.Low.Sense == eventv1.Sense_SENSE_OVER_RANGE):
		w.add("should be " + low)
	case e.Low != nil:
		w.add("should be at least " + low)
	case e.High != nil && e.High.Sense == eventv1.Sense_SENSE_UNDER:
		w.add("should be " + high)
	case e.High != nil:
		w.add("should be at most " + high)
	}
	w.labelled("according to", e.Source)
}

// verdict adds what came of it.
func (w *writer) verdict(tries, failures uint32, o eventv1.Outcome) {
	if failures > 0 && o == eventv1.Outcome_OUTCOME_INCONCLUSIVE { // else a failure among the tries is a fail
		w.add(notation.Word(o))
		o = 0
	}
	if tries > 0 {
		w.add(fmt.Sprintf("failed %d of %d", failures, tries))
	}
	w.add(notation.Word(o))
}

func (w *writer) covers(list []*eventv1.Covered) {
	if len(list) == 0 {
		return
	}
	out := make([]string, len(list))
	for i, c := range list {
		out[i] = map[bool]string{true: "mostly "}[c.Extent == eventv1.Extent_EXTENT_MOSTLY] + name(c.Component)
	}
	w.add("covers " + strings.Join(out, " and "))
}

func (w *writer) instrument(i *eventv1.Instrument) {
	if i != nil {
		w.labelled("with", noun(i))
	}
}

// noun is what an instrument is called in a line.
func noun(i *eventv1.Instrument) string {
	if i.GetName() != "" {
		return i.GetName()
	}
	return map[eventv1.InstrumentKind]string{
		eventv1.InstrumentKind_INSTRUMENT_KIND_METER: "meter", eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP: "test lamp",
		eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER: "led tester", eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP: "clamp",
		eventv1.InstrumentKind_INSTRUMENT_KIND_OSCILLOSCOPE: "scope", eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL: "scan tool",
		eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE: "gauge", eventv1.InstrumentKind_INSTRUMENT_KIND_BATTERY_TESTER: "battery tester",
	}[i.GetKind()]
}

func (w *writer) reading(r *eventv1.Reading) {
	value := notation.Format(r.Value)
	kind := r.GetInstrument().GetKind()
	first := false
	switch {
	case r.Quantity != "" && kind == eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE:
		value, first = "gauge "+r.Quantity+" "+value, true
	case r.Quantity != "":
		value, first = "scan "+r.Quantity+" "+value, true
	case r.Shown != "" && r.Instrument != nil:
		value, first = noun(r.Instrument)+" "+r.Shown, true
	case r.Shown != "":
		value = r.Shown
	}
	if !first && measures(r.GetValue().GetUnit(), notation.Time) {
		value = "read " + value // a line that begins with minutes is time spent
	}
	alone := kind == eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL ||
		kind == eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP || !hasLeads(r.Value)
	switch {
	case r.At != "" && alone:
		value += " at " + name(r.At)
	case r.At != "":
		value += " across " + name(r.At)
	case r.Red != "" && r.Black != "" && (!alone || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP):
		value += " at " + name(r.Red) + " to " + name(r.Black)
	case r.Red != "" && r.Black != "":
		value += ", red " + name(r.Red) + ", black " + name(r.Black)
	case r.Red != "" && alone:
		value += ", red " + name(r.Red)
	case r.Red != "":
		value += " at " + name(r.Red)
	case r.Black != "":
		value += ", black " + name(r.Black)
	}
	w.add(value)
	if !first {
		w.instrument(r.Instrument)
	}
	w.conditions(r.Conditions)
	w.presence(r.Concern)
	w.expectation(r.ShouldBe)
	w.labelled("meanwhile", r.Meanwhile)
	w.covers(r.Covers)
	w.verdict(r.Tries, r.Failures, r.Outcome)
	w.extra = w.text(r.Said)
}

func (w *writer) test(t *eventv1.Test) {
	if first, _, _ := strings.Cut(strings.ToLower(t.What), " "); first == "lamp" || first == "light" {
		w.add("test: " + t.What) // a test lamp is an instrument
	} else {
		w.add("test " + t.What)
	}
	w.add(t.Result)
	w.instrument(t.Instrument)
	w.conditions(t.Conditions)
	w.presence(t.Concern)
	if t.ConcernChange != 0 {
		w.add(phrase(concernChanges, t.ConcernChange))
	}
	w.expectation(t.ShouldBe)
	w.labelled("meanwhile", t.Meanwhile)
	w.covers(t.Covers)
	w.verdict(t.Tries, t.Failures, t.Outcome)
	w.extra = w.text(t.Said)
}
