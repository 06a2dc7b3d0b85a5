package picture

import (
	"slices"
	"strings"

	"knowngood.example/cases/circuit"
)

// Sizes in pixels.
const (
	margin    = 8
	gutter    = 26  // from a column's line to its text
	half      = 12  // of a symbol, to each side
	tall      = 14  // of a symbol, up and down
	least     = 200 // of a column with text in it
	lane      = 26
	narrowest = 240 // of all
	leastFor  = 150 // text beside lanes
	apart     = 600 // from this width of text on, notes stand beside names

	touch    = 56.0 // of a place to touch, across and down: for gloves
	touchGap = 12.0 // between two of them

	nameSize = 16.0
	saysSize = 14.0
	noteSize = 14.0
	moreSize = 13.0
	leading  = 1.35
)

// text is one line of a label.
type text struct {
	x, y  float64 // of its base line
	size  float64
	class string
	text  string
}

// line is a piece of a strand, straight down.
type line struct{ x, y1, y2 float64 }

// item is one thing that is read out: an element, a point, a joint or an end.
type item struct {
	// element it is, -1 for what is none; above and below are where the strand meets it.
	element      int
	above, below float64
	says         string // in words, for who does not see it
	class        string
	x, y         float64 // of the middle of its symbol
	shape        func(x, y float64) []string
	point        string // that it is, if it is one
	texts        []text
	band         *[4]float64 // x, y, width, height behind what is suspected
}

// layout is where everything stands.
type layout struct {
	*plan
	width, height float64
	lanes         bool
	columnWide    float64
	cursors       []float64 // of each column how far down it is filled; one for all of lanes
	links         bool      // points are to be touched
	touched       []float64 // of each column where its last place to touch ends; one for all of lanes
	drawn         map[*strand]float64
	lines         []line
	rails         []rail
	items         []item
}

// rail is the horizontal line of a joint.
type rail struct{ x1, x2, y float64 }

// layOut gives everything its place; with links, points are as far from each other as
// hands in gloves want.
func layOut(c Circuit, width float64, links bool) *layout {
	width = max(width, narrowest)
	l := &layout{plan: newPlan(c, false), width: width, links: links, drawn: map[*strand]float64{}}
	if l.columnWide = (width - 2*margin) / float64(max(l.columns, 1)); l.columnWide < least && l.columns > 1 {
		l.plan, l.lanes = newPlan(c, true), true
		l.columnWide = min(lane, max((width-2*margin-leastFor)/float64(l.columns), 2*half+2))
		l.width = max(width, float64(l.columns)*l.columnWide+gutter+leastFor+2*margin)
	}
	l.cursors = slices.Repeat([]float64{margin}, max(l.columns, 1))
	l.touched = slices.Repeat([]float64{-touchGap}, max(l.columns, 1))
	l.head()
	for _, s := range l.steps {
		switch {
		case s.joint != nil:
			l.joint(s.joint)
		case s.piece < 0:
			l.end(s.strand)
		default:
			l.piece(s.strand, s.strand.pieces[s.piece], s.piece == len(s.strand.pieces)-1)
		}
	}
	l.foot()
	for _, y := range append(slices.Clone(l.touched), l.cursors...) {
		l.height = max(l.height, y+margin)
	}
	return l
}

func (l *layout) x(column int) float64 {
	return margin + half + 2 + float64(column)*l.columnWide
}

// area is where the text of a column stands.
func (l *layout) area(column int) (x, wide float64) {
	if l.lanes {
		x = l.x(l.columns-1) + gutter
		return x, l.width - margin - x
	}
	x = l.x(column) + gutter
	return x, l.x(column) + l.columnWide - half - 8 - x
}

// fill is the cursor that counts for columns from to.
func (l *layout) top(from, to int) float64 {
	if l.lanes {
		return l.cursors[0]
	}
	return slices.Max(l.cursors[from : to+1])
}

func (l *layout) fill(from, to int, y float64) {
	if l.lanes {
		from, to = 0, 0
	}
	for k := from; k <= to; k++ {
		l.cursors[k] = y
	}
}

// reach is how far down something begins that wants to begin at y in a column and whose
// point stands so far below that: far enough from the place to touch above it. What it
// returns is taken.
func (l *layout) reach(column int, y, below float64) float64 {
	if !l.links {
		return y
	}
	if l.lanes {
		column = 0
	}
	y = max(y, l.touched[column]+touchGap+touch/2-below)
	l.touched[column] = y + below + touch/2
	return y
}

// words of a label: a name, what the drawing says, and notes.
type label struct {
	name  string
	class string
	says  []string
	notes []Note
}

