package notation

import "strings"

// IsDuty reports whether a value in the unit is a duty: the share of the time for which
// something is driven. What is read in percent between two leads is one, unless it says
// that it is something else.
func IsDuty(unit, quantity string) bool {
	q := Key(quantity)
	return unit == "%" && (q == "" || strings.Contains(q, "duty") || strings.Contains(q, "pulse"))
}
