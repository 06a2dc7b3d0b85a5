package plain

import (
	"fmt"
	"math"
	"strings"
)

// thermal is the thermal voltage in volts at 27 degrees Celsius, at which ngspice
// works unless told otherwise (k T / q with the constants of CODATA 2018).
const thermal = 1.380649e-23 * (273.15 + 27) / 1.602176634e-19

// Deck writes the circuit for ngspice (https://ngspice.sourceforge.io), which run
// with -b prints the voltage of each node as 'v(n) = value'. Isolated nodes and what
// lies between them are left out: ngspice would print a number for them too.
func (c *Circuit) Deck() string {
	var b strings.Builder
	b.WriteString("* a circuit for comparison\n.options reltol=1e-10 vntol=1e-13 abstol=1e-16 gmin=1e-18 itl1=1000\n")
	alone := c.isolated()
	for k := range c.Elements {
		e := &c.Elements[k]
		if alone[e.A] || alone[e.B] || !e.joins() && e.Kind != Current {
			continue
		}
		switch e.Kind {
		case Resistor:
			fmt.Fprintf(&b, "R%d %d %d %.17g\n", k, e.A, e.B, e.Value)
		case Voltage:
			fmt.Fprintf(&b, "V%d %d %d DC %.17g\n", k, e.A, e.B, e.Value)
		case Current:
			fmt.Fprintf(&b, "I%d %d %d DC %.17g\n", k, e.A, e.B, e.Value)
		case Lamp:
			fmt.Fprintf(&b, "B%d %d %d I=V(%d,%d)/(%.17g*max(pow(abs(V(%d,%d))/%.17g,%.17g),%.17g))\n", k, e.A, e.B, e.A, e.B, e.Value, e.A, e.B, e.Rated, e.Power, e.Cold)
		case Diode:
			fmt.Fprintf(&b, "D%d %d %d M%d\n.model M%d D(IS=%.17g N=%.17g)\n", k, e.A, e.B, k, k, math.Exp(-e.Value/e.Slope), e.Slope/thermal)
		}
	}
	b.WriteString(".control\nset numdgt=15\nop\n")
	for k := 1; k < c.Nodes; k++ {
		if !alone[k] {
			fmt.Fprintf(&b, "print v(%d)\n", k)
		}
	}
	b.WriteString("quit\n.endc\n.end\n")
	return b.String()
}
