package picture

import (
	"fmt"

	"knowngood.example/cases/circuit"
)

// The symbols are drawn after those of IEC 60617 as they are commonly known: a rectangle is
// what resists, with its line going through it a fuse; a circle with a cross a lamp. Each
// stays within half to each side and tall up and down of its middle.

// shape gives an item the symbol of its element, and says how far up and down from its
// middle the strand meets it. against: the strand passes it from To to From; last: it is
// the ground joint that ends a strand.
func (l *layout) shape(it *item, e Element, against, last bool) (up, down float64) {
	draw := func(reach float64, shape func(x, y float64) []string) (float64, float64) {
		it.shape = shape
		return reach, reach
	}
	switch e.Kind {
	case circuit.Wiring:
		return draw(0, nil)
	case circuit.Contact:
		return draw(8, contact)
	case circuit.Splice:
		return draw(0, func(x, y float64) []string { return []string{disc(x, y, 4.5)} })
	case circuit.Ground:
		if last {
			it.shape = grounded
			return 2, 2
		}
		return draw(0, func(x, y float64) []string { return []string{ringed(x, y, 5), disc(x, y, 2)} })
	case circuit.Switch:
		return draw(12, blade)
	case circuit.Breaker:
		return draw(12, func(x, y float64) []string {
			return append(blade(x, y), stroke("M %s %s L %s %s M %s %s L %s %s", x-4, y-16+4, x+4, y-8+4, x-4, y-8+4, x+4, y-16+4))
		})
	case circuit.Fuse:
		return draw(13, func(x, y float64) []string {
			return []string{box(x, y, 6, 13), stroke("M %s %s L %s %s", x, y-13, x, y+13)}
		})
	case circuit.Lamp:
		return draw(11, func(x, y float64) []string {
			return []string{ringed(x, y, 11), stroke("M %s %s L %s %s M %s %s L %s %s", x-7.8, y-7.8, x+7.8, y+7.8, x-7.8, y+7.8, x+7.8, y-7.8)}
		})
	case circuit.Motor:
		return draw(11, func(x, y float64) []string {
			return []string{ringed(x, y, 11), stroke("M %s %s L %s %s L %s %s L %s %s L %s %s", x-5, y+5, x-5, y-5, x, y+2, x+5, y-5, x+5, y+5)}
		})
	case circuit.Coil:
		return draw(8, func(x, y float64) []string {
			return []string{box(x, y, 12, 8), stroke("M %s %s L %s %s", x-6, y+8, x+6, y-8)}
		})
	case circuit.Resistor:
		return draw(13, func(x, y float64) []string { return []string{box(x, y, 5, 13)} })
	case circuit.Diode:
		return draw(7, func(x, y float64) []string {
			if against {
				return []string{stroke("M %s %s L %s %s L %s %s Z M %s %s L %s %s", x-8, y+7, x+8, y+7, x, y-7, x-8, y-7, x+8, y-7)}
			}
			return []string{stroke("M %s %s L %s %s L %s %s Z M %s %s L %s %s", x-8, y-7, x+8, y-7, x, y+7, x-8, y+7, x+8, y+7)}
		})
	case circuit.Output:
		return draw(12, func(x, y float64) []string {
			return []string{box(x, y, 12, 12), stroke("M %s %s L %s %s L %s %s Z", x-6, y-6, x+6, y-6, x, y+6)}
		})
	case Supply:
		return draw(11, func(x, y float64) []string {
			return []string{ringed(x, y, 11), stroke("M %s %s L %s %s M %s %s L %s %s M %s %s L %s %s", x-4, y-5, x+4, y-5, x, y-9, x, y-1, x-4, y+5, x+4, y+5)}
		})
	}
	return draw(11, func(x, y float64) []string {
		return []string{box(x, y, 11, 11), stroke("M %s %s L %s %s M %s %s L %s %s M %s %s L %s %s", x-5, y-11, x-5, y+11, x, y-11, x, y+11, x+5, y-11, x+5, y+11)}
	})
}

// contact is a pin in its socket.
func contact(x, y float64) []string {
	return []string{stroke("M %s %s A 9 9 0 0 1 %s %s", x-9, y+1, x+9, y+1), `<rect x="` + px(x-2.5) + `" y="` + px(y-2) + `" width="5" height="10" fill="currentColor"/>`}
}

// blade is a contact that is drawn open.
func blade(x, y float64) []string {
	return []string{disc(x, y-10, 2), disc(x, y+10, 2), stroke("M %s %s L %s %s", x, y+10, x+9, y-8)}
}

// grounded is where the vehicle's metal is the way back.
func grounded(x, y float64) []string {
	return []string{stroke("M %s %s L %s %s M %s %s L %s %s M %s %s L %s %s", x-11, y, x+11, y, x-7, y+5, x+7, y+5, x-3, y+10, x+3, y+10)}
}

func dot(x, y float64) []string { return []string{disc(x, y, 3)} }

// ring is a post.
func ring(x, y float64) []string { return []string{disc(x, y, 6)} }

func disc(x, y, r float64) string {
	return fmt.Sprintf(`<circle cx="%s" cy="%s" r="%s" fill="currentColor"/>`, px(x), px(y), px(r))
}

func ringed(x, y, r float64) string {
	return fmt.Sprintf(`<circle cx="%s" cy="%s" r="%s"/>`, px(x), px(y), px(r))
}

func box(x, y, w, h float64) string {
	return fmt.Sprintf(`<rect x="%s" y="%s" width="%s" height="%s"/>`, px(x-w), px(y-h), px(2*w), px(2*h))
}

func stroke(form string, at ...float64) string {
	all := make([]any, len(at))
	for i, v := range at {
		all[i] = px(v)
	}
	return `<path d="` + fmt.Sprintf(form, all...) + `"/>`
}
