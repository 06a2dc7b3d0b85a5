package quick

// Examples are lines that are understood, one or two of each kind, for help
// texts.
func Examples() []string {
	var out []string
	for _, g := range grammars() {
		out = append(out, g.example)
	}
	return out
}
