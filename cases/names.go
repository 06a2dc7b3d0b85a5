package cases

import (
	"strconv"

	"knowngood.example/cases/notation"
)

// Names maps ids of shops and people to what they are called. Names lie in a
// table that can be erased, never in the log.
type Names map[string]string

// Of is the name of an id; a plain role stays as it is, and an id without a name
// is shown by its end.
func (n Names) Of(id string) string {
	switch name := n[id]; {
	case name != "":
		return name
	case notation.CheckID(id) == nil:
		return "…" + notation.ShortID(id)
	}
	return id
}

func itoa(n uint64) string { return strconv.FormatUint(n, 10) }
