package quick

import (
	"slices"
	"strings"

	"knowngood.example/cases/notation"
)

// starters are the phrases that end a name, since something else begins there.
// A name that holds one is put in double quotes, or is known already.
var starters = []string{
	"should be", "should read", "should have", "according to", "same leads", "same state",
	"key off", "key on", "key acc", "key accessory", "ignition off", "ignition on", "engine running", "engine off", "engine idling",
	"running", "cranking", "driving", "idling", "ready", "commanded", "not commanded", "unplugged", "jumped", "loaded",
	"supply", "concern present", "concern absent", "acting up", "not acting up", "not present", "because", "before you came",
	"before the opening", "before opening", "yesterday", "today", "this morning", "covers", "done by", "by",
	"while", "meanwhile", "wiggled", "heated", "wetted", "tries",
}

// negations turn a statement round. None is ever taken as part of a name, nor
// passed over in front of a word for pass or fail.
var negations = []string{
	"not", "no", "never", "nor", "neither", "cannot", "can't", "cant", "don't", "dont", "doesn't", "doesnt", "didn't", "didnt",
	"isn't", "isnt", "wasn't", "wasnt", "won't", "wont", "wouldn't", "without", "non",
}

// hedges leave open whether something is so.
var hedges = []string{
	"almost", "nearly", "barely", "hardly", "maybe", "perhaps", "possibly", "probably", "seems", "seemed", "would", "might", "may",
	"could", "should", "will", "unless", "if", "usually", "sometimes", "mostly", "partly",
}

func (p *parser) isWord(i int, list []string) bool {
	if i >= len(p.words) || p.words[i].quoted {
		return false
	}
	return slices.ContainsFunc(p.words[i].parts, func(part string) bool { return slices.Contains(list, part) })
}

// stops tells whether something other than a name begins at i.
func (p *parser) stopsAt(i int) bool {
	if i >= len(p.words) || p.words[i].gap {
		return true
	}
	if n, _ := p.matchAny(i, starters...); n > 0 {
		return true
	}
	if n, _ := p.matchAny(i, p.stops...); n > 0 {
		return true
	}
	if n, _ := p.outcomeAt(i); n > 0 {
		return true
	}
	if p.endsIn && p.match(i, "in") > 0 && p.stopsAt(i+1) {
		return true
	}
	return p.triesAt(i) > 0 || p.momentAt(i) > 0
}

// lightWords begin names too, as in 'running light'.
var lightWords = []string{"running", "driving", "ready"}

// beginsOther tells whether the word at i cannot be the first of a name. Wires
// are red and black, so these two can.
func (p *parser) beginsOther(i int) bool {
	n, phrase := p.matchAny(i, starters...)
	m, stop := p.matchAny(i, p.stops...)
	o, _ := p.outcomeAt(i)
	if n == 1 && contains(lightWords, phrase) && !p.stopsAt(i+1) {
		n = 0
	}
	return n > 0 || p.endsIn && p.match(i, "in") > 0 || m > 0 && stop != "red" && stop != "black" || o > 0
}

// knownAt is the length in words of the longest known name that stands at i.
func (p *parser) knownAt(i int) (n int, name Name) {
	if len(p.known) == 0 || i >= len(p.words) {
		return 0, name
	}
	var text []string
	// A number word more than the name has ('twenty one') may stand in the line.
	for k := i; k < min(len(p.words), i+2*p.longestKnown) && (k == i || !p.words[k].gap); k++ {
		text = append(text, p.words[k].text)
		for _, s := range []string{strings.Join(text, " "), spokenName(text)} {
			if found, ok := p.known[notation.Key(s)]; ok {
				n, name = k+1-i, found
			}
		}
	}
	return n, name
}

// name consumes the name of a point or component: words up to a comma or to
// where something else begins; or a known name, even when it holds such words;
// or what stands in double quotes. what says what the name is of, for the error.
func (p *parser) name(point bool, what string) string {
	from := p.i
	if p.err != nil {
		return ""
	}
	if p.done() || p.i > 0 && p.words[p.i].gap && p.nameMayNotCross() {
		p.fail(p.i, p.i, what+" is missing", p.nearest("", point)...)
		return ""
	}
	if p.words[from].quoted {
		p.i++
		return p.found(p.words[from].text, point, from)
	}
	k, known := p.knownAt(from)
	end := from + max(k, 1)
	if k == 0 && p.beginsOther(from) {
		p.fail(from, from, what+" is missing", append(p.nearest("", point), p.quoted(from, from+1)+", if that is its name")...)
		return ""
	}
	if k == 0 && p.isArticle(from) && !p.stopsAt(end) {
		from, end = from+1, end+1
		if k, known = p.knownAt(from); k > 0 {
			end = from + k
		}
	}
	for !p.stopsAt(end) && !p.words[end].quoted {
		if k > 0 && end == from+k && p.wantsValue && p.spokenValueAt(end) {
			break
		}
		end++
	}
	if k > 0 && end == from+k {
		p.i = end
		return p.found(known.Text, point, from)
	}
	if p.doubtful(from, from+k, end) {
		return ""
	}
	text := make([]string, 0, end-from)
	for _, w := range p.words[from:end] {
		text = append(text, w.text)
	}
	p.i = end
	return p.found(spokenName(text), point, from)
}

