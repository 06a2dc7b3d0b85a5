package quick

import (
	"slices"
	"strings"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// grammar of a kind.
type grammar struct {
	kind Kind
	read func(*parser)
	// words are those that begin a line of this kind. The first is the kind's
	// own name.
	words []string
	// example is a line for hints.
	example string
}

// grammars in the order in which they are offered.
func grammars() []grammar {
	return []grammar{
		{Read, (*parser).reading, []string{"read", "reading", "red", "black", "red lead", "black lead", "clamp", "current clamp", "test lamp", "test light",
			"led tester", "scan", "scan tool", "gauge", "scope", "oscilloscope", "same leads", "continuity", "no continuity", "beeps", "no beep"},
			"12.31 V at bcm.C3-14 to batt-"},
		{Test, (*parser).test, []string{"test", "tested", "bypass", "bypassed", "swap", "swapped", "substituted", "bench", "bench tested", "ran", "run", "operated",
			"switched", "wiggled", "tried", "function"}, "test ran the fan from the battery, covers fan motor, pass"},
		{Fit, (*parser).fit, []string{"fit", "fitted", "new", "brand new", "a new", "used", "second hand", "reconditioned", "rebuilt", "borrowed", "replaced", "put in",
			"installed", "changed", "swapped in"}, "new fan in, old kept, guess"},
		{Remove, (*parser).remove, []string{"remove", "removed", "took out", "took off"}, "removed thermostat, kept"},
		{PutBack, (*parser).putBack, []string{"putback", "put back", "refitted", "put the original", "reseated", "reseat", "unplugged and replugged"}, "put back relay"},
		{Believe, (*parser).believe, []string{"believe", "belief", "assume", "assumed", "assuming", "i assume", "i think", "i believe", "i guess", "i reckon",
			"think", "remember", "remembered", "i remember", "from memory", "looked up", "i looked up", "told by", "i was told", "told that"}, "they say feed is good"},
		{Settle, (*parser).settle, []string{"settle", "settle belief"}, "belief 12 not true because 14"},
		{Temp, (*parser).temporary, []string{"temp", "temporary", "undo"}, "jumper on 30-87"},
		{Saw, (*parser).saw, []string{"seen", "saw", "i saw", "found", "i found", "heard", "smelled", "smelt", "noticed", "i noticed"}, "saw green corrosion in splice S4"},
		{Note, (*parser).writeNote, []string{"note"}, "note customer waits until noon"},
		{Codes, (*parser).codes, append([]string{"codes", "code", "no codes", "module"}, clearing...), "codes P0480 active from bcm"},
		{Disturb, (*parser).disturb, []string{"disturb", "disturbed", "battery disconnected", "disconnected battery", "disconnected the battery", "programmed", "reprogrammed",
			"relearned", "relearnt"}, "battery disconnected"},
		{Approve, (*parser).approve, []string{"approve", "approval", "approved", "customer approved", "customer refused", "customer declined", "customer agreed"},
			"customer approved 200 EUR by phone"},
		{Spent, (*parser).spent, []string{"spent"}, "20 min tracing ground"},
		{Concern, (*parser).concern, slices.Concat([]string{"concern"}, sawIt, notSeen, actingUp, goneAway), "saw it, key on"},
		{Worked, (*parser).workedOn, []string{"worked", "worked on"}, "worked on front bumper"},
		{Safe, (*parser).madeSafe, []string{"safe", "made safe"}, "made safe high voltage, locked off, proven dead, tester proven"},
		{Repair, (*parser).repair, []string{"repair", "repaired", "mended", "soldered", "cleaned", "tightened", "crimped"}, "repaired splice S4: cut out and crimped"},
		{Checked, (*parser).repairChecked, []string{"checked", "checked repair", "checked the repair", "repair checked"}, "checked repair 14, rescanned, concern tried, gone, pass"},
		{Meter, (*parser).meterChecked, []string{"meter", "leads shorted", "clamp zeroed", "meter checked"}, "meter 2 checked on battery posts, 12.6 V, pass"},
		{Close, (*parser).closed, []string{"close", "closed"}, "close fixed and checked"},
	}
}

// afterValue is what stands behind the value of a reading, and not behind time spent.
var afterValue = []string{"at", "to", "across", "drop"}

// run finds the kind, reads the line and writes down how it was understood.
func (p *parser) run(kind Kind) *Error {
	all := grammars()
	if len(p.words) == 0 {
		hints := []string{all[0].example, all[2].example, all[5].example}
		if p.note != "" {
			hints = []string{"note " + p.note}
		}
		p.fail(0, 0, "nothing is said", hints...)
		return p.err
	}
	if kind == unstated {
		if kind = p.recognise(all); p.err != nil {
			return p.err
		}
	}
	at := slices.IndexFunc(all, func(g grammar) bool { return g.kind == kind })
	if at < 0 {
		p.fail(0, len(p.words), "'"+string(kind)+"' is no kind of entry")
		return p.err
	}
	if kind == Read || kind == Test && p.match(0, "test lamp")+p.match(0, "test light") == 0 {
		p.takes(string(kind), "reading", "tested")
	}
	if p.done() && kind != Note {
		p.fail(p.i, p.i, "nothing follows", all[at].example)
	}
	if p.err == nil {
		all[at].read(p)
	}
	if p.err != nil {
		return p.err
	}
	p.keepRest()
	w := &writer{typed: p.typed, extra: p.extra, note: p.note}
	p.parsed.Understood = w.line(p.event)
	return nil
}

// keepRest puts the words that no field is for, and the note, where the kind
// keeps such words.
func (p *parser) keepRest() {
	rest := p.remark(p.extra)
	switch k := p.event.Kind.(type) {
	case *eventv1.Event_Reading:
		k.Reading.Said = rest
	case *eventv1.Event_Test:
		k.Test.Said = rest
	case *eventv1.Event_PartFitted:
		k.PartFitted.WhySaid = rest
	case *eventv1.Event_PartPutBack:
		k.PartPutBack.Said = rest
	case *eventv1.Event_RepairChecked:
		k.RepairChecked.Said = rest
	case *eventv1.Event_MadeSafe:
		k.MadeSafe.Said = rest
	case *eventv1.Event_TemporaryOff:
		k.TemporaryOff.Said = rest
	case *eventv1.Event_EvidenceDisturbed:
		k.EvidenceDisturbed.Said = rest
	case *eventv1.Event_Closed:
		k.Closed.Said = rest
	}
}

// recognise tells the kind by the leading words. The longest phrase wins; what
// only the whole line can tell comes after. It never guesses between two.
func (p *parser) recognise(all []grammar) Kind {
	longest, kinds := 0, []Kind(nil)
	for _, g := range all {
		n, _ := p.matchAny(0, g.words...)
		switch {
		case n > longest:
			longest, kinds = n, []Kind{g.kind}
		case n == longest && n > 0:
			kinds = append(kinds, g.kind)
		}
	}
	first := unstated
	if len(kinds) > 0 {
		first = kinds[0]
	}
	outcome := p.hasOutcome()
	switch _, _, lead := p.temporaryAt(0); {
	case len(p.words) > 1 && p.match(0, "belief") > 0 && p.isReference(1):
		return Settle
	case p.stillAt(0) > 0:
		return Concern
	case p.match(0, "measured") > 0 && p.isNumber(1):
		p.i = 1
		return Read
	case p.matchesAny(0, []string{"original", "old", "the original", "the old"}) > 0:
		for k := 1; k < p.segmentEnd(0); k++ {
			if p.match(k, "back") > 0 {
				return PutBack
			}
		}
		if p.matchesAny(0, []string{"original", "the original"}) > 0 {
			return Fit
		}
	case first == PutBack && outcome, first == Checked && longest == 1 && !p.isReference(1) && outcome:
		return Test
	case first != unstated && longest >= lead:
		return first
	case lead > 0:
		return p.either(Temp, outcome)
	}
	if n, _ := p.matchAny(0, "lamp", "led", "battery tester"); n > 0 {
		k, _ := p.matchAny(n, shownWords...)
		if at, _ := p.matchAny(n, "at", "between", "across"); k+at > 0 || p.isNumber(n) {
			return Read
		}
	}
	if n, _ := p.matchAny(0, "drop", "voltage drop", "drop of", "voltage drop of"); n > 0 && p.isNumber(n) {
		return Read
	}
	if n, ref := p.referenceAt(0); n > 0 && p.undoneAt(n) > 0 {
		p.fail(0, n+p.undoneAt(n), "which change was undone?", "temp off "+ref)
		return unstated
	}
	if p.isNumber(0) {
		n, _ := p.minutesAt(0)
		if lead, _ := p.matchAny(n, afterValue...); n > 0 && lead == 0 {
			return Spent
		}
		return Read
	}
	if n, _ := p.sayerAt(0); n > 0 {
		return Believe
	}
	if c, _, _ := p.temporaryAt(0); c != nil {
		if p.measuredInstead(true) {
			return unstated
		}
		return p.either(Temp, outcome)
	}
	if p.words[0].n == 5 && codeForm.MatchString(p.words[0].key) && strings.ContainsAny(p.words[0].key[:1], "pcbu") || p.matchNoAnswer() {
		return Codes
	}
	if p.words[0].quoted && len(p.words) > 1 && p.matchesAny(1, []string{"approved", "refused"}) > 0 {
		return Approve // whatever stands in what was approved
	}
	for k := range p.words {
		if !p.words[k].quoted && p.electricAt(k) > 0 && p.leadBehind(k) {
			p.offerReading(k)
			return unstated
		}
	}
	for k := 1; k < p.segmentEnd(0); k++ {
		switch {
		case p.matchesAny(k, []string{"approved", "approves", "refused", "refuses", "declined"}) > 0:
			return Approve
		case p.match(k, "put back") > 0:
			return PutBack
		case p.matchesAny(k, []string{"programmed", "reprogrammed", "relearned"}) > 0 && k+1 == p.segmentEnd(0):
			return Disturb
		case p.matchesAny(k, []string{"removed", "taken out"}) > 0:
			return Remove
		case p.matchesAny(k, []string{"replaced", "fitted"}) > 0, !outcome && p.matchesAny(k, []string{"installed", "renewed"}) > 0:
			return Fit
		case !outcome && p.matchesAny(k, []string{"changed", "swapped"}) > 0:
			// 'Blink rate changed' is something else; a known component was fitted.
			if n, known := p.knownAt(0); n == k && !known.Point || p.isWord(k-1, fitters) || p.match(k+1, "by") > 0 {
				return Fit
			}
		}
	}
	if outcome {
		return Test
	}
	p.unrecognised()
	return unstated
}

// hasOutcome tells whether a part of the line ends in pass, fail or
// inconclusive.
func (p *parser) hasOutcome() bool {
	for i := range p.words {
		if n, _ := p.outcomeAt(i); n > 0 && (i+n == len(p.words) || p.words[i+n].gap || p.words[i].gap) {
			return true
		}
	}
	return false
}

// either refuses a line that is a change and a test at once.
func (p *parser) either(kind Kind, outcome bool) Kind {
	if !outcome {
		return kind
	}
	p.fail(0, len(p.words), "a change that is left on, or a test with its outcome? One line holds one of them",
		string(kind)+" "+p.raw(0, p.segmentEnd(0)), "test "+p.raw(0, len(p.words)))
	return unstated
}

// unrecognised offers the nearest kinds.
func (p *parser) unrecognised() {
	text := p.raw(0, len(p.words))
	var near []string
	if n, _ := p.matchAny(0, "not acting up", "concern absent"); n > 0 {
		near = append(near, "gone away")
	}
	for _, g := range grammars() {
		for _, w := range g.words {
			if first, _, _ := strings.Cut(w, " "); len(first) > 4 && p.words[0].key != "" && distance(first, p.words[0].key, 2) <= 1+len(first)/8 {
				near = append(near, g.example)
				break
			}
		}
	}
	near = append(near[:min(1, len(near))], "saw "+text, "they say "+text, "note "+text)
	p.fail(0, len(p.words), "what kind of entry is this?", near...)
}

// stranger refuses the word that nothing understands.
func (p *parser) stranger(understood ...string) {
	if p.err != nil || p.done() {
		return
	}
	w := p.words[p.i]
	what := "'" + w.text + "' is not understood here"
	if w.quoted {
		what = "a name stands where none is expected"
	}
	if like := nearKeyword(w.key); like != "" {
		understood = append([]string{like}, understood...)
	}
	p.fail(p.i, p.i+1, what, understood...)
}

// free consumes the words up to the next comma as a remark. An outcome among
// them belongs to a test, and is refused rather than passed over.
func (p *parser) free() string {
	for k := p.i; k < p.segmentEndHere(); k++ {
		if n, _ := p.outcomeAt(k); n > 0 && k+n == p.segmentEnd(p.i) {
			p.fail(k, k+n, "an outcome belongs to a test or a reading", "test "+p.raw(0, len(p.words)), "the line without it")
			return ""
		}
	}
	return p.segment()
}
