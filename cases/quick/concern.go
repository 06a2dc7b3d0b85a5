package quick

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var (
	sawIt    = []string{"saw it", "saw it myself", "seen it", "saw the concern", "duplicated", "duplicated it", "duplicated the concern", "concern duplicated"}
	notSeen  = []string{"not duplicated", "could not duplicate", "could not duplicate it", "cannot duplicate", "concern not duplicated"}
	actingUp = []string{"acting up", "acting up now", "acting up again", "concern acting up", "it is acting up", "it's acting up", "concern present"}
	// still says that it is there, and nothing else may follow before a comma: 'no
	// change of idle speed' is a statement.
	still    = []string{"still there", "still here", "still the same", "still as before", "still acting up", "still present", "as before", "the same as before", "same as before", "no change", "unchanged"}
	goneAway = []string{"gone away", "gone", "went away", "concern gone away", "concern gone", "it has gone away", "it went away", "stopped acting up"}
	often    = []string{"always", "every time", "sometimes", "often", "rarely", "now and then", "daily", "once", "twice", "about once", "intermittent"}
)

// concern reads what the concern did, or what the customer says it is.
func (p *parser) concern() {
	var s setting
	n, _ := p.matchAny(p.i+1, slices.Concat(sawIt, notSeen, actingUp, goneAway)...)
	n += p.stillAt(p.i + 1)
	for _, is := range []string{"concern is", "the concern is"} {
		if k := p.match(p.i, is); k > 0 && p.stillAt(p.i+k) > 0 {
			p.i += k
		}
	}
	if n > 0 && p.match(p.i, "concern") > 0 {
		p.i++
	}
	switch {
	case p.takes(notSeen...):
		d := &eventv1.ConcernDuplicated{}
		p.event.Kind = &eventv1.Event_ConcernDuplicated{ConcernDuplicated: d}
		for !p.done() {
			switch {
			case p.takes("unsafe to repeat", "unsafe to try"):
				d.UnsafeToRepeat = true
			case p.takes("on record", "on film", "freeze frame shows it"):
				d.OnRecord = true
			case p.tries(&d.Tries, &d.Failures, nil), p.background(), p.conditions(&s):
			default:
				p.stranger("unsafe to repeat", "on film", "failed 0 of 10")
			}
		}
		if p.err == nil && !d.UnsafeToRepeat && !d.OnRecord && (d.Tries == 0 || d.Failures > 0) {
			p.fail(len(p.words), len(p.words), "not seen, so why, or in how many tries?", "unsafe to repeat", "on film", "failed 0 of 10")
		}
		d.Conditions, d.What = s.finish(p), p.remark("")
	case p.takes(sawIt...):
		d := &eventv1.ConcernDuplicated{}
		p.event.Kind = &eventv1.Event_ConcernDuplicated{ConcernDuplicated: d}
		d.What = p.happening(&s, &d.Tries, &d.Failures)
		d.Conditions = s.finish(p)
		if p.err == nil && d.Tries > 0 && d.Failures == 0 {
			p.fail(0, len(p.words), "seen, and seen in no try", "saw it, failed 3 of 10", "not duplicated, failed 0 of 10")
		}
	case p.stillAt(p.i) > 0, p.takes(actingUp...):
		p.i += p.stillAt(p.i)
		a := &eventv1.ConcernActingUp{}
		p.event.Kind = &eventv1.Event_ConcernActingUp{ConcernActingUp: a}
		a.What = p.happening(&s, nil, nil)
		a.Conditions = s.finish(p)
	case p.takes(goneAway...):
		g := &eventv1.ConcernGoneAway{}
		p.event.Kind = &eventv1.Event_ConcernGoneAway{ConcernGoneAway: g}
		g.What = p.happening(&s, nil, nil)
		g.Conditions = s.finish(p)
	default:
		p.stated()
	}
}

