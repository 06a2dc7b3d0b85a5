package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

// A spot is a hypothesis, by the classes of up to three faults, with its unknown
// parameters known, in Fine parts; a boxed one has them in a box. Both are kept as one
// number, since they are looked up a million times in a judgement: sixteen bits a class,
// of which there are no more than faults.
type (
	spot  uint64
	boxed uint64
)

func classBits(key [3]int) uint64 {
	return uint64(uint16(key[0]))<<32 | uint64(uint16(key[1]))<<16 | uint64(uint16(key[2]))
}

func spotOf(key [3]int, at [2]uint8) spot {
	return spot(classBits(key)<<16 | uint64(at[0])<<8 | uint64(at[1]))
}

// boxedOf: an axis is halved again and again, so that From and To are told by how often
// and which of the parts it is.
func boxedOf(key [3]int, b suspect.Box) boxed {
	side := func(from, to uint8) uint64 {
		if to == from {
			return 0
		}
		return uint64(suspect.Fine/(to-from) + from/(to-from))
	}
	return boxed(classBits(key)<<14 | side(b[0].From, b[0].To)<<7 | side(b[1].From, b[1].To))
}

// wildShare is how often what is not named, or not as drawn, has to do with a reading.
func wildShare(key [3]int) float64 {
	share := 0.0
	for _, k := range key {
		switch k {
		case notDrawn:
			share = drawnBad
		case notNamed:
			share = math.Max(share, takesPart)
		}
	}
	return share
}

// Within implements suspect.Drawn. What is shown at the ends of a stretch of values says
// what is shown between, since it rises or falls all the way.
func (o *Observation) Within(classes [3]int, b suspect.Box) suspect.Likely {
	share := wildShare(classes)
	for i, k := range classes {
		if k < firstEffect { // the others keep their places, and with them their parameters
			classes[i] = noEffect
		}
	}
	l := o.within(classes, b)
	if share > 0 {
		l.Idle, l.Slight = false, false
		l.Most, l.Mean = o.unnamed(share, l.Most), o.unnamed(share, l.Mean)
	}
	l.Most = math.Min(l.Most, o.Peak())
	l.Mean = math.Min(l.Mean, l.Most)
	return l
}

func (o *Observation) within(key [3]int, b suspect.Box) suspect.Likely {
	varies := [2]bool{}
	for i, k := range key {
		if k >= firstEffect && o.varying[k-firstEffect] {
			varies[min(i, 1)] = true
		}
	}
	for axis, is := range varies {
		if !is {
			b[axis].From, b[axis].To = 0, 0
		}
	}
	if isAlone(key) && (b[0].To == 0 || b[0] == suspect.Everywhere[0]) {
		t := o.take(key)
		if !t.known {
			t.whole, t.known = o.allowing(t, b), true
		}
		return t.whole
	}
	in := boxedOf(key, b)
	l, ok := o.boxes[in]
	if !ok {
		l = o.allowing(o.take(key), b)
		o.boxes[in] = l
	}
	return l
}

// allowing is over, with what is likely should the fault not have been there.
func (o *Observation) allowing(t *taken, b suspect.Box) suspect.Likely {
	l := o.over(t, b)
	if o.Absent > 0 && t.key != ([3]int{}) {
		without := o.within([3]int{}, suspect.Everywhere)
		l.Most, l.Mean = o.mixed(l.Most, without.Most), o.mixed(l.Mean, without.Mean)
	}
	return l
}

// Apart implements suspect.Drawn: with all that conducts closed and without a loop
// neither of two faults opens a way for the other.
func (o *Observation) Apart() bool {
	return o.Quantity != Ohms && o.idle == nil && !o.model.loops && !o.model.loose && len(o.model.gated) == 0
}

// Beside implements suspect.Drawn: with the first fault as it is at one end of what it may
// be, a short as it draws most and a resistance as it leaves most, and the second at either.
func (o *Observation) Beside(classes [3]int) bool {
	for i, k := range classes {
		if k < firstEffect {
			classes[i] = noEffect
		}
	}
	if classes[0] == noEffect || classes[1] == noEffect {
		return true
	}
	is, met := o.beside[classes]
	if !met {
		is = true
		for _, at := range [2]uint8{0, suspect.Fine} {
			if at > 0 && !o.varying[classes[1]-firstEffect] {
				break
			}
			alone := o.single(classes[0], 0)
			c := o.spot(o.take(classes), [2]uint8{0, at})
			is = is && o.alike(&c, &alone, roughly)
			if o.oneStretch(classes) { // in the other order too
				c = o.spot(o.take([3]int{classes[1], classes[0]}), [2]uint8{at, 0})
				is = is && o.alike(&c, &alone, roughly)
			}
		}
		o.beside[classes] = is
	}
	return is
}

