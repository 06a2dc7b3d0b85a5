package quick

import (
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// manners are told by the first word of a test. The words stay in what was
// done.
var manners = map[string]eventv1.TestManner{
	"bypass": eventv1.TestManner_TEST_MANNER_BYPASS, "bypassed": eventv1.TestManner_TEST_MANNER_BYPASS,
	"jumped": eventv1.TestManner_TEST_MANNER_BYPASS, "bridged": eventv1.TestManner_TEST_MANNER_BYPASS,
	"swap": eventv1.TestManner_TEST_MANNER_SUBSTITUTION, "swapped": eventv1.TestManner_TEST_MANNER_SUBSTITUTION,
	"substituted": eventv1.TestManner_TEST_MANNER_SUBSTITUTION,
	"reseat":      eventv1.TestManner_TEST_MANNER_RESEAT, "reseated": eventv1.TestManner_TEST_MANNER_RESEAT,
	"bench": eventv1.TestManner_TEST_MANNER_BENCH, "bench tested": eventv1.TestManner_TEST_MANNER_BENCH, "on the bench": eventv1.TestManner_TEST_MANNER_BENCH,
	"drop": eventv1.TestManner_TEST_MANNER_DROP, "voltage drop": eventv1.TestManner_TEST_MANNER_DROP,
	"continuity": eventv1.TestManner_TEST_MANNER_CONTINUITY,
	"ran":        eventv1.TestManner_TEST_MANNER_FUNCTION, "run": eventv1.TestManner_TEST_MANNER_FUNCTION,
	"operated": eventv1.TestManner_TEST_MANNER_FUNCTION, "worked the": eventv1.TestManner_TEST_MANNER_FUNCTION,
	"switched": eventv1.TestManner_TEST_MANNER_FUNCTION, "commanded the": eventv1.TestManner_TEST_MANNER_FUNCTION,
	"function": eventv1.TestManner_TEST_MANNER_FUNCTION,
}

var concernChanges = map[string]eventv1.ConcernChange{
	"concern went away": eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY, "concern gone": eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY,
	"concern stayed":                  eventv1.ConcernChange_CONCERN_CHANGE_STAYED,
	"concern unchanged":               eventv1.ConcernChange_CONCERN_CHANGE_STAYED,
	"concern did not change":          eventv1.ConcernChange_CONCERN_CHANGE_STAYED,
	"concern went away and came back": eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK,
	"concern went and came back":      eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK,
	"concern changed":                 eventv1.ConcernChange_CONCERN_CHANGE_CHANGED_OTHERWISE,
	"concern changed otherwise":       eventv1.ConcernChange_CONCERN_CHANGE_CHANGED_OTHERWISE,
}

// test reads '[WHAT] [, result] [covers A, B, mostly C] [should be X]
// pass|fail|inconclusive'.
func (p *parser) test() {
	t := &eventv1.Test{}
	p.event.Kind = &eventv1.Event_Test{Test: t}
	p.stops, p.states, p.measuring = append(p.stops, "and"), true, true
	var s setting
	what := 0
	for !p.done() {
		switch {
		case p.tries(&t.Tries, &t.Failures, &t.Outcome), p.outcome(&t.Outcome), p.expectation(&t.ShouldBe, ""):
		case p.phraseStarts(), p.covers(&t.Covers), p.concernChange(&t.ConcernChange), t.What != "" && p.testInstrument(&t.Instrument), p.background(), t.What != "" && p.meanwhile(&t.Meanwhile):
		case t.What != "" && (p.presence(&t.Concern) || p.conditions(&s)):
		case t.What == "":
			_, t.Manner = longest(p, manners)
			what = p.i
			t.What = p.text("what was done", instrumentPhrases()...)
		default:
			t.Result = also(t.Result, p.text("what came of it", instrumentPhrases()...))
		}
	}
	if p.err != nil {
		return
	}
	t.Conditions = s.finish(p)
	switch {
	case t.What == "":
		p.fail(0, p.i, "what was done is missing", "test ran the fan from the battery, covers fan motor, pass")
	case t.Outcome == eventv1.Outcome_OUTCOME_UNSPECIFIED:
		p.fail(len(p.words), len(p.words), "what came of it is missing", "pass", "fail", "inconclusive")
	case len(t.Covers) == 0:
		p.coversItself(t, what)
	}
}

// coversItself: what is bypassed, swapped, reseated, benched or simply tested
// is what the test covers, when it is a known component. Otherwise nobody has
// said what the test would find bad.
func (p *parser) coversItself(t *eventv1.Test, what int) {
	at := what
	switch t.Manner {
	case eventv1.TestManner_TEST_MANNER_BYPASS, eventv1.TestManner_TEST_MANNER_SUBSTITUTION,
		eventv1.TestManner_TEST_MANNER_RESEAT, eventv1.TestManner_TEST_MANNER_BENCH:
		p.i = what
		n, _ := longest(p, manners)
		p.i, at = len(p.words), what+n
	case eventv1.TestManner_TEST_MANNER_UNSPECIFIED:
	default:
		at = len(p.words)
	}
	if p.isArticle(at) {
		at++
	}
	k, known := p.knownAt(at)
	if k == 0 || known.Point || t.Manner == 0 && p.raw(at, at+k) != t.What && p.raw(what, at+k) != t.What {
		var hints []string
		for _, near := range p.nearest(t.What, false) {
			if !p.known[notation.Key(near)].Point {
				hints = append(hints, "covers "+name(near))
			}
		}
		p.fail(len(p.words), len(p.words), "what the test covers is missing", append(hints, "covers COMPONENT, mostly COMPONENT")...)
		return
	}
	t.Covers = []*eventv1.Covered{{Component: known.Text, Extent: eventv1.Extent_EXTENT_WHOLE}}
}

// phraseStarts marks the word here as if a comma stood before it, since what
// came before is complete. It is no phrase itself and never holds.
func (p *parser) phraseStarts() bool {
	if p.i > 0 && p.textTo != p.i {
		p.words[p.i].gap = true
	}
	return false
}

func (p *parser) concernChange(to *eventv1.ConcernChange) bool {
	n, change := longest(p, concernChanges)
	if n == 0 {
		return false
	}
	if *to != 0 && *to != change {
		return p.fail(p.i, p.i+n, "the concern did two things", "concern went away", "concern stayed")
	}
	*to, p.i = change, p.i+n
	return true
}

// covers consumes 'covers A, B and mostly C'. Behind a comma the list goes on
// unless something else begins there.
func (p *parser) covers(to *[]*eventv1.Covered) bool {
	if !p.takes("covers", "covering") {
		return false
	}
	return p.coverList(to)
}

// coverList consumes the components of such a list.
func (p *parser) coverList(to *[]*eventv1.Covered) bool {
	defer func(was []string) { p.stops = was }(p.stops)
	p.stops = []string{"and", "with"}
	for {
		c := &eventv1.Covered{Extent: eventv1.Extent_EXTENT_WHOLE}
		if p.takes("mostly", "most of") {
			c.Extent = eventv1.Extent_EXTENT_MOSTLY
		}
		if n, _ := p.outcomeAt(p.i); n > 0 {
			return p.fail(p.i, p.i, "what it covers is missing", append(p.nearest("", false), "covers COMPONENT, mostly COMPONENT")...)
		}
		c.Component = p.name(false, "what it covers")
		if p.err != nil {
			return true
		}
		*to = append(*to, c)
		if p.takes("and") {
			continue
		}
		if p.done() || !p.words[p.i].gap || !p.continues() {
			return true
		}
	}
}

// continues tells whether the words behind a comma are one more component: not
// something that begins another way, nor what came of the test.
func (p *parser) continues() bool {
	if k, _ := p.knownAt(p.i); k > 0 || p.words[p.i].quoted || p.match(p.i, "mostly") > 0 {
		return true
	}
	q := *p
	var s setting
	var presence eventv1.Presence
	q.err = nil
	q.parsed, q.event = &Parsed{}, &eventv1.Event{}
	w := p.words
	q.words = append([]word(nil), w...)
	q.words[p.i].gap = false
	begins := q.stopsAt(p.i)
	q.words[p.i].gap = true
	var change eventv1.ConcernChange
	if begins || q.momentAt(p.i) > 0 || q.concernChange(&change) || q.presence(&presence) || q.conditions(&s) || q.background() {
		return false
	}
	if p.isWord(p.i, []string{"ran", "runs", "run", "works", "worked", "did", "does", "is", "was", "showed", "shows", "stayed", "it", "nothing", "result"}) ||
		p.isWord(p.i, negations) || p.isWord(p.i, hedges) {
		p.fail(p.i, p.segmentEnd(p.i), "one more component, or what came of it?", "what came of it before 'covers'", `a component: "`+p.raw(p.i, p.segmentEnd(p.i))+`"`)
		return false
	}
	return true
}

// meanwhile consumes what was done to the circuit while it was watched.
func (p *parser) meanwhile(to *string) bool {
	n, phrase := p.matchAny(p.i, "meanwhile", "while wiggling", "while heating", "while cooling", "while wetting", "wiggled", "wiggling", "heated", "wetted", "cooled")
	if n == 0 || p.i > 0 && !p.words[p.i].gap && !strings.HasPrefix(phrase, "while") && phrase != "meanwhile" && phrase != "wiggled" {
		return false
	}
	if phrase == "meanwhile" {
		p.i += n
		*to = also(*to, p.textAfter("what was done meanwhile"))
	} else {
		*to = also(*to, p.textWithout("what was done meanwhile"))
	}
	return true
}
