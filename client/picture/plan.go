package picture

import (
	"slices"

	"knowngood.example/cases/circuit"
)

// strand is elements one behind the other, from one joint to another, that nothing
// branches off.
type strand struct {
	from, to *joint
	pieces   []piece
	column   int
}

// piece is an element of a strand, and the point behind it; at the end of a strand that
// is its joint's.
type piece struct {
	element int
	// against: it is drawn from its To to its From.
	against bool
	behind  int
}

// joint is where strands begin and end: a point at which they meet, a post, or an end.
type joint struct {
	point int
	// end: it closes one strand only, and says what that leads to.
	end      endKind
	in, out  []*strand
	coming   int // strands that end here and are not drawn yet
	placed   bool
	visiting bool
}

// endKind is how a strand stops.
type endKind int

const (
	meets  endKind = iota // it does not: others go on from there
	ground                // at a ground joint, which is its last element
	post                  // at the negative post
	back                  // at a joint that it comes from: a circle
	loose                 // at nothing
)

// step is one thing to draw, in the order in which it is read out.
type step struct {
	strand *strand
	piece  int    // of the strand; -1: where it ends
	joint  *joint // where strands meet; strand is nil
}

// plan says what stands in which column and in which order all is drawn. It knows no
// sizes.
type plan struct {
	Circuit
	steps   []step
	columns int
	joints  []*joint
	at      map[int]*joint
	strands []*strand
	taken   []bool // columns
	// lanes: columns are too narrow for text, which stands to the right of all. Then the
	// strand furthest to the right comes first, so that none passes before its text.
	lanes bool
}

func newPlan(c Circuit, lanes bool) *plan {
	p := &plan{Circuit: c, at: map[int]*joint{}, lanes: lanes}
	p.weave()
	p.direct()
	p.order()
	return p
}

// weave makes strands of the elements.
func (p *plan) weave() {
	if len(p.Elements) == 0 {
		return
	}
	ends := make([][]int, len(p.Points)) // elements at each point
	for i, e := range p.Elements {
		ends[e.From] = append(ends[e.From], i)
		ends[e.To] = append(ends[e.To], i)
	}
	used := make([]bool, len(p.Elements))
	walk := func(at, element int) {
		s := &strand{from: p.joint(at)}
		for {
			e := p.Elements[element]
			used[element] = true
			next := piece{element: element, behind: e.To}
			if e.To == at && e.From != at {
				next.against, next.behind = true, e.From
			}
			s.pieces = append(s.pieces, next)
			at = next.behind
			if p.at[at] != nil || at == Minus || at == Plus || len(ends[at]) != 2 {
				break
			}
			element = ends[at][0] + ends[at][1] - element
			if used[element] {
				break
			}
		}
		s.to = p.joint(at)
		p.strands = append(p.strands, s)
	}
	from := func(at int) {
		for _, i := range ends[at] {
			if !used[i] {
				walk(at, i)
			}
		}
	}
	// From plus on, joint by joint, so that branches keep the order they were drawn in.
	p.joint(Plus)
	for k := 0; k < len(p.joints); k++ {
		if at := p.joints[k].point; at != Minus {
			from(at)
		}
	}
	for at := range p.Points {
		if len(ends[at]) != 2 || at == Minus {
			from(at)
			for k := 0; k < len(p.joints); k++ {
				if next := p.joints[k].point; next != Minus {
					from(next)
				}
			}
		}
	}
	for i, e := range p.Elements { // circles that nothing branches off
		if !used[i] {
			walk(e.From, i)
		}
	}
}

func (p *plan) joint(point int) *joint {
	j := p.at[point]
	if j == nil {
		j = &joint{point: point}
		p.at[point] = j
		p.joints = append(p.joints, j)
	}
	return j
}