// over works within out, from what is shown at the corners of the box.
func (o *Observation) over(t *taken, b suspect.Box) suspect.Likely {
	var l suspect.Likely
	stops := func(axis int) []uint8 {
		switch r := b[axis]; {
		case r.From == r.To:
			return []uint8{r.From}
		case r.To-r.From > 1 && !o.steady(t.key, axis):
			return []uint8{r.From, (r.From + r.To) / 2, r.To}
		default:
			return []uint8{r.From, r.To}
		}
	}
	rows, cols := stops(0), stops(1)
	room := [9]cell{}
	cells := room[:0]
	likes := [9]float64{} // of each cell; NaN: not worked out
	like := func(n int) float64 {
		if math.IsNaN(likes[n]) {
			likes[n] = o.like(cells[n], 0)
		}
		return likes[n]
	}
	for n := range likes {
		likes[n] = math.NaN()
	}
	var all Span
	for i, row := range rows {
		for j, col := range cols {
			c := o.spot(t, [2]uint8{row, col})
			if i+j == 0 {
				all = Exactly(c.seen[1])
			}
			for _, v := range c.all() {
				all = all.with(Exactly(v))
			}
			cells = append(cells, c)
			n := len(cells) - 1
			apart := func(axis, from int) {
				if a, b := &cells[from], &cells[n]; !o.alike(a, b, exactly) {
					l.Spread[axis] = math.Max(l.Spread[axis], o.apart(a, b, like(from), like(n)))
				}
			}
			if i > 0 {
				apart(0, n-len(cols))
			}
			if j > 0 {
				apart(1, n-1)
			}
		}
	}
	if isAlone(t.key) {
		well := o.well()
		l.Slight = true
		for k := range cells {
			l.Slight = l.Slight && o.alike(&cells[k], &well, roughly)
		}
	}
	if len(cells) > 1 && l.Spread == ([2]float64{}) {
		cells = cells[:1]
	}
	if len(cells) == 1 {
		well := o.well()
		l.Idle = o.alike(&cells[0], &well, exactly)
		l.Mean = o.like(cells[0], 0)
		l.Most = l.Mean
		return l
	}
	nearest := math.Max(all.Lo, math.Min(o.Shown.at(0.5), all.Hi))
	worn := Exactly(cells[0].worn)
	for _, c := range cells {
		worn = worn.with(Exactly(c.worn))
	}
	sigma := math.Hypot(o.Sigma, o.slack(nearest))
	least, most := math.Hypot(sigma, worn.Lo), math.Hypot(sigma, worn.Hi)
	peak := func(s Span) float64 {
		return o.robust(math.Max(normal(o.off(s), least, o.width()), normal(o.off(s), most, o.width())))
	}
	// What lies between the corners is as likely as what is at them, spread out between
	// them, and no likelier than what is nearest.
	middle := Exactly(cells[0].seen[1])
	for _, c := range cells {
		middle = middle.with(Exactly(c.seen[1]))
	}
	l.Most, l.Mean = peak(all), peak(middle)
	for n := range cells {
		l.Most, l.Mean = math.Max(l.Most, like(n)), math.Max(l.Mean, like(n))
	}
	ends := middle
	if o.Quantity == Ohms {
		ends = logOhms(middle)
	}
	wide, sum := (ends.Hi-ends.Lo)/4, 0.0
	for _, c := range cells {
		sum += math.Exp(o.like(c, wide))
	}
	l.Mean = math.Min(math.Log(sum/float64(len(cells))), l.Mean)
	return l
}

// apart is how much it matters, in logs, where between two cells, which are as likely as is
// told, the parameters lie.
func (o *Observation) apart(a, b *cell, like, other float64) float64 {
	v, w := a.seen[1], b.seen[1]
	between := Exactly(v).with(Exactly(w))
	nearest := math.Max(between.Lo, math.Min(o.Shown.at(0.5), between.Hi))
	sigma := math.Hypot(math.Hypot(o.Sigma, o.slack(nearest)), math.Max(a.worn, b.worn))
	most := o.robust(normal(o.off(between), sigma, o.width()))
	return math.Max(most, math.Max(like, other)) - math.Min(like, other)
}