// stillAt is how many words at i say that the concern is there as before, and no
// more up to the comma.
func (p *parser) stillAt(i int) int {
	n, _ := p.matchAny(i, still...)
	if n == 0 || i+n != p.segmentEnd(i) {
		return 0
	}
	return n
}

// happening reads the conditions in which the concern was seen, and in free
// words what was seen.
func (p *parser) happening(s *setting, tries, failures *uint32) string {
	what := ""
	for !p.done() {
		p.words[p.i].gap = true // what came before is complete
		switch {
		case tries != nil && (p.tries(tries, failures, nil) || p.timesSeen(tries, failures)), p.background(), p.conditions(s):
		case p.isWord(p.i, negations) || p.isWord(p.i, hedges):
			p.fail(p.i, p.segmentEnd(p.i), "'"+p.words[p.i].text+"' could turn the meaning round", "saw it", "acting up", "gone away", "not duplicated")
		default:
			what = also(what, p.free())
		}
	}
	return p.remark(what)
}

// timesSeen consumes '3 of 10': of what was seen, the count is of the times it
// was seen.
func (p *parser) timesSeen(tries, failures *uint32) bool {
	seen, n := p.count(p.i)
	of, _ := p.matchAny(p.i+n, "of", "out of", "times in")
	if n == 0 || of == 0 {
		return false
	}
	all, m := p.count(p.i + n + of)
	if m == 0 {
		return false
	}
	end := p.i + n + of + m
	if end < len(p.words) && p.match(end, "times")+p.match(end, "tries") > 0 {
		end++
	}
	if *tries != 0 || seen > all || all == 0 {
		return p.fail(p.i, end, "not a count of tries", "failed 3 of 10")
	}
	*tries, *failures, p.i = uint32(all), uint32(seen), end
	return true
}

// stated reads '[concern] STATEMENT [, since MOMENT] [, after WHAT] ...'.
func (p *parser) stated() {
	c := &eventv1.Concern{}
	st := &eventv1.ConcernStated{Concern: c}
	p.event.Kind = &eventv1.Event_ConcernStated{ConcernStated: st}
	p.takes("concern stated", "concern is", "concern", "stated")
	if p.done() {
		p.fail(p.i, p.i, "what is wrong is missing", "concern fan does not run when hot", "acting up", "gone away", "saw it")
		return
	}
	start := p.i
	for !p.done() {
		lead := p.i
		switch {
		case lead == start:
			c.Statement = p.free()
		case p.match(lead, "after") > 0 && p.background():
		case p.takes("since"):
			p.onset(c)
		case p.takes("just after", "after", "just before that"):
			p.once(&c.JustBefore, "what happened just before")
		case p.takes("works"):
			c.Works = append(c.Works, p.segment())
		case p.takes("does not work", "doesn't work"):
			c.DoesNotWork = append(c.DoesNotWork, p.segment())
		case p.takes("said by", "says"):
			p.once(&st.SaidBy, "who said it")
		case p.background():
		default:
			text := p.free()
			n, _ := p.matchAny(lead, often...)
			switch {
			case n > 0 && c.Frequency == "":
				c.Frequency = text
			case p.match(lead, "when")+p.match(lead, "only when") > 0:
				c.Conditions = also(c.Conditions, text)
			default:
				c.Statement = also(c.Statement, text)
			}
		}
		if p.err == nil && p.i == lead {
			p.stranger("a comma")
		}
	}
	c.Statement = p.remark(c.Statement)
}

// once consumes a segment into an empty slot.
func (p *parser) once(to *string, what string) {
	if p.done() || *to != "" {
		p.fail(p.i, p.i, what+" is missing, or said twice")
		return
	}
	*to = p.free()
}

func (p *parser) onset(c *eventv1.Concern) {
	from := p.i
	text := p.free()
	m, err := notation.KeepMoment(text, p.ctx.Now)
	if err != nil || c.Onset != nil {
		p.fail(from, p.i, "since when is not clear", "since Monday", "since 2026-03-04")
		return
	}
	c.Onset = proto.Clone(m).(*eventv1.Moment)
}
