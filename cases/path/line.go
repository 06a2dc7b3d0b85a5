package path

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// mark is a place in the text: n characters from a column, both from 1.
type mark struct{ line, col, n int }

// to is the place from one to the end of another on the same line.
func (m mark) to(end mark) mark { return mark{m.line, m.col, end.col + end.n - m.col} }

// end is the place behind it, where something is missing.
func (m mark) end() mark { return mark{m.line, m.col + m.n, 0} }

// word is a word of a line, or one of the signs > ; ( ).
type word struct {
	mark
	text string
	// key is the text in lower case; of a quoted word it is empty, so that it is
	// nothing but a name.
	key    string
	quoted bool
	sign   bool
	// comma: one stood behind it.
	comma bool
	// begins and ends are byte offsets in the line.
	begins, ends int
}

func (w word) is(sign string) bool { return w.sign && w.text == sign }

// path is a line of items.
type path struct {
	items []*item
	mark
}

// item is branches side by side; one element alone is an item of one branch.
type item struct {
	branches []branch
	mark
}

// branch is an element or a path in parentheses.
type branch struct {
	use  *use
	path *path
}

// read reads the text line by line.
func (d *drawing) read(text string) {
	if len(text) > maxBytes {
		d.refuse(mark{1, 1, 0}, fmt.Sprintf("%d bytes, and at most %d are kept", len(text), maxBytes), "split it into two drawings that share a splice")
		return
	}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimRight(line, "\r")
		if !d.clean(line, i+1) || strings.HasPrefix(strings.TrimSpace(line), "#") {
			continue
		}
		words, ok := d.words(line, i+1)
		switch {
		case !ok || len(words) == 0:
		case words[0].key == "point":
			d.note(line, words)
		default:
			r := &reader{drawing: d, line: line, words: words}
			p := r.path(0)
			if !r.done() {
				r.refuse(r.words[r.i].mark, "a parenthesis that was never opened", "leave it out, or open it before: (left.1 > lamp left > left.2)")
				continue
			}
			if p != nil {
				d.paths = append(d.paths, p)
			}
		}
	}
}

// clean refuses a line that holds what cannot be kept.
func (d *drawing) clean(line string, n int) bool {
	col := 0
	for i, r := range line {
		col++
		here := mark{n, col, 1}
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(line[i:], "\uFFFD"):
			d.refuse(here, "a byte that is no text in UTF-8", "write it again")
			return false
		case unicode.IsControl(r) && r != '\t', r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
			d.refuse(here, fmt.Sprintf("the character %U, which cannot be seen", r), "leave it out")
			return false
		}
	}
	return true
}

// words cuts a line; false when a quotation mark is not closed.
func (d *drawing) words(line string, n int) (out []word, ok bool) {
	col, open := 0, false
	w := word{}
	flush := func(to int) {
		if !open {
			return
		}
		open, w.ends, w.text = false, to, line[w.begins:to]
		if short := strings.TrimRight(w.text, ","); short != w.text {
			w.n -= len(w.text) - len(short)
			w.ends -= len(w.text) - len(short)
			w.text, w.comma = short, true
		}
		if w.text != "" {
			w.key = strings.ToLower(w.text)
			out = append(out, w)
		} else if len(out) > 0 {
			out[len(out)-1].comma = true
		}
	}
	for i := 0; i < len(line); {
		r, size := utf8.DecodeRuneInString(line[i:])
		col++
		here := mark{n, col, 1}
		switch {
		case unicode.IsSpace(r):
			flush(i)
		case strings.ContainsRune(">;()", r):
			flush(i)
			out = append(out, word{mark: here, text: string(r), sign: true, begins: i, ends: i + size})
		case r == '"' && open:
			d.refuse(here, "a quotation mark within a word", `quotes stand round whole words: lamp "red left"`)
			return nil, false
		case r == '"':
			inner := strings.IndexByte(line[i+1:], '"')
			if inner < 0 {
				d.refuse(here, "a quotation mark that is never closed", `close it: lamp "red left"`)
				return nil, false
			}
			quote := line[i : i+inner+2]
			here.n = utf8.RuneCountInString(quote)
			text := strings.Join(strings.Fields(quote[1:len(quote)-1]), " ")
			if text == "" {
				d.refuse(here, "nothing between the quotation marks", `write the name between them: lamp "red left"`)
				return nil, false
			}
			out = append(out, word{mark: here, text: text, quoted: true, begins: i, ends: i + len(quote)})
			col, size = col+here.n-1, len(quote)
		case !open:
			open, w = true, word{mark: here, begins: i}
		default:
			w.n++
		}
		i += size
	}
	flush(len(line))
	return out, true
}

// reader walks over the words of one path.
type reader struct {
	*drawing
	line  string
	words []word
	i     int
	// cut: the rest of the line was given up.
	cut bool
}

func (r *reader) done() bool { return r.i >= len(r.words) }

func (r *reader) at(sign string) bool { return !r.done() && r.words[r.i].is(sign) }

// here is the place of the next word, or the one behind the last.
func (r *reader) here() mark {
	if r.done() {
		return r.words[len(r.words)-1].end()
	}
	return mark{r.words[r.i].line, r.words[r.i].col, 0}
}

func (r *reader) path(depth int) *path {
	p := &path{mark: r.here()}
	for {
		p.items = append(p.items, r.item(depth))
		if !r.at(">") {
			break
		}
		r.i++
	}
	p.mark = p.to(r.words[max(r.i-1, 0)].mark)
	return p
}

func (r *reader) item(depth int) *item {
	it := &item{mark: r.here()}
	for {
		if b, ok := r.branch(depth); ok {
			it.branches = append(it.branches, b)
		}
		if !r.at(";") {
			break
		}
		r.i++
	}
	it.mark = it.to(r.words[max(r.i-1, 0)].mark)
	return it
}

func (r *reader) branch(depth int) (branch, bool) {
	if r.at("(") {
		open := r.words[r.i].mark
		r.i++
		if depth >= maxDepth {
			r.cut = true
			r.refuse(open, fmt.Sprintf("more than %d branches within branches", maxDepth), "give the inner ones lines of their own, from splice to splice")
			r.i = len(r.words)
			return branch{}, false
		}
		p := r.path(depth + 1)
		if !r.at(")") {
			if !r.cut { // of several, the innermost
				r.refuse(open, "a parenthesis that is never closed", "close it behind the branch: (left.1 > lamp left > left.2)")
			}
			r.cut = true
			r.i = len(r.words)
			return branch{}, false
		}
		r.i++
		if from := r.i; r.element() || r.at("(") {
			r.cut = true
			r.refuse(r.words[from].mark, "something right behind a branch", "put > or ; between them")
			r.i = len(r.words)
			return branch{}, false
		}
		return branch{path: p}, true
	}
	from := r.i
	if !r.element() {
		r.refuse(r.here(), "nothing is named here", "name what stands there, as 'fuse F7', or leave the sign out")
		return branch{}, false
	}
	words := r.words[from:r.i]
	if r.at("(") {
		r.cut = true
		r.refuse(r.words[r.i].mark, "a parenthesis within an element", `put > or ; before it; in a name it needs quotes: lamp "A (left)"`)
		r.i = len(r.words)
		return branch{}, false
	}
	u := r.use(r.line, words)
	if u == nil {
		return branch{}, false
	}
	r.uses = append(r.uses, u)
	return branch{use: u}, true
}

// element consumes words up to the next sign and reports whether there are any.
func (r *reader) element() bool {
	from := r.i
	for !r.done() && !r.words[r.i].sign {
		r.i++
	}
	return r.i > from
}
