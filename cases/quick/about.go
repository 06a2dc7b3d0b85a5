package quick

import (
	"regexp"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// background consumes what any entry may say of itself: what it rests on, when
// it was done, where it stands among the others, and by whom.
func (p *parser) background() bool {
	switch {
	case p.match(p.i, "because") > 0:
		return p.because()
	case p.momentAt(p.i) > 0:
		return p.happened()
	case p.takes("before you came", "before the opening", "before opening", "before the case was opened"):
		return p.place(&eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}})
	case p.match(p.i, "after") > 0:
		k, _ := p.matchAny(p.i+1, "entry", "reading", "test")
		n, ref := p.referenceAt(p.i + 1 + k)
		if n == 0 || p.words[p.i+1].gap {
			return false
		}
		p.i += 1 + k
		id := p.resolve(ref, n)
		return p.place(&eventv1.Placement{Where: &eventv1.Placement_After{After: id}})
	case p.takes("done by", "by"):
		if p.event.By != "" {
			return p.fail(p.i-1, p.i, "a second person who did it", "by "+p.event.By)
		}
		p.event.By = p.who("who did it")
	default:
		return false
	}
	return true
}

// who consumes the name of a person.
func (p *parser) who(what string) string {
	if why := p.nobody(p.i); why != "" {
		p.fail(p.i, p.i+1, "'"+p.words[p.i].text+"' "+why, "by NAME", `a name in double quotes: by "`+p.words[p.i].text+`"`, "in a reading or test: with meter 2, with clamp")
		return ""
	}
	return p.wording(what)
}

// nobody tells what stands behind 'by' that is no person; empty when it may be
// one.
func (p *parser) nobody(i int) string {
	if i >= len(p.words) || p.words[i].quoted {
		return ""
	}
	if p.isArticle(i) {
		i++
	}
	n, _ := longestAt(p, i, instruments)
	switch {
	case n > 0:
		return "is what it was measured with, and nobody's name"
	case p.isNumber(i):
		return "is a number, and nobody's name"
	case p.isWord(i, weekdays), p.momentAt(i) > 0, p.isWord(i, []string{"noon", "then", "now", "tomorrow"}):
		return "is a moment, and nobody's name"
	case p.isWord(i, []string{"hand", "ear", "eye", "feel", "sight", "smell", "touch", "itself", "accident", "mistake", "phone", "mail"}):
		return "is how, and nobody's name"
	}
	return ""
}

func (p *parser) place(at *eventv1.Placement) bool {
	if p.event.Placed != nil {
		return p.fail(p.i-1, p.i, "a second place among the entries", "before you came", "after 12")
	}
	p.event.Placed = at
	return true
}

var (
	wholeNumber = regexp.MustCompile(`^[0-9]{1,9}$`)
	shortID     = regexp.MustCompile(`^[0-9a-f]{6,12}$`)
)

// referenceAt finds what refers to an entry at word i: 'last', its number in
// numerals or words, its id or the end of its id.
func (p *parser) referenceAt(i int) (n int, ref string) {
	if i >= len(p.words) || p.words[i].quoted {
		return 0, ""
	}
	w := p.words[i]
	if k, _ := p.matchAny(i, "last", "the last", "the last entry", "last entry"); k > 0 {
		return k, "last"
	}
	if wholeNumber.MatchString(w.key) || notation.CheckID(w.key) == nil {
		return 1, w.key
	}
	if shortID.MatchString(w.key) && strings.ContainsAny(w.key, "0123456789") {
		return 1, w.key
	}
	if v := p.spokenAt(i); v.n > 0 && v.words && wholeNumber.MatchString(v.digits) {
		return v.n, v.digits
	}
	return 0, ""
}

// resolve consumes a reference of n words and gives the id.
func (p *parser) resolve(ref string, n int) string {
	from := p.i
	p.i += n
	id := p.lookUp(ref, from)
	if p.err == nil {
		p.typed[id] = ref
	}
	return id
}

