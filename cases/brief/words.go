package brief

import (
	"fmt"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// writer writes one page of one case.
type writer struct {
	*cases.Judged
	names cases.Names
}

// phrase joins what is not empty.
type phrase []string

// add adds the words, unless one of the arguments is empty.
func (p *phrase) add(format string, args ...string) {
	all := make([]any, len(args))
	for i, a := range args {
		if a == "" {
			return
		}
		all[i] = a
	}
	*p = append(*p, fmt.Sprintf(format, all...))
}

func (p phrase) String() string { return strings.Join(p, "; ") }

func seqs(steps ...*cases.Step) []uint64 {
	var out []uint64
	for _, s := range steps {
		if s != nil {
			out = append(out, s.Seq)
		}
	}
	return out
}

func refs(steps ...*cases.Step) string {
	var out []string
	for _, s := range steps {
		out = append(out, fmt.Sprintf("#%d", s.Seq))
	}
	return strings.Join(out, ", ")
}

// who did it, and on whose word it stands.
func (w *writer) who(s *cases.Step) string {
	wrote := w.names.Of(s.RecordedBy)
	if shop := w.names.Of(s.Shop); shop != "" {
		wrote += " of " + shop
	}
	switch {
	case s.By == s.RecordedBy:
		return "by " + wrote
	case notation.CheckID(s.By) == nil:
		return fmt.Sprintf("by %s, written down by %s", w.names.Of(s.By), wrote)
	}
	return fmt.Sprintf("by %s, on their word to %s", s.By, wrote)
}

// placed says that an entry was written up later than it was done.
func (w *writer) placed(s *cases.Step) string {
	switch {
	case s.Waiting:
		return "its place is not known here yet"
	case !s.Placed:
		return ""
	case s.Says.GetPlaced().GetBeforeOpening():
		return "entered afterwards, done before the opening"
	}
	return "entered afterwards, done after " + w.Ref(s.Says.GetPlaced().GetAfter())
}

func money(m *eventv1.Money) string {
	if m == nil {
		return ""
	}
	return notation.FormatMoney(m)
}

// purse lists the sums; 'nothing' when there are none.
func purse(p cases.Purse) string {
	var out []string
	for _, m := range p.Moneys() {
		if m.GetMinor() != 0 {
			out = append(out, money(m))
		}
	}
	if len(out) == 0 {
		return "nothing"
	}
	return strings.Join(out, " and ")
}

func moment(m *eventv1.Moment) string {
	if m == nil {
		return ""
	}
	return notation.FormatMoment(m, nil)
}

func answered(a eventv1.Answer, yes, no string) string {
	switch a {
	case eventv1.Answer_ANSWER_YES:
		return yes
	case eventv1.Answer_ANSWER_NO:
		return no
	}
	return ""
}

func tried(n, failures uint32) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("failed %d of %d tries", failures, n)
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
