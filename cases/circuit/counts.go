package circuit

// LeastHigh is the least high resistance of the element that counts, in ohms: what
// would drop half a volt at the current of the circuit. Compile works it out.
func (c *Circuit) LeastHigh(element int) float64 { return c.high[element] }