// direct turns strands so that they run from plus to minus and in no circle, and closes
// those that end at the negative post or where they began.
func (p *plan) direct() {
	for _, s := range p.strands {
		forward := 0
		for _, x := range s.pieces {
			switch {
			case p.Elements[x.element].Kind == circuit.Diode: // may be drawn either way
			case x.against:
				forward--
			default:
				forward++
			}
		}
		if s.to.point == Plus || s.to.point != Minus && (s.from.point == Minus || s.from.point != Plus && forward < 0) {
			s.turn()
		}
		if s.from == s.to {
			s.to = &joint{point: s.to.point, end: back}
		}
		if s.to.point == Minus && s.to.end == meets {
			s.to = &joint{point: Minus, end: post}
			if p.Elements[s.pieces[len(s.pieces)-1].element].Kind == circuit.Ground {
				s.to.end = ground
			}
		}
		s.from.out = append(s.from.out, s)
	}
	for _, j := range p.joints {
		p.unwind(j)
	}
	for _, s := range p.strands {
		s.to.in = append(s.to.in, s)
		s.to.coming++
	}
	for _, j := range p.joints {
		if j.end == meets && len(j.in) == 1 && len(j.out) == 0 {
			j.end = loose
		}
	}
}

// unwind follows the strands from a joint on and turns what leads back to where it came
// from.
func (p *plan) unwind(j *joint) {
	if j.placed {
		return
	}
	j.placed, j.visiting = true, true
	for _, s := range slices.Clone(j.out) {
		switch {
		case s.from != j || s.to.end != meets:
		case s.to.visiting:
			j.out = slices.DeleteFunc(j.out, func(o *strand) bool { return o == s })
			s.turn()
			s.from.out = append(s.from.out, s)
		default:
			p.unwind(s.to)
		}
	}
	j.visiting = false
}

// turn has a strand run the other way.
func (s *strand) turn() {
	before := s.from.point
	s.from, s.to = s.to, s.from
	slices.Reverse(s.pieces)
	for i := range s.pieces {
		s.pieces[i].against = !s.pieces[i].against
		s.pieces[i].behind = before
		if i+1 < len(s.pieces) {
			s.pieces[i].behind = s.pieces[i+1].behind
		}
	}
}

// order draws strand by strand, and a joint as soon as all that leads to it is drawn, so
// that columns are free again early.
func (p *plan) order() {
	for _, j := range p.joints {
		j.placed = false
	}
	var open []*strand // begun and not drawn
	begin := func(j *joint) {
		j.placed = true
		columns := make([]int, 0, len(j.in))
		for _, s := range j.in {
			columns = append(columns, s.column)
			p.taken[s.column] = false
		}
		slices.Sort(columns)
		if len(j.out) > 0 || len(j.in) > 1 {
			p.steps = append(p.steps, step{joint: j})
		}
		least := 0
		if len(columns) > 0 {
			least = columns[0]
		}
		for range j.out {
			least = p.column(least)
			columns = append(columns, least)
		}
		columns = columns[len(j.in):]
		slices.Sort(columns)
		if p.lanes {
			slices.Reverse(columns)
		}
		for i, s := range j.out { // what was drawn first is read first
			s.column = columns[i]
			open = append(open, s)
		}
	}
	for {
		var next *strand
		for _, s := range open {
			if next == nil || s.column < next.column != p.lanes {
				next = s
			}
		}
		if next == nil {
			j := p.start()
			if j == nil {
				return
			}
			begin(j)
			continue
		}
		open = slices.DeleteFunc(open, func(s *strand) bool { return s == next })
		for i := range next.pieces {
			p.steps = append(p.steps, step{strand: next, piece: i})
		}
		next.to.coming--
		if next.to.end != meets {
			next.to.placed = true
			p.steps = append(p.steps, step{strand: next, piece: -1})
			p.taken[next.column] = false
		} else if next.to.coming == 0 {
			begin(next.to)
		}
	}
}

// start is the next joint that nothing leads to: plus, then the others.
func (p *plan) start() *joint {
	for _, j := range p.joints {
		if !j.placed && j.coming == 0 && len(j.out) > 0 {
			return j
		}
	}
	return nil
}

// column takes the first free one from least on.
func (p *plan) column(least int) int {
	for k := least; ; k++ {
		if k == len(p.taken) {
			p.taken = append(p.taken, false)
		}
		if !p.taken[k] {
			p.taken[k] = true
			p.columns = max(p.columns, k+1)
			return k
		}
	}
}
