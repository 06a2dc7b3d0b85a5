package quick

import (
	"strings"

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
		w.extra = w.text(k.PartPutBack.Said)
	case *eventv1.Event_Belief:
		w.belief(k.Belief)
	case *eventv1.Event_BeliefSettled:
		holds := map[eventv1.Answer]string{eventv1.Answer_ANSWER_YES: " true", eventv1.Answer_ANSWER_NO: " not true"}
		w.add("belief " + w.reference(k.BeliefSettled.Belief) + holds[k.BeliefSettled.Holds])
		w.add(w.text(k.BeliefSettled.How))
	case *eventv1.Event_TemporaryOn:
		w.temporaryOn(k.TemporaryOn)
	case *eventv1.Event_TemporaryOff:
		w.temporaryOff(e)
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
	out := append([]string{"to", "at", "red", "black", "across", "over", "through", "@", "with", "on", "off", "in", "out", "drop", "dc", "ac", "peak", "scan", "said", "none",
		"active", "stored", "pending", "present", "history", "current", "between", "up to", "approved", "refused", "is", "fused", "does not answer",
		"programmed", "relearned", "unplugged", "disconnected", "pulled", "cover", "reseated", "mended", "repaired", "put back", "only", "mostly"}, partStops...)
	for state := range partStates {
		out = append(out, state)
	}
	out = append(out, unplaced...)
	return append(out, "thrown away", "taken out", "not kept", "lead")
}

// name writes a name, in quotes when it would not be read whole without them.
func name(s string) string {
	p, err := newParser(s, Context{})
	if err == nil && len(p.words) > 0 && !p.words[0].quoted && p.note == "" {
		p.stops, p.ends, p.priced, p.measuring = allStops(), partEnds(), true, true
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

// person writes who did something, in quotes when the words would be taken for
// anything else.
func person(s string) string {
	if p, err := newParser(s, Context{}); err == nil && len(p.words) > 0 && p.nobody(0) != "" {
		return `"` + s + `"`
	}
	return name(s)
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
		} else if first, _, _ := strings.Cut(strings.ToLower(text), " "); contains(weekdays, first) || dateForm.MatchString(first[:min(10, len(first))]) {
			text = "on " + text
		}
		w.add(text)
	}
	if e.By != "" {
		w.add("by " + person(e.By))
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
	w.extra = w.text(f.WhySaid)
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
		w.extra = w.text(t.What)
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
func (w *writer) temporaryOff(e *eventv1.Event) {
	t := e.GetTemporaryOff()
	p, err := newParser(e.Typed, Context{})
	if err != nil || len(p.words) == 0 {
		w.add("temp off " + w.reference(t.Temporary))
		return
	}
	w.parts, w.note = append(w.parts, e.Typed[:p.words[len(p.words)-1].to]), p.note
	w.whole = true
}