// set sets a label from y on and returns where it ends.
func (l *layout) set(it *item, s label, column int, y float64) float64 {
	x, wide := l.area(column)
	split := wide >= apart && len(s.notes) > 0 && s.name != ""
	left := wide
	if split {
		left = wide * 0.36
	}
	end := y
	put := func(to *float64, x, width float64, words, class string, size float64) {
		for _, t := range wrapped(words, size, width, bold(class)) {
			*to += size * leading
			it.texts = append(it.texts, text{x, *to - size*(leading-1), size, class, t})
		}
	}
	nameSized := nameSize
	if s.class == "point" {
		nameSized = saysSize
	}
	put(&end, x, left, s.name, s.class, nameSized)
	put(&end, x, left, strings.Join(s.says, ", "), "says", saysSize)
	notes, notesX, notesWide := &end, x, wide
	if split {
		beside := y
		notes, notesX, notesWide = &beside, x+left+gutter, wide-left-gutter
	}
	for _, n := range s.notes {
		put(notes, notesX, notesWide, n.Text, n.Kind.class(), noteSize)
		put(notes, notesX, notesWide, n.More, "says", moreSize)
		*notes += 3
	}
	said := append([]string{s.name}, s.says...)
	for _, n := range s.notes {
		said = append(said, n.Text, n.More)
	}
	said = slices.DeleteFunc(said, func(s string) bool { return s == "" })
	it.says = strings.Join(said, "; ")
	return max(end, *notes)
}

// piece draws an element of a strand, and the point behind it.
func (l *layout) piece(s *strand, x piece, last bool) {
	e := l.Elements[x.element]
	at := l.x(s.column)
	y := l.top(s.column, s.column)
	name, says := e.title()
	notes := e.Notes
	if e.Suspect != "" {
		notes = append([]Note{{Kind: Trouble, Text: "suspect, " + e.Suspect}}, notes...)
	}
	it := item{element: x.element, class: "element " + strings.ReplaceAll(words[e.Kind], " ", "-"), x: at, y: y + 20}
	for _, n := range notes {
		if n.Kind == Bad || n.Kind == Trouble {
			it.class += " " + n.Kind.class()
		}
	}
	bottom := y + 2*20
	if e.bare() {
		bottom, it.y, it.says = y+24, y+12, name
	} else {
		bottom = max(bottom, l.set(&it, label{name, "name", says, notes}, s.column, y+10)+8)
	}
	up, down := l.shape(&it, e, x.against, last && s.to.end == ground)
	it.above, it.below = it.y-up, it.y+down
	l.wire(s, it.above)
	l.drawn[s] = it.below
	if e.Suspect != "" {
		from, wide := l.area(s.column)
		it.band = &[4]float64{at - half - 4, y + 1, from + wide - at + half + 8, bottom - y - 3}
	}
	it.says = strings.TrimSuffix(it.says+"; from "+l.Points[e.From].Name+" to "+l.Points[e.To].Name, "; from  to ")
	l.items = append(l.items, it)
	l.fill(s.column, s.column, bottom)
	switch {
	case !last:
		l.point(s, x.behind)
	case l.lanes && s.to.end == meets: // what comes next is another strand
		l.fill(s.column, s.column, bottom+12)
	}
}

// title is the name of an element, and what is said of it beside.
func (e *Element) title() (name string, says []string) {
	name = e.Name
	switch {
	case name == "" && e.Colour != "":
		return e.Colour + " " + words[e.Kind], e.Says
	case name == "":
		return words[e.Kind], e.Says
	case !named(e):
		says = append(says, words[e.Kind])
	}
	if e.Colour != "" {
		says = append(says, e.Colour)
	}
	return name, append(says, e.Says...)
}

// bare reports whether it is a wire of which nothing is known.
func (e *Element) bare() bool {
	return e.Kind == circuit.Wiring && e.Name == "" && e.Colour == "" && len(e.Says)+len(e.Notes) == 0 && e.Suspect == ""
}

// named reports whether the name says the kind.
func named(e *Element) bool {
	for _, w := range strings.Fields(strings.ToLower(e.Name)) {
		if slices.Contains(strings.Fields(words[e.Kind]), w) || e.Kind == circuit.Ground && (w == "gnd" || w == "ground") ||
			e.Kind == circuit.Motor || e.Kind == circuit.Load || e.Kind == circuit.Lamp || e.Kind == circuit.Switch && w == "relay" {
			return true
		}
	}
	return false
}

// wire draws the strand down to y.
func (l *layout) wire(s *strand, y float64) {
	x := l.x(s.column)
	l.lines = append(l.lines, line{x, l.drawn[s], y})
	l.drawn[s] = y
}

