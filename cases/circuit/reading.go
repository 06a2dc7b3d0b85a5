package circuit

import (
	"math"
	"slices"

	"knowngood.example/cases/suspect"
)

// Quantity is what was read.
type Quantity int

// The quantities.
const (
	Volts Quantity = iota
	Amps
	Ohms
	// Shine is how bright a lamp between the leads was, as the share of the supply
	// over it.
	Shine
	// Swing is by how much the voltage between the leads goes up and down while outputs are
	// driven in pulses: what a frequency, or a duty, counts.
	Swing
)

// Reading is something read in one state of the circuit.
type Reading struct {
	ID, Setup string
	Quantity  Quantity
	// Red and Black are the nodes that the leads may have touched: more than one
	// where a name may mean either side. Of a current: the ends of Along.
	Red, Black []int
	// Along is the element whose current was read.
	Along int
	// Shown lies in this span; both ends are the value where it was exact.
	Shown Span
	// Sigma is the standard deviation of the reading: meter, leads, a shaking hand.
	Sigma float64
	// Lead is what the instrument itself puts between red and black, in ohms; none
	// where Hi is 0.
	Lead Span
	// Leads is what an ohmmeter showed with its leads held together, in ohms; 0 where nobody
	// did so. They may have more all the same: a tip may have been dirty since.
	Leads float64
	// Through is the current that flowed meanwhile where somebody read it; Hi 0:
	// nobody did.
	Through Span
	// Duty is the share of the time for which a driven circuit was fed, as an
	// averaging meter sees it; 1 where nothing pulses.
	Duty Span
	// Unsigned: nobody said which lead was where, so that what was shown, which is not
	// negative, is one way round or the other. Volts alone.
	Unsigned bool
	// Absent is how likely it is that the fault was not there at the time: it comes
	// and goes.
	Absent float64
	// Told: it proves nothing, since nobody's leads were there.
	Told bool
}

// Observation is a reading as evidence.
type Observation struct {
	Reading
	circuit  *Circuit
	setup    Setup
	parts    []suspect.Part // of each element, what was in its place
	model    *model
	idle     *model   // what drives it not driving, where it is driven in pulses
	survey   *survey  // of the state, shared by the readings in it; nil: none
	numbers  []int32  // of each effect its number in the survey
	effects  []done   // by class, from firstEffect on
	varying  []bool   // whether they are unknown by decades
	turning  []bool   // whether what is shown may turn round as they grow
	alone    []*taken // each by itself, by class
	together taken    // what was taken last of several together, with room for the faults
	room     [2][maxFaults]done
	class    map[done]int
	classes  map[suspect.Fault]classed
	first    map[suspect.Part]int // of each part its first element; nil: not asked yet
	memo     map[asked]float64    // how far off
	boxes    map[boxed]suspect.Likely
	beside   map[[3]int]bool // of two faults whether the second is nothing beside the first
	cells    map[spot]cell
	chances  map[[3]int][]float64
	peak     float64
}

const (
	noEffect = iota
	notNamed // something not named takes part
	notDrawn // it is not as drawn
	firstEffect
)

// Observe makes evidence of a reading. parts says of each element what was in its
// place at the time.
func (c *Circuit) Observe(setup Setup, r Reading, parts []suspect.Part) *Observation {
	r.Lead = r.Lead.sane()
	setup.Posts = setup.Posts.sane()
	if limit := 10 * c.System; !(setup.Posts.Hi < limit) { // no battery
		setup.Posts = Span{math.Min(setup.Posts.Lo, limit), limit}
	}
	setup.Bridges = slices.Clone(setup.Bridges)
	for k := range setup.Bridges {
		setup.Bridges[k].Ohms = setup.Bridges[k].Ohms.sane()
	}
	keep := append(append([]int{}, r.Red...), r.Black...)
	if r.Quantity == Amps {
		keep = append(keep, c.Elements[r.Along].From, c.Elements[r.Along].To)
	}
	o := &Observation{Reading: r, circuit: c, setup: setup, parts: parts, class: map[done]int{}, classes: make(map[suspect.Fault]classed, 4*len(parts)), memo: map[asked]float64{}, boxes: map[boxed]suspect.Likely{}, beside: map[[3]int]bool{}, cells: map[spot]cell{}, chances: map[[3]int][]float64{}}
	o.model = c.reduce(&o.setup, keep)
	o.model.cold = r.Quantity == Ohms
	o.model.leads = o.leads(o.model)
	if r.Quantity != Ohms && (r.Lead.Hi <= 0 || r.Lead.Lo >= MeterOhms) {
		o.model.base = c.bare(&o.setup)
	}
	o.survey = c.surveyOf(o)
	if r.Duty.Hi > 0 && r.Duty.Lo < 1 {
		idle := setup
		idle.Position = make([]Position, len(c.Elements))
		for k := range c.Elements {
			idle.Position[k] = o.model.position(k)
			if c.Elements[k].Kind == Output && idle.Position[k] != Gone {
				idle.Position[k] = Open
			}
		}
		o.idle = c.reduce(&idle, keep)
		o.idle.leads = o.leads(o.idle)
	}
	return o
}

