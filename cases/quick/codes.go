package quick

import (
	"regexp"
	"strings"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// codeForm is a trouble code: a letter and four hexadecimal digits, with a
// failure type behind it or not, or digits as a module of another make gives
// them.
var codeForm = regexp.MustCompile(`^([pcbu][0-9a-f]{4}([-:][0-9a-f]{2})?|[a-z]{0,3}[0-9][0-9a-f.-]*)$`)

var codeStates = map[string]eventv1.CodeState{
	"active": eventv1.CodeState_CODE_STATE_ACTIVE, "current": eventv1.CodeState_CODE_STATE_ACTIVE, "present": eventv1.CodeState_CODE_STATE_ACTIVE,
	"stored": eventv1.CodeState_CODE_STATE_STORED, "history": eventv1.CodeState_CODE_STATE_STORED, "pending": eventv1.CodeState_CODE_STATE_PENDING,
}

var (
	noCodes  = []string{"codes none", "no codes", "none", "codes: none", "no codes stored"}
	noAnswer = []string{"does not answer", "doesn't answer", "does not respond", "no answer", "did not answer"}
	clearing = []string{"cleared codes", "codes cleared", "cleared the codes", "clear codes", "cleared all codes", "codes were cleared"}
)

// codes reads 'codes none', 'codes P0480 active, P0117 stored from engine
// module', 'module bcm does not answer', 'cleared codes'.
func (p *parser) codes() {
	if p.takes(clearing...) {
		p.cleared()
		return
	}
	r := &eventv1.CodesRead{}
	p.event.Kind = &eventv1.Event_CodesRead{CodesRead: r}
	var s setting
	p.stops = append(p.stops, noAnswer...)
	p.stops = append(p.stops, "from", "in", "none", "active", "stored", "pending", "present", "history", "current")
	if p.matchesAny(p.i, noCodes) == 0 {
		p.takes("codes", "code")
	}
	if p.takes("cleared", "were cleared", "all cleared") {
		p.cleared()
		return
	}
	for !p.done() {
		switch {
		case p.takes(noCodes...):
			p.answered(r, eventv1.CodesAnswer_CODES_ANSWER_NONE)
		case p.takes(noAnswer...):
			p.answered(r, eventv1.CodesAnswer_CODES_ANSWER_DOES_NOT_ANSWER)
			if p.err == nil && r.Module == "" {
				p.stops = append(p.stops, "module")
				p.takes("from")
				r.Module = p.wording("which module")
			}
		case codeForm.MatchString(p.words[p.i].key) && p.words[p.i].n > 1:
			p.answered(r, eventv1.CodesAnswer_CODES_ANSWER_CODES)
			p.code(r)
		case p.takes("from the", "from", "in the", "in"):
			if r.Module != "" {
				p.fail(p.i-1, p.i, "a second module", "each module on a line of its own")
				return
			}
			r.Module = p.name(false, "the module")
		case p.testInstrument(&r.Instrument), p.background(), p.conditions(&s):
		case r.Module == "" && p.matchNoAnswer():
			p.takes("module", "the")
			r.Module = p.name(false, "the module")
		default:
			p.stranger("P0480 active", "none", "from MODULE", "MODULE does not answer")
		}
	}
	if p.err != nil {
		return
	}
	if r.Answer == eventv1.CodesAnswer_CODES_ANSWER_UNSPECIFIED {
		p.fail(p.i, p.i, "the codes are missing", "codes none", "codes P0480 active from bcm", "bcm does not answer")
		return
	}
	s.c.Said = p.remark(s.c.Said)
	r.Conditions = s.finish(p)
}

func (p *parser) matchesAny(i int, list []string) int {
	n, _ := p.matchAny(i, list...)
	return n
}

func (p *parser) matchNoAnswer() bool {
	for k := p.i; k < p.segmentEnd(p.i); k++ {
		if p.matchesAny(k, noAnswer) > 0 {
			return true
		}
	}
	return false
}

func (p *parser) answered(r *eventv1.CodesRead, a eventv1.CodesAnswer) {
	if r.Answer != 0 && r.Answer != a {
		p.fail(p.i-1, p.i, "codes, and none", "codes none", "codes P0480 active")
	}
	r.Answer = a
}

// code reads one code with its state and what it is said to mean.
func (p *parser) code(r *eventv1.CodesRead) {
	if p.err != nil {
		return
	}
	c := &eventv1.TroubleCode{Code: strings.ToUpper(p.words[p.i].text)}
	p.i++
	for !p.done() && !p.words[p.i].gap {
		n, _ := p.matchAny(p.i, "from", "in", "and", "with")
		if n > 0 || codeForm.MatchString(p.words[p.i].key) && p.words[p.i].n > 3 {
			break
		}
		if p.isWord(p.i, negations) || p.isWord(p.i, []string{"gone", "cleared", "absent", "missing", "erased"}) {
			p.fail(p.i, p.i+1, "'"+p.words[p.i].text+"' could turn the meaning round", "active", "stored", "pending")
			return
		}
		if once(p, codeStates, &c.State, "the state of the code") {
			continue
		}
		c.Said = strings.TrimSpace(c.Said + " " + p.words[p.i].text)
		p.i++
	}
	p.takes("and")
	r.Codes = append(r.Codes, c)
}

// cleared reads 'cleared codes [in MODULE] [, why]'.
func (p *parser) cleared() {
	c := &eventv1.CodesCleared{}
	p.event.Kind = &eventv1.Event_CodesCleared{CodesCleared: c}
	for !p.done() {
		switch {
		case c.Module == "" && p.takes("in the", "in", "from the", "from"):
			p.stops = append(p.stops, "to", "after")
			c.Module = p.name(false, "the module")
		case p.background():
		default:
			p.takes("because")
			if p.done() {
				p.fail(p.i, p.i, "why is missing")
				return
			}
			if p.isWord(p.i, negations) {
				p.stranger("in MODULE", "to see whether they return", "by previous shop")
				return
			}
			c.Why = also(c.Why, p.segment())
		}
	}
	c.Why = p.remark(c.Why)
}

var disturbances = map[string]eventv1.Disturbance{
	"battery disconnected": eventv1.Disturbance_DISTURBANCE_BATTERY_DISCONNECTED, "disconnected battery": eventv1.Disturbance_DISTURBANCE_BATTERY_DISCONNECTED,
	"disconnected the battery": eventv1.Disturbance_DISTURBANCE_BATTERY_DISCONNECTED,
	"programmed":               eventv1.Disturbance_DISTURBANCE_MODULE_PROGRAMMED, "reprogrammed": eventv1.Disturbance_DISTURBANCE_MODULE_PROGRAMMED,
	"relearned": eventv1.Disturbance_DISTURBANCE_MODULE_RELEARNED, "relearnt": eventv1.Disturbance_DISTURBANCE_MODULE_RELEARNED,
}

// disturb reads 'battery disconnected', 'programmed bcm', 'bcm relearned'.
func (p *parser) disturb() {
	d := &eventv1.EvidenceDisturbed{}
	p.event.Kind = &eventv1.Event_EvidenceDisturbed{EvidenceDisturbed: d}
	p.stops = append(p.stops, "programmed", "reprogrammed", "relearned", "relearnt", "at")
	p.takes("disturb", "disturbed")
	for !p.done() {
		switch {
		case once(p, disturbances, &d.Disturbance, "what was disturbed"):
		case p.takes("supply at", "supply", "at"):
			p.measure(&d.Supply, "V", "supply 12.6 V")
		case p.background():
		case d.Module == "" && d.Disturbance != eventv1.Disturbance_DISTURBANCE_BATTERY_DISCONNECTED:
			d.Module = p.name(false, "the module")
		case p.words[p.i].gap && !p.isWord(p.i, negations):
			p.extra = also(p.extra, p.free())
		default:
			p.stranger("battery disconnected", "programmed MODULE", "supply 12.6 V")
		}
	}
	if p.err == nil && d.Disturbance == 0 {
		p.fail(p.i, p.i, "what was disturbed is missing", "battery disconnected", "programmed MODULE", "relearned MODULE")
	}
}