// plain reports whether a point's name follows from its element's and nothing is known of
// it besides.
func (l *layout) plain(point int) bool {
	p := l.Points[point]
	if len(p.Says)+len(p.Notes) > 0 {
		return false
	}
	for _, e := range l.Elements {
		if (e.From == point || e.To == point) && (p.Name == e.Name+" in" || p.Name == e.Name+" out" || p.Name == e.Name) {
			return true
		}
	}
	return p.Name == ""
}

// point draws a point between two elements.
func (l *layout) point(s *strand, point int) {
	p := l.Points[point]
	y := l.reach(s.column, l.top(s.column, s.column), 9)
	it := item{element: -1, class: "point", x: l.x(s.column), y: y + 9, shape: dot, point: p.Name, says: p.Name}
	bottom := y + 16
	if !l.plain(point) {
		bottom = max(bottom, l.set(&it, label{p.Name, "point", p.Says, p.Notes}, s.column, y)+6)
	}
	l.items = append(l.items, it)
	l.fill(s.column, s.column, bottom)
}

// joint draws the rail at which strands meet.
func (l *layout) joint(j *joint) {
	from, to := l.columns, 0
	for _, s := range append(slices.Clone(j.in), j.out...) {
		from, to = min(from, s.column), max(to, s.column)
	}
	y := l.reach(from, l.top(from, to), 10)
	p := l.Points[j.point]
	it := item{element: -1, class: "point", x: l.x(from), y: y + 10, shape: dot, point: p.Name, says: p.Name}
	says := p.Says
	switch {
	case j.point == Plus || j.point == Minus:
		it.class, it.shape = "post", ring
	case len(j.in) == 0:
		says = append([]string{"nothing drawn feeds it"}, says...)
	case len(j.out) == 0:
		says = append([]string{"leads nowhere in the drawing"}, says...)
	}
	bottom := y + 24
	if !l.plain(j.point) || j.point <= Plus || len(says) > 0 {
		under := y
		if from < to && !l.lanes {
			under = it.y + 4 // the rail passes over the text
		}
		bottom = max(bottom, l.set(&it, label{p.Name, "point", says, p.Notes}, from, under)+6)
	}
	for _, s := range j.in {
		l.wire(s, it.y)
	}
	for _, s := range j.out {
		l.drawn[s] = it.y
	}
	if from < to {
		l.rails = append(l.rails, rail{x1: l.x(from), x2: l.x(to), y: it.y})
	}
	l.items = append(l.items, it)
	l.fill(from, to, bottom)
}

// end draws how a strand stops.
func (l *layout) end(s *strand) {
	p := l.Points[s.to.point]
	y := l.top(s.column, s.column)
	if s.to.end == post || s.to.end == loose {
		y = l.reach(s.column, y, 8)
	}
	it := item{element: -1, class: "end", x: l.x(s.column), y: y + 8, shape: dot}
	switch s.to.end {
	case ground:
		l.fill(s.column, s.column, y+10)
		return // the ground joint has drawn it
	case post:
		it.shape, it.class, it.point = ring, "post", p.Name
	case loose:
		p.Says = append([]string{"leads nowhere in the drawing"}, p.Says...)
		it.point = p.Name
	case back:
		p = Point{Name: "back to " + p.Name}
	}
	if s.to.point == Minus {
		p.Notes = nil // they stand once, at the foot
	}
	bottom := l.set(&it, label{p.Name, "point", p.Says, p.Notes}, s.column, y-2)
	l.wire(s, it.y)
	l.items = append(l.items, it)
	l.fill(s.column, s.column, bottom+12)
}

// head says over the picture what is said of all of it.
func (l *layout) head() { l.across("head", "", l.Notes) }

// foot says under it what was read at the negative post.
func (l *layout) foot() {
	if len(l.Points) > 0 && len(l.Points[Minus].Notes) > 0 {
		l.across("point", l.Points[Minus].Name, l.Points[Minus].Notes)
	}
}

// across sets notes over the whole width.
func (l *layout) across(class, name string, notes []Note) {
	if len(notes) == 0 {
		return
	}
	y := slices.Max(l.cursors)
	if name != "" {
		y = l.reach(0, y, 8)
	}
	it := item{element: -1, class: class, x: l.x(0), y: y + 8, point: ""}
	if name != "" {
		it.shape, it.point = ring, name
	}
	lanes, wide := l.lanes, l.columnWide
	l.lanes, l.columnWide = false, l.width-2*margin // no strand passes here
	bottom := l.set(&it, label{name, "point", nil, notes}, 0, y-2)
	l.lanes, l.columnWide = lanes, wide
	l.items = append(l.items, it)
	for k := range l.cursors {
		l.cursors[k] = bottom + 10
	}
}
