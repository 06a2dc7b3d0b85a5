package quick

import (
	"math"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// minutesAt reads '20 min', '1.5 h', '1 h 20 min'. minutes is 0 when they are
// not whole.
func (p *parser) minutesAt(i int) (n int, minutes uint32) {
	total := 0.0
	for {
		k, q, _ := p.quantityAt(i+n, "")
		if k == 0 || q.Sense != eventv1.Sense_SENSE_EXACTLY || !measures(q.Unit, notation.Time) || q.Unit != "min" && q.Unit != "h" {
			break
		}
		v, _, err := notation.Value(q)
		if err != nil || v < 0 || v > 1e7 {
			return 0, 0
		}
		total, n = total+v/60, n+k
	}
	if math.Abs(total-math.Round(total)) > 1e-6 {
		return n, 0
	}
	return n, uint32(math.Round(total))
}

// spent reads '[spent] 20 min tracing ground [, charge 45 EUR]'.
func (p *parser) spent() {
	t := &eventv1.TimeSpent{}
	p.event.Kind = &eventv1.Event_TimeSpent{TimeSpent: t}
	p.takes("spent")
	n, minutes := p.minutesAt(p.i)
	if n == 0 || minutes == 0 {
		p.fail(p.i, p.i+max(n, 1), "how long, in whole minutes, is missing", "20 min tracing ground", "1.5 h", "1 h 20 min")
		return
	}
	t.Minutes, p.i = minutes, p.i+n
	if !p.done() && p.isNumber(p.i) {
		p.fail(p.i, p.i+1, "a number without its unit behind the time", "1 h 15 min", "on WHAT")
		return
	}
	for !p.done() {
		switch {
		case p.money(&t.Charge), p.background():
		default:
			p.takes("on", "for")
			if p.done() {
				p.fail(p.i, p.i, "on what is missing", "20 min tracing ground")
				return
			}
			t.What = also(t.What, p.free())
		}
	}
	t.What = p.remark(t.What)
}

// workedOn reads 'worked on AREA [, what]'.
func (p *parser) workedOn() {
	w := &eventv1.WorkedOn{}
	p.event.Kind = &eventv1.Event_WorkedOn{WorkedOn: w}
	p.takes("worked on", "worked at", "worked")
	w.Area = p.wording("where")
	for !p.done() {
		switch {
		case p.background():
		case p.takes("touched", "components"):
			var list []*eventv1.Covered
			p.coverList(&list)
			for _, c := range list {
				w.Components = append(w.Components, c.Component)
			}
		case p.words[p.i].gap:
			w.What = also(w.What, p.free())
		default:
			p.stranger("a comma before what was done", "on Monday", "before you came", "by previous shop")
		}
	}
	w.What = p.remark(w.What)
}

// writeNote keeps everything behind 'note' as it is.
func (p *parser) writeNote() {
	n := &eventv1.Note{Text: strings.TrimSpace(p.line)}
	p.event.Kind = &eventv1.Event_Note{Note: n}
	if len(p.words) > 0 && p.match(0, "note") > 0 {
		n.Text = strings.TrimSpace(strings.TrimLeft(p.line[p.words[0].to:], ":, \t"))
	}
	p.i = len(p.words)
	if n.Text == "" {
		p.fail(len(p.words), len(p.words), "the note is empty", "note customer waits until noon")
	}
	for _, name := range p.mentioned(n.Text) {
		n.About = append(n.About, name.Text)
	}
}

// mentioned lists the known names that a text holds, but for those that are
// part of a longer one it holds.
func (p *parser) mentioned(text string) []Name {
	var out []Name
	for _, n := range p.ctx.Names {
		if !mentions(text, n.Text) {
			continue
		}
		if slices.ContainsFunc(p.ctx.Names, func(o Name) bool {
			return len(o.Text) > len(n.Text) && mentions(o.Text, n.Text) && mentions(text, o.Text)
		}) {
			continue
		}
		out = append(out, n)
	}
	return out
}

// mentions tells whether a text holds a name as whole words.
func mentions(text, name string) bool {
	t, n := " "+clean(text)+" ", clean(name)
	return n != "" && strings.Contains(t, " "+n+" ")
}

func clean(s string) string {
	return strings.Join(strings.FieldsFunc(notation.Key(s), func(r rune) bool { return strings.ContainsRune(" ,;:!?\"'()", r) }), " ")
}
