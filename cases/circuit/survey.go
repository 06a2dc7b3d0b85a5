package circuit

import "math"

// survey is a state in which all points are told apart: a draw of it says what a voltmeter
// shows between any two of them, so that it serves all readings of volts in the state. A
// voltmeter changes nothing of it but where it nearly floats; there each reading is drawn
// by itself.
type survey struct {
	m    *model
	seen map[spot]*surveyed // by the numbers of the faults
	does map[done]int32     // the number of each fault, as this model has it
	all  []done
}

// surveyed are the voltages of all nodes; NaN where one nearly floats.
type surveyed struct {
	volts        []float32
	worn         []float32 // nil until somebody asks
	much, little []float32 // with loads of which nobody knows what they draw; nil where there are none
}

const (
	// worthwhile is how many readings in a state there must be before it is surveyed.
	worthwhile = 3
	// firmOhms is the resistance of a node to the posts up to which neither leaks nor the
	// meter's own current count: two millivolts of 12 V.
	firmOhms = 1500
	// unasked and unable are what is kept of a fault instead of its number.
	unasked = 0
	unable  = -1
)

// surveyOf is the survey of a state that the reading shares with others; nil: none.
func (c *Circuit) surveyOf(o *Observation) *survey {
	b := o.model.base
	if b == nil || o.Quantity != Volts || len(o.Red) != 1 || len(o.Black) != 1 || o.Through.Hi > 0 || o.Duty.Hi > 0 && o.Duty.Lo < 1 {
		return nil
	}
	if b.readings++; b.readings < worthwhile {
		return nil
	}
	if b.survey == nil {
		all := make([]int, len(c.Points))
		for n := range all {
			all[n] = n
		}
		b.survey = &survey{m: c.reduce(b.setup, all), seen: map[spot]*surveyed{}, does: map[done]int32{}}
	}
	return b.survey
}

// number looks up the numbers of the faults. Two in one stretch have none: in which order
// they lie goes by the reading.
func (o *Observation) number(t *taken) {
	var faults [3]done
	for len(o.numbers) < len(o.effects) {
		o.numbers = append(o.numbers, unasked)
	}
	for i, k := range t.key {
		if k -= firstEffect; k < 0 {
			continue
		}
		if o.numbers[k] == unasked {
			o.numbers[k] = o.survey.number(o.model, o.effects[k])
		}
		if o.numbers[k] == unable {
			return
		}
		t.numbers[i] = int(o.numbers[k])
		faults[len(t.there.faults)] = o.effects[k]
		t.there.add(o.survey.all[t.numbers[i]-1], min(i, 1))
	}
	t.surveyed = !unordered(faults[:len(t.there.faults)])
}

// number of a fault that another model has in one of its stretches: it lies in the
// element that holds the middle of it.
func (s *survey) number(in *model, d done) int32 {
	if d.stretch < 0 || d.does == toOther || d.does == perhaps {
		return unable
	}
	k, along := in.middle(&in.stretches[d.stretch])
	if d.does == toMinus || d.does == toPlus {
		d.along = along
	}
	if d.stretch = s.m.of[k]; d.stretch < 0 {
		return unable
	}
	n, met := s.does[d]
	if !met {
		s.all = append(s.all, d)
		n = int32(len(s.all))
		s.does[d] = n
	}
	return n
}

// middle is the element that holds the middle of a stretch, and where along it, from its
// From, that is.
func (m *model) middle(st *stretch) (k int, along float64) {
	all := m.c.Elements
	if len(st.elements) == 1 {
		return st.elements[0], 0.5
	}
	first, second := &all[st.elements[0]], &all[st.elements[1]]
	at := first.From // where each begins, seen from the stretch's end a
	if at == second.From || at == second.To {
		at = first.To
	}
	before := 0.0
	for _, k := range st.elements {
		e := &all[k]
		own := e.Ohms.at(0.5)
		if share := (st.nominal/2 - before) / own; share <= 1 {
			if at != e.From {
				share = 1 - share
			}
			return k, math.Max(0, math.Min(share, 1))
		}
		before += own
		at = e.From + e.To - at
	}
	return st.elements[0], 0.5
}

// of is what the survey says of the faults with their unknown parameters known.
func (s *survey) of(t *taken, at [2]uint8) *surveyed {
	in := spotOf(t.numbers, at)
	out, met := s.seen[in]
	if !met {
		out = s.draw(&t.there, at)
		s.seen[in] = out
	}
	return out
}

func (s *survey) draw(p *posed, at [2]uint8) *surveyed {
	m := s.m
	out := &surveyed{volts: m.everywhere(p, at, 0.5, false)}
	if m.unknown {
		out.much, out.little = m.everywhere(p, at, 0.15, false), m.everywhere(p, at, 0.85, false)
	}
	return out
}

// everywhere are the voltages of all nodes in a draw; NaN where a node nearly floats.
func (m *model) everywhere(p *posed, at [2]uint8, loads float64, worn bool) []float32 {
	l, s, f, e := m.warm(assumed{posed: *p, before: true, at: at, leaks: 0.5, little: loads, worn: worn}, minus, minus)
	if n := l.n; len(m.volts) < n || len(m.stiffness) < n {
		m.volts, m.stiffness = make([]float64, n+3), make([]float64, n+3)
	}
	s.volts(f, m.volts, e)
	s.stiffness(f, m.stiffness)
	out := make([]float32, m.n)
	for n := range out {
		if out[n] = float32(m.volts[n]); m.stiffness[n] > firmOhms {
			out[n] = float32(math.NaN())
		}
	}
	return out
}

// surveyed is the cell as the survey of the state has it; false where the reading is to be
// drawn by itself.
func (o *Observation) surveyed(t *taken, at [2]uint8) (cell, bool) {
	if !t.surveyed {
		return cell{}, false
	}
	all := o.survey.of(t, at)
	red, black := o.survey.m.node[o.Red[0]], o.survey.m.node[o.Black[0]]
	between := func(v []float32) float64 { return float64(v[red]) - float64(v[black]) }
	v := between(all.volts)
	if math.IsNaN(v) {
		return cell{}, false
	}
	c := cell{seen: [3]float64{v, v, v}}
	c.worn = o.worn(t, at, func() float64 {
		if all.worn == nil {
			all.worn = o.survey.m.everywhere(&t.there, at, 0.5, true)
		}
		return between(all.worn)
	}, v)
	if all.much != nil {
		c.between(between(all.much), between(all.little), o.Sigma)
	}
	return c, true
}
