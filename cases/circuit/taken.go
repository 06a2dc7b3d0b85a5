package circuit

import "knowngood.example/cases/suspect"

// taken is a hypothesis as a reading takes it: by its classes.
type taken struct {
	key [3]int
	posed
	// numbers are those of the faults in the survey of the state, where it has all of them,
	// and there they are as it has them.
	numbers  [3]int
	there    posed
	surveyed bool
	// Of one fault alone, or none, what was worked out already: what is shown at a value of
	// its parameter, and what the reading makes of all of them.
	spots []spotted
	whole suspect.Likely
	known bool // whether whole was worked out
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
		room := new(struct {
			taken
			of [2]done
		})
		t = &room.taken
		t.faults, t.there.faults = room.of[:0:1], room.of[1:1]
	} else {
		*t = taken{posed: posed{faults: o.room[0][:0]}, there: posed{faults: o.room[1][:0]}}
	}
	t.key = key
	for i, k := range key {
		if k >= firstEffect && o.effects[k-firstEffect].does != perhaps {
			t.add(o.effects[k-firstEffect], min(i, 1))
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
