package suspect

import "slices"

// classes are what one piece of evidence takes for the same: hypotheses of faults of
// the same classes are alike to it.
type classes struct {
	// n is how many there are; 0: each fault is its own.
	n int
	// dense holds the class of each fault, where there are readings on what is drawn;
	// elsewhere few faults are touched, of another class than 0, and only those are held,
	// ascending.
	dense   []int
	places  []Place // of each fault, with dense
	touched []touch
}

type touch struct{ fault, class int }

// narrow is evidence that can name what it touches.
type narrow interface {
	Classed
	// Touches are the parts whose faults may be of another class than 0, besides something
	// not named; of which class all of them are then, 0: that is to be asked. False: any
	// part may be.
	Touches() (parts []Part, class int, known bool)
}

func (j *Judgement) classesOf(e Evidence) classes {
	classed, ok := e.(Classed)
	if !ok {
		return classes{}
	}
	c := classes{n: 1}
	if drawn, ok := e.(Drawn); ok {
		c.dense, c.places = make([]int, len(j.faults)), make([]Place, len(j.faults))
		for i, f := range j.faults {
			c.dense[i], c.places[i] = drawn.Place(f)
			c.n = max(c.n, c.dense[i]+1)
		}
		return c
	}
	meet := func(i int) {
		if class := classed.Class(j.faults[i]); class != 0 {
			c.touched = append(c.touched, touch{i, class})
			c.n = max(c.n, class+1)
		}
	}
	parts, one, known := []Part(nil), 0, false
	if e, ok := e.(narrow); ok {
		parts, one, known = e.Touches()
	}
	if !known {
		for i := range j.faults {
			meet(i)
		}
		return c
	}
	c.touched = make([]touch, 0, len(parts)+1)
	for _, i := range j.of[NotNamed] {
		meet(i)
	}
	for _, p := range parts {
		if p == NotNamed {
			continue
		}
		for _, i := range j.of[p] {
			if one == 0 {
				meet(i)
				continue
			}
			c.touched = append(c.touched, touch{i, one})
			c.n = max(c.n, one+1)
		}
	}
	byFault := func(a, b touch) int { return a.fault - b.fault }
	if !slices.IsSortedFunc(c.touched, byFault) {
		slices.SortFunc(c.touched, byFault)
	}
	c.touched = slices.Compact(c.touched) // a part may be named twice
	return c
}

// fault is the class of a fault.
func (c *classes) fault(i int) int {
	if c.dense != nil {
		return c.dense[i]
	}
	k, ok := slices.BinarySearchFunc(c.touched, i, func(t touch, i int) int { return t.fault - i })
	if !ok {
		return 0
	}
	return c.touched[k].class
}

// pairs is room for each pair of classes, and for each in a known order; none where there
// are none.
func (c *classes) pairs() []byte {
	if c.n == 0 {
		return nil
	}
	return make([]byte, 2*c.n*c.n)
}

// inOrder reports whether two faults lie on one path as far as the evidence goes, and turned
// whether the second comes first.
func (c *classes) inOrder(i, k int) (is, turned bool) {
	if c.places == nil {
		return false, false
	}
	is, before := c.places[i].Before(c.places[k])
	return is, is && !before
}

// alone is what one piece of evidence makes of no fault, and of each fault by itself.
type alone struct {
	none  float64
	class *classes
	by    []float64 // by class; where there are none, by fault
}

func (a *alone) of(i int) float64 {
	if a.class.n == 0 {
		return a.by[i]
	}
	return a.by[a.class.fault(i)]
}

// each calls f with each fault of which the evidence may make another thing than of no
// fault at all.
func (a *alone) each(faults int, f func(i int, l float64)) {
	if a.class.n > 0 && a.class.dense == nil {
		for _, t := range a.class.touched {
			f(t.fault, a.by[t.class])
		}
		return
	}
	for i := range faults {
		f(i, a.of(i))
	}
}

