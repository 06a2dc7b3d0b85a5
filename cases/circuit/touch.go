package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

// A short from one conductor to another cuts both into pieces, like one to a post, and
// joins them where they are cut. Where along either it lies nobody knows. Where both are
// in one stretch, as the pins of a plug that a feed goes through on its way to a switch and
// back, it passes by what lies between.

const (
	maxFaults = 3
	// maxCuts: a short from one stretch to another cuts both.
	maxCuts = 2 * maxFaults
)

// cut is a stretch that a short, or two faults, cut into pieces.
type cut struct {
	stretch int16 // by stretch and one
	shorts  int16
	// to is the post that each leads to; -1 and less: where the first fault, the second and
	// so on joins two stretches.
	to [maxFaults]int16
}

// cuts of the stretches that the faults cut into pieces.
func (x *assumed) cuts() (out [maxCuts]cut) {
	n := 0
	for i := range x.faults {
		f := &x.faults[i]
		for _, s := range [2]int{f.stretch, f.touches} {
			if !f.at(s) || met(out[:n], s) {
				continue
			}
			shorts, inLine := 0, 0
			var to [maxFaults]int16
			for k := range x.faults {
				switch other := &x.faults[k]; {
				case !other.at(s) || other.passes():
				case other.does == series:
					inLine++
				case other.does == toOther:
					to[shorts] = int16(-1 - k)
					shorts++
				case other.does == toMinus || other.does == toPlus:
					if other.does == toPlus {
						to[shorts] = plus
					}
					shorts++
				}
			}
			if shorts == 2 && x.swapped(s) {
				to[0], to[1] = to[1], to[0]
			}
			// What lies between two that are nearly open floats by itself.
			if shorts > 0 || inLine > 1 && x.bounds {
				out[n] = cut{stretch: int16(s + 1), shorts: int16(shorts), to: to}
				n++
			}
		}
	}
	return out
}

func met(cuts []cut, s int) bool {
	for _, c := range cuts {
		if int(c.stretch) == s+1 {
			return true
		}
	}
	return false
}

// touching is what a short between two elements does in the model's state: the same
// whichever of the two is bad.
func (m *model) touching(k, n int, ohms Span) (done, bool) {
	a, b := m.of[k], m.of[n]
	if a < 0 || b < 0 {
		// A plug that is off holds its pins apart. Wires that are cut or taken off at one end
		// may lie side by side all the same.
		return done{does: perhaps}, m.c.Elements[k].Kind == Wiring && m.c.Elements[n].Kind == Wiring
	}
	return done{stretch: min(a, b), does: toOther, ohms: ohms, touches: max(a, b)}, true
}

// at reports whether the fault lies in the stretch.
func (f *done) at(s int) bool { return f.stretch == s || f.does == toOther && f.touches == s }

// passes reports whether it leads from a stretch to itself.
func (f *done) passes() bool { return f.does == toOther && f.touches == f.stretch }

// swapped reports whether two shorts in the stretch lie in the other order, seen from its
// end a. Two that join the same two stretches may cross: in the other order they lie in one
// of the two alone, since in both it would be as before.
func (x *assumed) swapped(s int) bool {
	if x.before || !x.bounds {
		return false
	}
	f, g := &x.faults[0], &x.faults[1]
	return f.does != toOther || g.does != toOther || f.stretch != g.stretch || f.touches != g.touches || s == f.stretch
}

// untold reports whether nothing is said of what can be shown under the faults: whether one
// does anything is not known, or of three two lie in one stretch and one of them is a short,
// and in how many orders they may lie is not gone through.
func untold(faults []done) bool {
	shorts := false
	for _, f := range faults {
		if f.does == perhaps {
			return true
		}
		shorts = shorts || f.does == toOther || f.does == toMinus || f.does == toPlus
	}
	return shorts && len(faults) > 2 && unordered(faults)
}

// blownBy are the fuses that a fault blows in a draw, the most overloaded first: those through
// which more than they hold flows with every contact closed, since what blew may have
// blown at another time. For bounds each may be blown; which are sure to be is told by
// what holds.
func (m *model) blownBy(x *assumed, f *done) []int {
	if x.bounds || f.passes() {
		return nil
	}
	out, met := m.touchBlew[*f]
	if met {
		return out
	}
	in := m.c.allClosed()
	for _, s := range in.overloads(m.moved(*f, in)) {
		if s = m.of[in.stretches[s].elements[0]]; s >= 0 {
			out = append(out, s)
		}
	}
	m.touchBlew[*f] = out
	return out
}

// overloads are the fuses that the fault blows in a draw, the most overloaded first.
func (m *model) overloads(f done) []int {
	out, met := m.touchBlew[f]
	if met || f.passes() {
		return out
	}
	for {
		m.touchBlew[f] = out
		x := assumed{posed: posed{faults: []done{f}}, before: true, at: [2]uint8{suspect.Fine / 2, suspect.Fine / 2}, leaks: 0.5, little: 0.5}
		m.settle(&x)
		v := m.voltages(&x, m.c.System)
		worst, most := -1, blows
		for s := range m.stretches {
			st := &m.stretches[s]
			if st.kind != Fuse && st.kind != Breaker || contains(out, s) {
				continue
			}
			rating := m.c.Elements[st.elements[0]].Rating
			if rating <= 0 {
				rating = usualRating
			}
			if over := math.Abs(v[st.a]-v[st.b]) * m.usually(&x).siemens[s].Hi / rating; over > most {
				worst, most = s, over
			}
		}
		if worst < 0 {
			return out
		}
		out = append(out, worst)
	}
}
