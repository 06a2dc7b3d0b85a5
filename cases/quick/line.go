package quick

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Line writes an event as a line that is understood the same way, for showing
// back. What a line cannot say is left out: kinds that no line makes give the
// empty string.
func Line(e *eventv1.Event) string { return new(writer).line(e) }

func (w *writer) line(e *eventv1.Event) string {
	if n := e.GetNote(); n != nil {
		return "note " + n.Text
	}
	if w.kind(e); !w.whole {
		w.background(e)
		w.add(w.extra)
	}
	line := strings.Join(w.parts, ", ")
	if w.note != "" {
		line += " # " + w.note
	}
	return line
}

func (w *writer) kind(e *eventv1.Event) {
	switch k := e.GetKind().(type) {
	case *eventv1.Event_Reading:
		w.reading(k.Reading)
	case *eventv1.Event_Test:
		w.test(k.Test)
	case *eventv1.Event_PartFitted:
		w.partFitted(k.PartFitted)
	case *eventv1.Event_PartRemoved:
		w.add("removed " + name(k.PartRemoved.Component))
		w.answer(k.PartRemoved.Kept, "kept "+k.PartRemoved.WhereKept, "not kept")
		w.labelled("because", w.text(k.PartRemoved.Why))
	case *eventv1.Event_PartPutBack:
		w.add(map[bool]string{true: "reseated ", false: "put back "}[k.PartPutBack.ReseatedOnly] + name(k.PartPutBack.Component))
	case *eventv1.Event_Belief:
		w.belief(k.Belief)
	case *eventv1.Event_BeliefSettled:
		holds := map[eventv1.Answer]string{eventv1.Answer_ANSWER_YES: " true", eventv1.Answer_ANSWER_NO: " not true"}
		w.add("belief " + w.reference(k.BeliefSettled.Belief) + holds[k.BeliefSettled.Holds])
		w.add(w.text(k.BeliefSettled.How))
	case *eventv1.Event_TemporaryOn:
		w.temporaryOn(k.TemporaryOn)
	case *eventv1.Event_TemporaryOff:
		w.temporaryOff(k.TemporaryOff)
	default:
		w.other(e)
	}
}

// text is a text without the note at its end, which goes to the end of the line.
func (w *writer) text(s string) string {
	before, note, found := strings.Cut(" "+s, " # ")
	if found {
		w.note = note
	}
	return strings.TrimSpace(before)
}

// writer collects the parts between commas.
type writer struct {
	parts []string
	// typed is how the writer of a line referred to entries, by id.
	typed map[string]string
	// extra and note stand at the end.
	extra, note string
	// whole: the line as typed is there already.
	whole bool
}

func (w *writer) add(part string) {
	if part = strings.TrimSpace(part); part != "" {
		w.parts = append(w.parts, part)
	}
}

// labelled adds a word and what follows it.
func (w *writer) labelled(label, text string) {
	if text != "" {
		w.add(label + " " + text)
	}
}

func (w *writer) answer(a eventv1.Answer, yes, no string) {
	switch a {
	case eventv1.Answer_ANSWER_YES:
		w.add(yes)
	case eventv1.Answer_ANSWER_NO:
		w.add(no)
	}
}

// phrase is the shortest phrase of a table for a value; ties go by spelling.
func phrase[V comparable](table map[string]V, v V) string {
	best := ""
	for text, value := range table {
		if value == v && (best == "" || len(text) < len(best) || len(text) == len(best) && text < best) {
			best = text
		}
	}
	return best
}

// reference is how an entry was referred to, or else the end of its id.
func (w *writer) reference(id string) string {
	if ref, ok := w.typed[id]; ok {
		return ref
	}
	return notation.ShortID(id)
}

func (w *writer) references(ids []string) string {
	refs := make([]string, len(ids))
	for i, id := range ids {
		refs[i] = w.reference(id)
	}
	return strings.Join(refs, " and ")
}

// allStops end a name in one kind of line or another.
func allStops() []string {
	out := append([]string{"to", "at", "red", "black", "across", "with", "on", "off", "in", "out", "drop", "dc", "ac", "peak", "scan", "said", "none",
		"active", "stored", "pending", "present", "history", "current", "between", "up to", "approved", "refused", "is", "fused", "does not answer",
		"programmed", "relearned", "unplugged", "disconnected", "pulled", "cover", "reseated", "mended", "repaired", "put back", "only", "mostly"}, partStops...)
	for state := range partStates {
		out = append(out, state)
	}
	return append(out, "thrown away", "taken out", "not kept", "lead")
}

// name writes a name, in quotes when it would not be read whole without them.
func name(s string) string {
	p, err := newParser(s, Context{})
	if err == nil && len(p.words) > 0 && !p.words[0].quoted && p.note == "" {
		p.stops = allStops()
		stop, _ := p.matchAny(0, p.stops...)
		stop -= p.match(0, "red") + p.match(0, "black")
		outcome, _ := p.outcomeAt(0)
		number, _, _ := p.quantityAt(0, "")
		if stop+outcome+number+p.momentAt(0) == 0 && !p.isArticle(0) && p.name(false, "name") == s && p.err == nil && p.done() && strings.Trim(s, ",;:.!") == s {
			return s
		}
	}
	return `"` + s + `"`
}

func names(list []string) string {
	out := make([]string, len(list))
	for i, n := range list {
		out[i] = name(n)
	}
	return strings.Join(out, " and ")
}