// Source implements suspect.Evidence.
func (o *Observation) Source() (id, setup string) { return o.ID, o.Setup }

// Had reports whether the part was in the circuit when the reading was taken.
func (o *Observation) Had(p suspect.Part) bool {
	for _, q := range o.parts {
		if p == q {
			return true
		}
	}
	return false
}

// classed is what a fault is to the reading.
type classed struct {
	class int
	at    suspect.Place
}

// Class implements suspect.Classed: faults in one stretch that do the same.
func (o *Observation) Class(f suspect.Fault) int { return o.classed(f).class }

// Place implements suspect.Drawn: a stretch is a path. Conductors that touch are at two.
func (o *Observation) Place(f suspect.Fault) (class int, at suspect.Place) {
	c := o.classed(f)
	return c.class, c.at
}

func (o *Observation) classed(f suspect.Fault) classed {
	switch f.Part {
	case suspect.NotNamed:
		return classed{class: notNamed}
	case suspect.NotAsDrawn:
		return classed{class: notDrawn}
	}
	f = suspect.Fault{Part: f.Part, Mode: f.Mode}
	c, met := o.classes[f]
	if !met {
		c = o.classify(f)
		o.classes[f] = c
	}
	return c
}

func (o *Observation) classify(f suspect.Fault) classed {
	d, ok := o.done(f)
	if !ok {
		return classed{class: noEffect}
	}
	k, met := o.class[d]
	if !met {
		k = firstEffect + len(o.effects)
		o.class[d] = k
		o.effects, o.varying = append(o.effects, d), append(o.varying, d.varies())
		o.turning = append(o.turning, o.model.turns(d))
	}
	if d.does == toOther || d.does == perhaps {
		return classed{class: k}
	}
	e := o.element(f)
	return classed{k, suspect.Place{Path: 1 + d.stretch, Along: 1 + slices.Index(o.model.stretches[d.stretch].elements, e)}}
}

// done is what the fault did when the reading was taken.
func (o *Observation) done(f suspect.Fault) (done, bool) {
	k := o.element(f)
	if k < 0 {
		return done{}, false
	}
	e := &o.circuit.Elements[k]
	what, ohms := e.effect(f.Mode, o.circuit.high[k])
	switch what {
	case nothing:
		return done{}, false
	case toOther:
		n, _ := f.Mode.Neighbour()
		return o.model.touching(k, n, ohms)
	}
	return done{stretch: o.model.of[k], does: what, ohms: ohms, vague: e.unknown() && f.Mode.Takes()}, true
}

// element is the one that the fault was in when the reading was taken; -1: none.
func (o *Observation) element(f suspect.Fault) int {
	_, touches := f.Mode.Neighbour()
	if o.first == nil {
		o.first = make(map[suspect.Part]int, len(o.parts))
		for k, p := range slices.Backward(o.parts) {
			o.first[p] = k
		}
	}
	first, is := o.first[f.Part]
	if !is {
		return -1
	}
	for k := first; k < len(o.parts); k++ {
		if o.parts[k] == f.Part && (o.model.of[k] >= 0 || touches) && o.circuit.can(k, f.Mode) {
			return k
		}
	}
	return -1
}

// Left implements what package suspect asks of a part that is gone: whether the fault was
// cut off when the reading was taken, so that only a fuse that it blew before shows it.
func (o *Observation) Left(f suspect.Fault) bool {
	k := slices.Index(o.parts, f.Part)
	if k < 0 || o.model.of[k] < 0 {
		return false
	}
	e := &o.circuit.Elements[k]
	return o.model.position(k) == Gone || !o.circuit.Live(&o.setup, e.From, e.To)
}

func (k Kind) has(m suspect.Mode) bool {
	for _, s := range k.Modes() {
		if s.Mode == m {
			return true
		}
	}
	return false
}

// key of a hypothesis of at most three faults: their classes. Two in one stretch are in
// order, as it runs, where that is known.
func (o *Observation) key(h suspect.Hypothesis) (key [3]int, inOrder bool) {
	var at [3]suspect.Place
	for i, f := range h[:min(len(h), len(key))] {
		key[i], at[i] = o.Place(f)
	}
	known, first := at[0].Before(at[1])
	if inOrder = known && len(h) == 2; inOrder && !first {
		key[0], key[1] = key[1], key[0]
	}
	return key, inOrder
}

// oneStretch reports whether the first two faults lie in one stretch.
func (o *Observation) oneStretch(key [3]int) bool {
	if key[0] < firstEffect || key[1] < firstEffect {
		return false
	}
	both := [...]done{o.effects[key[0]-firstEffect], o.effects[key[1]-firstEffect]}
	return unordered(both[:])
}

// doneOf are the faults of the classes, in their order as far as it is known.
func (o *Observation) doneOf(key [3]int, inOrder bool) []done {
	var out []done
	for _, k := range key {
		if k >= firstEffect {
			d := o.effects[k-firstEffect]
			if inOrder {
				d.place = int8(len(out) + 1)
			}
			out = append(out, d)
		}
	}
	return out
}
