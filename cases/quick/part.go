package quick

import (
	"strings"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var partStates = map[string]eventv1.PartState{
	"new": eventv1.PartState_PART_STATE_NEW, "brand new": eventv1.PartState_PART_STATE_NEW,
	"used": eventv1.PartState_PART_STATE_USED, "second hand": eventv1.PartState_PART_STATE_USED,
	"reconditioned": eventv1.PartState_PART_STATE_RECONDITIONED, "rebuilt": eventv1.PartState_PART_STATE_RECONDITIONED,
	"original": eventv1.PartState_PART_STATE_ORIGINAL, "borrowed": eventv1.PartState_PART_STATE_BORROWED,
}

var whys = map[string]eventv1.Why{
	"guess": eventv1.Why_WHY_GUESS, "on a guess": eventv1.Why_WHY_GUESS, "guessed": eventv1.Why_WHY_GUESS, "guessing": eventv1.Why_WHY_GUESS,
	"test": eventv1.Why_WHY_TEST, "on test": eventv1.Why_WHY_TEST, "on a test": eventv1.Why_WHY_TEST, "tested bad": eventv1.Why_WHY_TEST,
	"damage seen": eventv1.Why_WHY_DAMAGE_SEEN, "damaged": eventv1.Why_WHY_DAMAGE_SEEN, "was damaged": eventv1.Why_WHY_DAMAGE_SEEN,
	"old damaged": eventv1.Why_WHY_DAMAGE_SEEN, "maintenance": eventv1.Why_WHY_MAINTENANCE,
	"bulletin": eventv1.Why_WHY_BULLETIN, "on a bulletin": eventv1.Why_WHY_BULLETIN, "as per bulletin": eventv1.Why_WHY_BULLETIN,
	"customer's wish": eventv1.Why_WHY_CUSTOMERS_WISH, "customers wish": eventv1.Why_WHY_CUSTOMERS_WISH,
	"customer wanted it": eventv1.Why_WHY_CUSTOMERS_WISH, "trial": eventv1.Why_WHY_TRIAL, "on trial": eventv1.Why_WHY_TRIAL,
	"to try": eventv1.Why_WHY_TRIAL, "to try it": eventv1.Why_WHY_TRIAL, "as a trial": eventv1.Why_WHY_TRIAL,
}

var keptWords = map[string]eventv1.Answer{
	"old kept": eventv1.Answer_ANSWER_YES, "kept the old": eventv1.Answer_ANSWER_YES, "kept old": eventv1.Answer_ANSWER_YES, "old one kept": eventv1.Answer_ANSWER_YES,
	"old not kept": eventv1.Answer_ANSWER_NO, "old thrown away": eventv1.Answer_ANSWER_NO, "old scrapped": eventv1.Answer_ANSWER_NO,
	"old one not kept": eventv1.Answer_ANSWER_NO, "old gone": eventv1.Answer_ANSWER_NO, "old returned": eventv1.Answer_ANSWER_NO,
	"old kept not known": eventv1.Answer_ANSWER_NOT_KNOWN,
}

var matchWords = map[string]eventv1.Answer{
	"number matches": eventv1.Answer_ANSWER_YES, "part number matches": eventv1.Answer_ANSWER_YES, "right number": eventv1.Answer_ANSWER_YES,
	"number does not match": eventv1.Answer_ANSWER_NO, "wrong number": eventv1.Answer_ANSWER_NO, "part number does not match": eventv1.Answer_ANSWER_NO,
	"number not checked": eventv1.Answer_ANSWER_NOT_KNOWN,
}

// partStops end the name of a part.
var partStops = []string{
	"fitted", "into", "for", "from", "back", "old", "cost", "costs", "part no", "part number", "part", "on a", "on test", "on trial",
	"guess", "kept", "not kept", "number matches", "wrong number", "removed", "supplier", "job", "to try", "out", "was", "has been", "had been", "and", "with",
	"replaced", "changed", "installed", "swapped", "renewed",
}

// fittingVerbs say that a part was fitted; they stand before its name or behind.
var fittingVerbs = []string{"fitted", "replaced", "changed", "installed", "swapped", "swapped in", "renewed", "put in"}

// partEnds are the phrases that end the name of a part when nothing more of the
// name follows: 'fan motor new', but 'new test lamp'.
func partEnds() []string {
	out := []string{"in"}
	for phrase := range partStates {
		out = append(out, phrase)
	}
	for phrase := range whys {
		out = append(out, phrase)
	}
	return out
}

// fitters are those of whom it is said first that they fitted a part: 'previous
// shop replaced the fan motor'.
var fitters = []string{"shop", "garage", "workshop", "dealer", "dealership", "customer", "owner", "driver", "mechanic", "technician", "electrician", "colleague"}

// fitter consumes who fitted it, where that stands first.
func (p *parser) fitter() {
	for k := p.i + 1; k < p.segmentEndHere(); k++ {
		n, _ := p.matchAny(k, fittingVerbs...)
		if n == 0 {
			continue
		}
		if p.isWord(k-1, fitters) && !p.stopsAt(k+n) {
			if p.isArticle(p.i) {
				p.i++
			}
			p.event.By = p.wording("who fitted it")
			p.takes(fittingVerbs...)
		}
		return
	}
}

// once sets an answer or word of a closed list that may be given once.
func once[V comparable](p *parser, table map[string]V, to *V, what string) bool {
	n, v := longest(p, table)
	if n == 0 {
		return false
	}
	var zero V
	if *to != zero && *to != v {
		return p.fail(p.i, p.i+n, what+" is said twice, differently", "one of the two")
	}
	*to, p.i = v, p.i+n
	return true
}

// label consumes one of the phrases and the words behind it into an empty slot.
func (p *parser) label(to *string, what string, phrases ...string) bool {
	from := p.i
	if !p.takes(phrases...) {
		return false
	}
	if !p.done() && p.words[p.i].gap && strings.HasSuffix(strings.TrimRight(p.line[:p.words[p.i].from], " \t"), ":") {
		p.words[p.i].gap = false
	}
	if p.done() || p.words[p.i].gap {
		return p.fail(p.i, p.i, what+" is missing", phrases[0]+" ...")
	}
	if *to != "" {
		return p.fail(from, p.i, what+" is said twice", phrases[0]+" "+*to)
	}
	*to = p.wording(what)
	return true
}

// wording consumes words as a name does, but names no point or component.
func (p *parser) wording(what string) string {
	k, was := len(p.parsed.New), p.loose
	p.loose = true
	text := p.name(false, what)
	p.loose = was
	p.parsed.New = p.parsed.New[:k]
	return text
}

// fit reads '[fitted] [new|used|...] COMPONENT [in]' and what is said of it.
func (p *parser) fit() {
	f := &eventv1.PartFitted{}
	p.event.Kind = &eventv1.Event_PartFitted{PartFitted: f}
	p.stops, p.ends, p.priced = append(p.stops, partStops...), partEnds(), true
	if !p.takes(append([]string{"fit", "put"}, fittingVerbs...)...) {
		p.fitter()
	}
	p.takes("a", "an", "the")
	once(p, partStates, &f.State, "the state of the part")
	if n, _ := longest(p, partStates); n > 0 && f.State != 0 {
		if k, _ := p.knownAt(p.i); k == 0 {
			p.fail(p.i, p.i+n, "the state of the part is said twice", "new", "used", `a name in double quotes`)
		}
	}
	f.Component = p.name(false, "the component")
	for !p.done() {
		switch {
		case p.takes("back in", "in"), p.wasFitted():
		case f.State == eventv1.PartState_PART_STATE_BORROWED && p.label(&f.BorrowedFrom, "where it was borrowed", "from", "borrowed from"):
		case f.State == eventv1.PartState_PART_STATE_BORROWED && f.Part == "" && p.takes("into", "for", "as"):
			f.Part, f.Component = f.Component, p.name(false, "the component")
		case once(p, partStates, &f.State, "the state of the part"), p.replacement(f), p.oldKept(&f.OldKept), p.background(),
			once(p, whys, &f.Why, "why it was fitted"), once(p, matchWords, &f.NumberMatches, "whether the number matches"), p.money(&f.Cost):
		case p.label(&f.PartNumber, "the part number", "part no", "part number", "part no.", "number"),
			p.label(&f.Supplier, "the supplier", "from", "supplier", "bought from"), p.label(&f.Removed, "what came out", "removed", "took out"),
			p.label(&f.Job, "the job", "job", "same job as"), p.label(&f.Part, "what the part is", "part"):
		case p.reason():
		case p.match(p.i, "and") > 0:
			p.fail(p.i, p.i+1, "each part is an entry of its own, since each has its own evidence", "one part a line, with the same 'job NAME' when they belong together")
		default:
			p.stranger("old kept", "guess", "because 12", "45 EUR", "part no 1234", "before you came", "from SUPPLIER")
		}
	}
}

// wasFitted consumes '[was] replaced' behind the name.
func (p *parser) wasFitted() bool {
	lead, _ := p.matchAny(p.i, "was", "has been", "had been")
	n, _ := p.matchAny(p.i+lead, fittingVerbs...)
	if n > 0 {
		p.i += lead + n
	}
	return n > 0
}

// oldKept consumes what became of the old part. 'Thrown away' and 'returned' say
// more than that it was not kept, and stay in the fitter's words.
func (p *parser) oldKept(to *eventv1.Answer) bool {
	from := p.i
	if !once(p, keptWords, to, "whether the old part was kept") {
		return false
	}
	if p.err == nil && p.matchesAny(from, []string{"old kept", "kept old", "kept the old", "old one kept", "old not kept", "old one not kept", "old kept not known"}) == 0 {
		p.extra = also(p.extra, p.raw(from, p.i))
	}
	return true
}

// replacement reads 'with a used one'.
func (p *parser) replacement(f *eventv1.PartFitted) bool {
	from := p.i
	if !p.takes("with a", "with", "by a") {
		return false
	}
	if !once(p, partStates, &f.State, "the state of the part") {
		p.i = from
		return false
	}
	p.takes("one", "part")
	return true
}

// reason consumes 'because it was cheap': a reason in words, kept as it is.
func (p *parser) reason() bool {
	if !p.takes("because", "since") {
		return false
	}
	from := p.i - 1
	p.i = max(p.i, p.segmentEnd(from))
	p.extra = also(p.extra, p.raw(from, p.i))
	return true
}

// remove reads 'removed COMPONENT, kept, on the bench'.
func (p *parser) remove() {
	r := &eventv1.PartRemoved{}
	p.event.Kind = &eventv1.Event_PartRemoved{PartRemoved: r}
	p.stops = append(p.stops, "kept", "not kept", "old kept", "thrown away", "removed", "taken out", "out", "and")
	p.takes("removed", "remove", "took out", "took off", "took")
	r.Component = p.name(false, "the component")
	kept := map[string]eventv1.Answer{"kept": eventv1.Answer_ANSWER_YES, "not kept": eventv1.Answer_ANSWER_NO,
		"old kept": eventv1.Answer_ANSWER_YES, "thrown away": eventv1.Answer_ANSWER_NO}
	for !p.done() {
		switch {
		case p.takes("removed", "taken out", "out", "taken off"), once(p, kept, &r.Kept, "whether it was kept"):
		case p.background():
		case p.takes("because") && !p.done():
			r.Why = also(r.Why, p.segment())
		case r.Kept == eventv1.Answer_ANSWER_YES && p.match(p.i, "on")+p.match(p.i, "in") > 0:
			r.WhereKept = also(r.WhereKept, p.text("where it is kept"))
		case p.match(p.i, "and") > 0:
			p.fail(p.i, p.i+1, "each part is an entry of its own", "one part a line")
		default:
			p.stranger("kept", "kept on the bench", "not kept", "because 12", "before you came")
		}
	}
	r.Why = p.remark(r.Why)
}

// putBack reads 'put back COMPONENT', 'original fan back in', 'reseated
// COMPONENT'.
func (p *parser) putBack() {
	b := &eventv1.PartPutBack{}
	p.event.Kind = &eventv1.Event_PartPutBack{PartPutBack: b}
	p.stops = append(p.stops, "back", "put back", "in", "only", "and", "with")
	if p.takes("reseated", "reseat", "unplugged and replugged") {
		b.ReseatedOnly = true
	}
	p.takes("putback", "put back", "put", "refitted")
	p.takes("the original", "original", "the old", "old")
	b.Component = p.name(false, "the component")
	for !p.done() {
		switch {
		case p.takes("put back", "back in", "back", "in", "put back in"):
		case p.takes("reseated only", "only reseated"):
			b.ReseatedOnly = true
		case p.background(), p.reason():
		case p.match(p.i, "and") > 0:
			p.fail(p.i, p.i+1, "each part is an entry of its own", "one part a line")
		default:
			p.stranger("back in", "reseated only", "because 12")
		}
	}
	if p.err == nil && !b.ReseatedOnly {
		b.Undoes = p.undone(eventv1.TemporaryKind_TEMPORARY_KIND_PART_BORROWED, []string{b.Component}, true)
	}
}