// alone is what piece n of the evidence makes of each fault by itself.
func (j *Judgement) alone(n int) alone {
	e, class := j.problem.Evidence[n], &j.classes[n]
	out := alone{none: likely(e, nil, [3]int{}), class: class}
	if class.n == 0 {
		for i := range j.faults {
			out.by = append(out.by, likely(e, j.faults[i:i+1], [3]int{}))
		}
		return out
	}
	out.by = make([]float64, class.n)
	met := make([]bool, class.n)
	out.by[0], met[0] = out.none, true
	meet := func(i, c int) {
		if !met[c] {
			out.by[c], met[c] = likely(e, j.faults[i:i+1], [3]int{c}), true
		}
	}
	for i, c := range class.dense {
		meet(i, c)
	}
	for _, t := range class.touched {
		meet(t.fault, t.class)
	}
	return out
}

// likely is what the evidence makes of a hypothesis of at most three faults of these
// classes; where it has unknown parameters, at most.
func likely(e Evidence, h Hypothesis, classes [3]int) float64 {
	switch e := e.(type) {
	case Drawn:
		return e.Within(classes, Everywhere).Most
	case Plain:
		return e.LogLik(h)
	}
	panic("evidence that says nothing of how likely it is")
}

// take lets piece n of the evidence count.
func (j *Judgement) take(n int) {
	one := j.alone(n)
	switch e := j.problem.Evidence[n].(type) {
	case Drawn:
		j.takeDrawn(n, e, one)
	case Plain:
		if one.class.n == 0 {
			j.takeEach(e, one)
		} else {
			j.takeClasses(e, one)
		}
	}
	j.asks = append(j.asks, j.asked(j.problem.Evidence[n], one))
}

// takeEach asks for every hypothesis by itself.
func (j *Judgement) takeEach(e Plain, one alone) {
	s, m := &j.scores, len(j.paired)
	for k, w := range j.wide {
		s.wide[k] += e.LogLik(j.hypothesis(w))
	}
	s.none += one.none
	h := make(Hypothesis, 2)
	for i := range j.faults {
		s.single[i] += one.of(i)
	}
	for a, i := range j.paired {
		h[0] = j.faults[i]
		for b := a + 1; b < m; b++ {
			if h[1] = j.faults[j.paired[b]]; h[0].Part != h[1].Part {
				both := e.LogLik(h)
				if m > manyPaired {
					both += one.none - one.of(i) - one.of(j.paired[b])
				}
				s.pair[tri(a, b, m)] += both
			}
		}
	}
}

// takeClasses asks once for each pair of classes. Only what is touched differs from
// the rest.
func (j *Judgement) takeClasses(e Plain, one alone) {
	s, m, class := &j.scores, len(j.paired), one.class
	s.base += one.none
	for k, w := range j.wide {
		s.wide[k] += e.LogLik(j.hypothesis(w)) - one.none
	}
	two := make([]float64, class.n*class.n)
	known := make([]bool, class.n*class.n)
	both := func(t, u touch) float64 {
		at := t.class*class.n + u.class
		if !known[at] {
			two[at], known[at] = e.LogLik(Hypothesis{j.faults[t.fault], j.faults[u.fault]}), true
		}
		return two[at]
	}
	for x, t := range class.touched {
		s.single[t.fault] += one.by[t.class] - one.none
		a := j.row[t.fault]
		if a < 0 {
			continue
		}
		for _, u := range class.touched[x+1:] {
			b := j.row[u.fault]
			switch {
			case b < 0:
			case m > manyPaired:
				s.pair[tri(a, b, m)] += both(t, u) - one.by[t.class] - one.by[u.class] + one.none
			default:
				s.pair[tri(a, b, m)] += both(t, u) - one.none
			}
		}
	}
	if m <= manyPaired {
		j.takeBeside(one)
	}
}

// takeBeside lets the evidence count for the pairs of a fault that it touches and one
// that it does not.
func (j *Judgement) takeBeside(one alone) {
	s, m := &j.scores, len(j.paired)
	touched := make([]bool, m)
	for _, t := range one.class.touched {
		touched[j.row[t.fault]] = true
	}
	for _, t := range one.class.touched {
		a, more := j.row[t.fault], one.by[t.class]-one.none
		for b, is := range touched {
			switch {
			case is:
			case b < a:
				s.pair[tri(b, a, m)] += more
			default:
				s.pair[tri(a, b, m)] += more
			}
		}
	}
}
