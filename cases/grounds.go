package cases

import (
	"fmt"
	"slices"
	"strings"
)

// Grounds are the entries that the verdict rests on, with their conditions, said once for
// those made under the same: '#4, #5 key on; #9 cranking'.
func (v Verdict) Grounds() string {
	var said, by []string
	for i, s := range v.Entries {
		at := slices.Index(said, v.Conditions[i])
		if at < 0 {
			at, said, by = len(said), append(said, v.Conditions[i]), append(by, "")
		}
		if by[at] != "" {
			by[at] += ", "
		}
		by[at] += fmt.Sprintf("#%d", s.Seq)
	}
	for i := range by {
		by[i] += " " + said[i]
	}
	return strings.Join(by, "; ")
}

// rest names the entries the verdict rests on, and the conditions of each.
func (v *Verdict) rest(c *Case, ids []string) {
	for _, id := range ids {
		s := c.ByID(id)
		if s == nil || slices.Contains(v.Entries, s) {
			continue
		}
		v.Entries = append(v.Entries, s)
		words := ConditionWords(judgedConditions(s).conditions)
		if words == "" {
			words = "conditions not said"
		}
		v.Conditions = append(v.Conditions, words)
	}
}