// background adds what any entry may say of itself.
func (w *writer) background(e *eventv1.Event) {
	if len(e.Because) > 0 {
		w.add("because " + w.references(e.Because))
	}
	if m := e.Happened; m != nil {
		text := m.Said
		if text == "" {
			text = notation.FormatRFC3339(m)
		}
		if clockForm.MatchString(text) {
			text = "at " + text
		} else if first, _, _ := strings.Cut(strings.ToLower(text), " "); contains(weekdays, first) || dateForm.MatchString(strings.Trim(first, ",")) {
			text = "on " + text
		}
		w.add(text)
	}
	if e.By != "" {
		w.add("by " + name(e.By))
	}
	switch at := e.GetPlaced().GetWhere().(type) {
	case *eventv1.Placement_After:
		w.add("after " + w.reference(at.After))
	case *eventv1.Placement_BeforeOpening:
		w.add("before the opening")
	}
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

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
}

func (w *writer) partFitted(f *eventv1.PartFitted) {
	state := ""
	if f.State != 0 {
		state = notation.Word(f.State) + " "
	}
	if f.State == eventv1.PartState_PART_STATE_BORROWED && f.BorrowedFrom != "" && f.Part != "" {
		w.add("fitted borrowed " + name(f.Part) + " from " + name(f.BorrowedFrom) + " for " + name(f.Component))
	} else {
		w.add("fitted " + state + name(f.Component))
		if f.BorrowedFrom != "" {
			w.add("from " + name(f.BorrowedFrom))
		}
		if f.Part != "" {
			w.add("part " + name(f.Part))
		}
	}
	w.answer(f.OldKept, "old kept", "old not kept")
	if f.OldKept == eventv1.Answer_ANSWER_NOT_KNOWN {
		w.add("old kept not known")
	}
	if f.Why != 0 {
		w.add(notation.Word(f.Why))
	}
	for _, l := range []struct{ label, text string }{{"part number", f.PartNumber}, {"supplier", f.Supplier}, {"removed", f.Removed}, {"job", f.Job}} {
		if l.text != "" {
			w.add(l.label + " " + name(l.text))
		}
	}
	w.answer(f.NumberMatches, "number matches", "number does not match")
	if f.NumberMatches == eventv1.Answer_ANSWER_NOT_KNOWN {
		w.add("number not checked")
	}
	w.labelled("cost", notation.FormatMoney(f.Cost))
}

func (w *writer) belief(b *eventv1.Belief) {
	lead := map[eventv1.Basis]string{
		eventv1.Basis_BASIS_ASSUMED: "assume ", eventv1.Basis_BASIS_REMEMBERED: "remember ", eventv1.Basis_BASIS_LOOKED_UP: "looked up ",
		eventv1.Basis_BASIS_MEASURED: "believe measured ", eventv1.Basis_BASIS_SEEN: "believe I saw ", eventv1.Basis_BASIS_TRACED: "believe traced ",
		eventv1.Basis_BASIS_TOLD: "told that ",
	}[b.Basis]
	if b.Basis == eventv1.Basis_BASIS_TOLD && b.ToldBy != "" {
		verb := " says "
		if who := strings.ToLower(b.ToldBy); who == "they" || who == "you" || who == "we" {
			verb = " say "
		}
		lead = b.ToldBy + verb
		if p, err := newParser(lead, Context{}); err != nil || p.recognise(grammars()) != Believe {
			lead = "told by " + name(b.ToldBy) + " that "
		}
	}
	w.add(lead + w.text(b.Statement))
	if b.Component != "" {
		w.add("about component " + name(b.Component))
	}
	if b.Point != "" {
		w.add("about point " + name(b.Point))
	}
}

func (w *writer) temporaryOn(t *eventv1.TemporaryOn) {
	switch t.Temporary {
	case eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER:
		if len(t.Where) > 1 {
			w.add("jumper from " + strings.ReplaceAll(names(t.Where), " and ", " to "))
		} else {
			w.add("jumper on " + names(t.Where))
		}
	case eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED:
		w.add("unplugged " + names(t.Where))
	case eventv1.TemporaryKind_TEMPORARY_KIND_FUSE_OUT:
		w.add(names(t.Where) + " out")
	case eventv1.TemporaryKind_TEMPORARY_KIND_PIERCED:
		w.add("pierced " + strings.ReplaceAll(names(t.Where), " and ", " at "))
	case eventv1.TemporaryKind_TEMPORARY_KIND_COVER_OFF:
		w.add("cover off " + names(t.Where))
	case eventv1.TemporaryKind_TEMPORARY_KIND_CHARGER_ON:
		w.add(strings.TrimSuffix("charger on "+names(t.Where), " "))
	case eventv1.TemporaryKind_TEMPORARY_KIND_WIRE_CUT:
		w.add("cut " + strings.ReplaceAll(names(t.Where), " and ", " at "))
	default:
		w.add("temp")
		for _, at := range t.Where {
			w.add("at " + name(at))
		}
	}
	w.labelled("fused", notation.Format(t.Fuse))
	if t.Undo != "" {
		w.add("undo " + name(t.Undo))
	}
}

// temporaryOff repeats the line as typed, since what it undoes depends on what
// is on.
func (w *writer) temporaryOff(t *eventv1.TemporaryOff) {
	p, err := newParser(t.Said, Context{})
	if err != nil || len(p.words) == 0 {
		w.add("temp off " + w.reference(t.Temporary))
		return
	}
	w.parts, w.note = append(w.parts, t.Said[:p.words[len(p.words)-1].to]), p.note
	w.whole = true
}
