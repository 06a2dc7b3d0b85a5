package proving

import "knowngood.example/cases/circuit"

// Sketch is a circuit of the shape, 'chain', 'branches', 'shared' or 'loops', of about so
// many elements, as a case of the seed would draw it.
func Sketch(seed uint64, shape string, size int) *circuit.Circuit {
	return draw(throw(seed, 1, "drawing 0"), shape, size).Circuit
}
