package circuit

import "knowngood.example/cases/suspect"

// taken is a hypothesis as a reading takes it: by its classes.
type taken struct {
	key    [3]int
	faults []placed
	// numbers are those of the faults in the survey of the state, where it has all of them.
	numbers  [3]int
	placed   []placed // and as the survey has them
	surveyed bool
	room     [2][maxFaults]placed // of faults and placed
	// Of one fault alone, or none, what was worked out already: what is shown at a value of
	// its parameter, and what the reading makes of all of them.
	spots []spotted
	whole *suspect.Likely
}

type spotted struct {
	at uint8
	cell
}

// isAlone reports whether it is one fault or none.
func isAlone(key [3]int) bool { return key[1]+key[2] == 0 }

func (o *Observation) take(key [3]int) *taken {
	alone := isAlone(key)
	if alone && key[0] < len(o.alone) && o.alone[key[0]] != nil {
		return o.alone[key[0]]
	}
	t := &o.together
	if alone {
		t = new(taken)
	}
	*t = taken{key: key}
	t.faults, t.placed = t.room[0][:0], t.room[1][:0]
	for i, k := range key {
		if k >= firstEffect && o.effects[k-firstEffect].does != perhaps {
			t.faults = append(t.faults, placed{o.effects[k-firstEffect], min(i, 1)})
		}
	}
	if o.survey != nil {
		o.number(t)
	}
	if alone {
		for key[0] >= len(o.alone) {
			o.alone = append(o.alone, nil)
		}
		o.alone[key[0]] = t
	}
	return t
}