func (p *parser) lookUp(ref string, from int) string {
	if notation.CheckID(ref) == nil {
		return ref
	}
	if ref == "last" {
		if p.ctx.Last == "" {
			p.fail(from, p.i, "there is no last entry yet", "the number of an entry: because 12")
			return ""
		}
		p.carry("last")
		return p.ctx.Last
	}
	if p.ctx.Entry == nil {
		p.fail(from, p.i, "entry "+ref+" cannot be looked up here", "last", "the whole id of an entry")
		return ""
	}
	id, err := p.ctx.Entry(ref)
	if err != nil {
		p.fail(from, p.i, err.Error(), "the number of an entry in this case", "last")
		return ""
	}
	return id
}

func (p *parser) carry(what string) {
	p.parsed.Carried = append(p.parsed.Carried, what)
}

// because consumes 'because 12 and 14'. It leaves 'because it was cheap' alone:
// that is a reason in words.
func (p *parser) because() bool {
	at := p.i + p.match(p.i, "because")
	k, _ := p.matchAny(at, "of entry", "of", "entry", "of test", "test", "reading", "of reading")
	n, ref := p.referenceAt(at + k)
	if outcome, _ := p.outcomeAt(at); at >= len(p.words) || p.words[at].gap || outcome > 0 {
		return p.fail(at, at, "the reason is missing", "because 12", "because last")
	}
	if n == 0 || p.words[at+k].gap {
		return false
	}
	p.i = at + k
	for {
		p.event.Because = append(p.event.Because, p.resolve(ref, n))
		next := p.i
		if p.match(next, "and") > 0 {
			next++
		} else if next >= len(p.words) || !p.words[next].gap {
			return true
		}
		n, ref = p.referenceAt(next)
		if n == 0 || next == p.i && p.segmentEnd(next) != next+n {
			return true
		}
		p.i = next
	}
}

var weekdays = []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

var (
	dateForm  = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}(t[0-9:.]+(z|[-+][0-9:]+)?)?$`)
	clockForm = regexp.MustCompile(`^[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?$`)
)

// momentAt is the length of the moment said at word i: 'yesterday', 'on Monday
// morning', 'at 14:30', '2026-03-04', 'three days ago', 'last week'.
func (p *parser) momentAt(i int) int {
	from, n := i, 0
	if n, _ = p.matchAny(i, "yesterday", "today", "this morning", "this afternoon", "this evening", "last night", "last week", "last month", "just now"); n == 0 {
		if k, _ := p.matchAny(i, "on", "last", "on last"); i+k < len(p.words) && !p.words[i+k].quoted {
			w := p.words[i+k]
			weekday := p.isWord(i+k, weekdays) && (k > 0 || w.gap)
			if (k == 0 || !w.gap) && (weekday || dateForm.MatchString(w.key)) {
				n = k + 1
			}
		}
	}
	if n == 0 {
		if v, k := p.count(i); k > 0 && v > 0 {
			if u, _ := p.matchAny(i+k, "days ago", "day ago", "weeks ago", "week ago", "hours ago", "hour ago", "minutes ago", "min ago", "months ago", "month ago"); u > 0 {
				return k + u
			}
		}
	}
	i += n
	if n > 0 {
		if k, _ := p.matchAny(i, "morning", "afternoon", "evening", "night"); k > 0 {
			i += k
		}
	}
	k := p.match(i, "at")
	clock := i + k
	switch {
	case clock >= len(p.words) || !clockForm.MatchString(p.words[clock].key):
	case k > 0 && p.words[clock].gap: // 'at, 14:30'
	case k > 0 || n > 0 && !p.words[clock].gap || n == 0 && p.words[clock].gap:
		i = clock + 1
	}
	return i - from
}

// happened consumes when it was done.
func (p *parser) happened() bool {
	from := p.i
	p.i += p.momentAt(p.i)
	if p.event.Happened != nil {
		return p.fail(from, p.i, "a second moment", "one moment, as in 'on Monday at 14:30'")
	}
	text := p.raw(from, p.i)
	for _, lead := range []string{"on ", "at "} {
		if len(text) > len(lead) && strings.EqualFold(text[:len(lead)], lead) {
			text = text[len(lead):]
		}
	}
	m, err := notation.KeepMoment(text, p.ctx.Now)
	if err != nil {
		return p.fail(from, p.i, err.Error(), "on Monday", "yesterday", "at 14:30", "2026-03-04")
	}
	p.event.Happened = m
	return true
}