// nameMayNotCross: behind 'at' or 'to' a comma ends the search for a name.
func (p *parser) nameMayNotCross() bool {
	n, _ := p.matchAny(p.i-1, "at", "to", "red", "black", "across", "from", "with", "in", "by", "on")
	return n == 1
}

// isArticle: a capital A is a name of its own, as in 'at A to B'.
func (p *parser) isArticle(i int) bool {
	return p.isWord(i, []string{"the", "a", "an"}) && p.words[i].text != "A"
}

// doubtful refuses a name that may be more than a name: one with a negation or
// a misspelt keyword in it, or one that a condition follows without a comma so
// that nobody can say where the name ends. The first known words are a name
// for certain.
func (p *parser) doubtful(from, known, end int) bool {
	return p.doubtfulWords(from, known, end) || p.doubtfulEnd(from, known, end)
}

func (p *parser) doubtfulWords(from, known, end int) bool {
	for i := max(from, known); i < end; i++ {
		w := p.words[i]
		if strings.ContainsAny(w.text, `"“”`) {
			return p.fail(i, i+1, "a quotation mark inside a word", "the name without it")
		}
		if p.isWord(i, negations) || p.isWord(i, hedges) {
			return p.fail(i, i+1, "'"+w.text+"' inside a name could turn the meaning round", "a comma before it", p.quoted(from, end)+", if that is its name")
		}
		if strings.HasSuffix(w.text, "?") {
			return p.fail(i, i+1, "a question mark: an entry says what is so", "the line without it", "inconclusive")
		}
		if like := nearKeyword(w.key); like != "" && (i > from || len(p.words[from:end]) == 1 && i == from && len(w.key) > 6) {
			return p.fail(i, i+1, "'"+w.text+"' looks like '"+like+"' misspelt", like, p.quoted(from, end)+", if that is its name")
		}
	}
	return false
}

func (p *parser) doubtfulEnd(from, known, end int) bool {
	if end >= len(p.words) || p.words[end].gap || !p.states {
		return false
	}
	if n, state := p.matchAny(end, "commanded", "not commanded", "unplugged", "jumped", "loaded", "running"); n > 0 {
		cut := known
		if cut == from && state != "running" {
			cut = end - 1
		}
		if cut > from && cut < end {
			return p.fail(cut, end+n, "it is not clear where the name ends and the condition begins",
				p.raw(from, cut)+", "+p.raw(cut, end+n), p.raw(from, end)+", "+p.raw(end, end+n), "a name in double quotes")
		}
	}
	return false
}

func (p *parser) quoted(from, to int) string {
	return `"` + strings.ReplaceAll(p.raw(from, to), `"`, "") + `"`
}

// maxName is the most bytes a name has anywhere in the record.
const maxName = 200

// found notes a name that is not known yet and returns it.
func (p *parser) found(text string, point bool, from int) string {
	if len(text) > maxName {
		p.fail(from, p.i, "a name of more than 200 bytes", "a comma where the name ends")
		return ""
	}
	if _, ok := p.known[notation.Key(text)]; !ok {
		col, n := p.column(from, p.i)
		p.parsed.New = append(p.parsed.New, NewName{Name: Name{Text: text, Point: point}, Nearest: p.nearest(text, point), Column: col, Length: n})
	}
	return text
}

// nearest lists at most three known names that look most like text.
func (p *parser) nearest(text string, point bool) []string {
	type near struct {
		text string
		off  int
	}
	key := notation.Key(text)
	var all []near
	for _, n := range p.ctx.Names {
		k := notation.Key(n.Text)
		off := 2 * distance(key, k, max(len(key), 2)/2)
		inside := len(key) > 1 && strings.Contains(k, key) || len(k) > 1 && strings.Contains(key, k)
		switch {
		case text == "":
			off = 0
		case off > len(key) && !inside:
			continue
		}
		if n.Point != point {
			off++
		}
		all = append(all, near{n.Text, off})
	}
	slices.SortStableFunc(all, func(a, b near) int { return a.off - b.off })
	var out []string
	for _, n := range all[:min(3, len(all))] {
		out = append(out, n.text)
	}
	return out
}
