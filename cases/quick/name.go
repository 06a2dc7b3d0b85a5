package quick

import (
	"slices"
	"strings"
	"unicode"

	"knowngood.example/cases/notation"
)

// starters are the phrases that end a name, since something else begins there.
// A name that holds one is put in double quotes, or is known already.
var starters = []string{
	"should be", "should read", "should have", "according to", "same leads", "same state",
	"key off", "key on", "key acc", "key accessory", "key in", "key run", "key start", "ignition off", "ignition on", "ignition key on", "ignition key off",
	"ign off", "ign on", "keyon", "keyoff", "koeo", "koer", "engine running", "engine on", "engine off", "engine idling", "engine hot", "engine cold",
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

// verbs make a sentence of what should be a name: 'fan 2 is low'.
var verbs = []string{
	"is", "are", "was", "were", "be", "been", "has", "have", "had", "does", "did", "needs", "need", "must", "ought", "wants", "looks", "reads", "shows",
	"runs", "ran", "works", "worked", "stops", "stopped", "spins", "blew", "fell", "stayed", "went", "came", "drops", "dropped", "dropping", "measured",
}

// joints join a name to what is said of it: 'fan 2 when hot'.
var joints = []string{"when", "whenever", "after", "before", "as", "but", "then", "than", "until", "till", "too", "very", "because", "while", "near",
	"expect", "expected", "want", "wanted", "spec", "specs", "nominal", "normal", "tto"}

// endings say how something was, not what it is called, when a name ends in one:
// 'fan 2 hot', 'fan 2 good'.
var endings = []string{
	"hot", "cold", "warm", "wet", "dry", "idle", "now", "again", "still", "also", "too", "here", "there", "good", "bad", "fine", "dead", "once", "twice",
}

// moneyWords are no currency that an amount could be kept in.
var moneyWords = []string{"euro", "euros", "dollar", "dollars", "bucks", "quid", "pounds", "cents"}

func (p *parser) isWord(i int, list []string) bool {
	if i >= len(p.words) || p.words[i].quoted {
		return false
	}
	return slices.ContainsFunc(p.words[i].parts, func(part string) bool { return slices.Contains(list, part) })
}

// stopsAt tells whether something other than a name begins at i.
func (p *parser) stopsAt(i int) bool { return p.stopsWithin(i, 4) }

// stopsWithin is stopsAt; depth is how many words may each hang on the next one.
func (p *parser) stopsWithin(i, depth int) bool {
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
	if depth > 0 {
		n, _ := p.matchAny(i, p.ends...)
		if n == 0 && p.measuring && p.isUnit(i) {
			n = 1
		}
		if n > 0 && p.stopsWithin(i+n, depth-1) {
			return true
		}
	}
	if p.priced {
		if n, _, _ := p.moneyAt(i, false); n > 0 {
			return true
		}
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
	if n == 1 && contains(lightWords, phrase) && !p.stopsAt(i+1) && !isDigitNext(p.words[i+1].text) {
		n = 0
	}
	return n > 0 || p.matchesAny(i, []string{"in"}) > 0 && contains(p.ends, "in") || m > 0 && stop != "red" && stop != "black" || o > 0
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
	n, _ := p.matchAny(p.i-1, "at", "to", "red", "black", "across", "over", "between", "from", "with", "in", "through", "by", "on", "@")
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
		if !p.loose && p.notOfName(i, from, end) {
			return true
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

// notOfName refuses a word that makes more of a name than a name: a verb, a sign
// between words, a second value, an amount, or at its end how something was.
func (p *parser) notOfName(i, from, end int) bool {
	w, quoted := p.words[i], p.quoted(from, end)+", if that is its name"
	switch {
	case p.isWord(i, verbs):
		return p.fail(i, i+1, "'"+w.text+"' makes a sentence of the name", "a comma where the name ends", quoted)
	case i > from && p.isWord(i, joints):
		return p.fail(i, i+1, "'"+w.text+"' is no word of a name", "a comma where the name ends", quoted)
	case i > from && i+2 == end && p.isWord(i, []string{"key", "ign", "ignition"}) && (p.words[i+1].n < 4 || p.match(i+1, "position") > 0),
		i > from && p.match(i, "key position")+p.match(i, "ignition position") > 0:
		return p.fail(i, end, "is that the position of the key?", "key on", "key off", quoted)
	case i > from && i == end-1 && p.isWord(i, endings):
		return p.fail(i, i+1, "is '"+w.text+"' part of the name, or said of it?", p.raw(from, i)+", "+w.text, quoted)
	case i < end-1 && strings.IndexFunc(w.text, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) < 0:
		return p.fail(i, i+1, "'"+w.text+"' is no word of a name", "to", "and", "a comma", quoted)
	case strings.ContainsAny(w.text, "€$£¥"), i > from && isNumeral(p.words[i-1].key) && p.isWord(i, moneyWords):
		return p.fail(i, i+1, "an amount is written with the three letters of its currency", "28 EUR", quoted)
	}
	if i > from {
		if like := runTogether(w.key); like == "" && p.measuring && i == end-1 {
			like = nearOutcome(w.key)
			if like != "" {
				return p.fail(i, i+1, "'"+w.text+"' looks like '"+like+"' misspelt", like, quoted)
			}
		} else if like != "" {
			return p.fail(i, i+1, "'"+w.text+"' looks like two words run together", "a space before or behind '"+like+"'", quoted)
		}
	}
	if n := p.electricAt(i); n > 0 && (strings.ContainsAny(w.text, ".,") || p.measuring && i > from && i+n >= end) {
		return p.fail(i, i+n, "a value inside a name", "a comma where the name ends", "one value a line", quoted)
	}
	return false
}

// electricAt is the length of the volts, ohms or amperes in numerals at word i.
func (p *parser) electricAt(i int) int {
	if i >= len(p.words) || p.words[i].quoted || !isDigitNext(strings.TrimLeft(p.words[i].text, "-+\u2212<>~.,")) {
		return 0
	}
	n, q, _ := p.quantityAt(i, "")
	if n == 0 || !measures(q.Unit, notation.Voltage, notation.Resistance, notation.Current) {
		return 0
	}
	return n
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
	for _, n := range all { // a pin is known as a component and as a point
		if len(out) < 3 && !slices.Contains(out, n.text) {
			out = append(out, n.text)
		}
	}
	return out
}
