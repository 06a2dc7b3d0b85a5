package quick

import (
	"strings"
	"unicode/utf8"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// parser walks over the words of one line. The first thing that is not
// understood stops it for good: err is set and no word is left.
type parser struct {
	line   string
	ctx    *Context
	words  []word
	note   string
	i      int
	err    *Error
	parsed *Parsed
	event  *eventv1.Event
	// stops are the phrases that end a name in this kind of line, beside the
	// common ones.
	stops []string
	// wantsValue: a spoken number may still follow a known name.
	wantsValue bool
	// ends are phrases that end a name when nothing more of it follows: 'new fan
	// in', but 'new bulb in left lamp'.
	ends []string
	// priced: an amount of money ends a name.
	priced bool
	// measuring: a unit ends a name when nothing more of it follows.
	measuring bool
	// loose: words are consumed that name no point or component.
	loose bool
	// states: a condition may follow a name without a comma, as 'fan commanded'.
	states bool
	// extra are words that no field of the kind is for.
	extra string
	// typed is how entries were referred to, by id.
	typed map[string]string
	known map[string]Name
	// longestKnown is the most words a known name has.
	longestKnown int
	// textFrom and textTo bound the last free words.
	textFrom, textTo int
}

func newParser(line string, ctx Context) (*parser, *Error) {
	words, note, err := split(line)
	if err != nil {
		return nil, err
	}
	p := &parser{line: line, ctx: &ctx, words: words, note: note, event: &eventv1.Event{Typed: line}, known: map[string]Name{}, typed: map[string]string{}}
	p.parsed = &Parsed{Event: p.event, Line: line}
	for _, n := range ctx.Names {
		key := notation.Key(n.Text)
		p.known[key] = n
		p.longestKnown = max(p.longestKnown, len(strings.Fields(key)))
	}
	return p, nil
}

func (p *parser) done() bool { return p.err != nil || p.i >= len(p.words) }

// fail notes that the words [from, to) were not understood.
func (p *parser) fail(from, to int, what string, understood ...string) bool {
	if p.err != nil {
		return true
	}
	col, n := p.column(from, to)
	p.err = &Error{Column: col, Length: n, What: what, Understood: understood}
	p.i = len(p.words)
	return true
}

// column is where the words [from, to) stand, in characters.
func (p *parser) column(from, to int) (col, n int) {
	if from >= len(p.words) {
		if len(p.words) == 0 {
			return 1, 0
		}
		return utf8.RuneCountInString(p.line[:p.words[len(p.words)-1].to]) + 1, 0
	}
	to = max(min(to, len(p.words)), from)
	col = p.words[from].col
	if to == from {
		return col, 0
	}
	last := p.words[to-1]
	return col, last.col + last.n - col
}

// match tells how many words from i on spell the phrase; 0 when they do not. A
// phrase never reaches over a comma.
func (p *parser) match(i int, phrase string) int {
	if i >= len(p.words) || p.words[i].quoted || !strings.HasPrefix(phrase, p.words[i].parts[0]) {
		return 0
	}
	want, from := strings.Fields(phrase), i
	for len(want) > 0 {
		if i >= len(p.words) || p.words[i].quoted || i > from && p.words[i].gap {
			return 0
		}
		parts := p.words[i].parts
		if len(parts) > len(want) {
			return 0
		}
		for k, part := range parts {
			if part != want[k] {
				return 0
			}
		}
		want, i = want[len(parts):], i+1
	}
	return i - from
}

// matchAny is match for the longest of several phrases.
func (p *parser) matchAny(i int, phrases ...string) (n int, phrase string) {
	for _, f := range phrases {
		if k := p.match(i, f); k > n {
			n, phrase = k, f
		}
	}
	return n, phrase
}

// take consumes the longest of the phrases that stands here.
func (p *parser) take(phrases ...string) string {
	n, phrase := p.matchAny(p.i, phrases...)
	p.i += n
	return phrase
}

// takes is take for those who only want to know whether.
func (p *parser) takes(phrases ...string) bool { return p.take(phrases...) != "" }

// segmentEnd is the index of the first word behind the next comma.
func (p *parser) segmentEnd(i int) int {
	for i++; i < len(p.words) && !p.words[i].gap; i++ {
	}
	return min(i, len(p.words))
}

// raw is the text of the words [from, to) as typed, with single spaces.
func (p *parser) raw(from, to int) string {
	if from >= to {
		return ""
	}
	return strings.Join(strings.Fields(p.line[p.words[from].from:p.words[to-1].to]), " ")
}
