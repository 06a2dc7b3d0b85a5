package cases

import (
	"fmt"
	"slices"
	"strings"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Row is one entry as people read it.
type Row struct {
	Step *Step
	// Text says what the entry says, as it was recorded.
	Text string
	// Now says what a correction put in its place; empty otherwise.
	Now string
	// Marks: 'placed afterwards', 'before the opening', 'waits for its place',
	// 'late', 'struck through by #12', 'erased', 'not understood here'.
	Marks []string
}

// Timeline lists the entries that the query asks for.
func (c *Case) Timeline(q Query, names Names) []Row {
	if q.AsOf != 0 && q.AsOf < c.Head() {
		c = c.AsOf(q.AsOf)
	}
	steps := c.log
	if q.JobOrder {
		steps = c.jobs
	}
	var rows []Row
	for _, s := range steps {
		if !q.cheap(c, s, names) {
			continue
		}
		r := c.Row(s, names)
		if q.says(r) {
			rows = append(rows, r)
		}
	}
	return rows
}

// Row is the entry as people read it.
func (c *Case) Row(s *Step, names Names) Row {
	r := Row{Step: s, Text: c.Describe(s, names), Marks: c.marks(s)}
	if s.StruckBy != nil {
		r.Now = c.DescribeNow(s, names)
	}
	return r
}

func (c *Case) marks(s *Step) []string {
	var m []string
	if s.Placed {
		if p := s.placement(); p.GetBeforeOpening() {
			m = append(m, "placed afterwards: before the opening")
		} else {
			m = append(m, "placed afterwards: after "+c.Ref(p.GetAfter()))
		}
	}
	if s.Waiting {
		m = append(m, "waits for its place: after "+c.Ref(s.placement().GetAfter()))
	}
	if s.Unseen > 0 {
		m = append(m, fmt.Sprintf("late: its writer had not seen %d earlier", s.Unseen))
	}
	switch {
	case s.Erased():
		m = append(m, "erased")
	case s.StruckBy != nil && s.Says == nil:
		m = append(m, "withdrawn by "+c.Ref(s.StruckBy.ID))
	case s.StruckBy != nil:
		m = append(m, "corrected by "+c.Ref(s.StruckBy.ID))
	case !s.Known || s.Strange:
		m = append(m, "not understood here")
	}
	return m
}

// OnWhoseWord says who vouches for what the entry says, when that is not the
// person who did it writing it down: 'told by customer', 'written by Mara for
// previous shop'. Empty otherwise.
func (s *Step) OnWhoseWord(names Names) string {
	e := s.Says
	if e == nil {
		e = s.Event
	}
	var l []string
	if s.By != s.RecordedBy {
		l = append(l, "written by "+names.Of(s.RecordedBy)+" for "+names.Of(s.By))
	}
	if told := ToldBy(e.GetBelief(), names); told != "" {
		l = append(l, told)
	}
	if by := e.GetConcernStated().GetSaidBy(); by != "" {
		l = append(l, "said by "+by)
	}
	return strings.Join(l, "; ")
}

// ToldBy says who told what is believed: 'told by them'. Empty where nobody is named.
func ToldBy(b *eventv1.Belief, names Names) string {
	if b.GetToldBy() == "" {
		return ""
	}
	return "told by " + them(names.Of(b.GetToldBy()))
}

// cheap is the part of a query that needs no text.
func (q *Query) cheap(c *Case, s *Step, names Names) bool {
	switch {
	case s.Seq < q.From, q.Through != 0 && s.Seq > q.Through,
		len(q.Kinds) > 0 && !slices.Contains(q.Kinds, s.KindWords()),
		len(q.Who) > 0 && !named(q.Who, names, s.By, s.RecordedBy),
		len(q.Shops) > 0 && !named(q.Shops, names, s.Shop),
		q.Since != nil && !within(s, q.Since, false), q.Until != nil && !within(s, q.Until, true):
		return false
	}
	for _, name := range q.Components {
		if comp := c.Component(name); comp == nil || !slices.Contains(comp.Steps, s) {
			return false
		}
	}
	for _, name := range q.Points {
		if p := c.Point(name); p == nil || !slices.Contains(p.Steps, s) {
			return false
		}
	}
	return true
}

// named reports whether any of the ids is wanted: by id, by its end, by part of
// the name, or by role.
func named(want []string, names Names, ids ...string) bool {
	for _, w := range want {
		w = strings.ToLower(w)
		for _, id := range ids {
			if id == "" {
				continue
			}
			name := strings.ToLower(names.Of(id))
			if id == w || strings.Contains(name, w) || len(w) >= 6 && strings.HasSuffix(id, strings.TrimPrefix(w, "…")) {
				return true
			}
		}
	}
	return false
}

// within holds the moment a step happened, or was recorded when nobody said,
// against a limit.
func within(s *Step, limit *eventv1.Moment, until bool) bool {
	m := s.Happened()
	if !dated(m) {
		m = s.Entry.GetRecorded()
	}
	if until {
		return m.GetUnixSeconds() <= limit.GetUnixSeconds()
	}
	return m.GetUnixSeconds() >= limit.GetUnixSeconds()
}

// says is the part of a query that looks at the text.
func (q *Query) says(r Row) bool {
	if len(q.Words) == 0 {
		return true
	}
	text := strings.ToLower(r.Step.KindWords() + " " + r.Text + " " + r.Now + " " + strings.Join(r.Marks, " "))
	for _, w := range q.Words {
		if !strings.Contains(text, strings.ToLower(w)) {
			return false
		}
	}
	return true
}
