package check

import (
	"fmt"
	"time"
	"unicode"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// DefaultSkew is how far ahead of now a moment may lie before it is asked about.
const DefaultSkew = 5 * time.Minute

// Context is what the checker is told beside the event. Its zero value leaves out
// the checks that need it.
type Context struct {
	// Now, to tell what lies in the future.
	Now time.Time
	// Skew allowed between clocks; 0: DefaultSkew.
	Skew time.Duration
	// SystemVolts is the vehicle's nominal supply; 0 when not known.
	SystemVolts uint32
	// HighVoltage: the vehicle has a high-voltage system, so hundreds of volts are
	// nothing odd.
	HighVoltage bool
	// Currency the shop counts in.
	Currency string
	// Owner is the shop that opened the case; a correction of the opening cannot
	// change it. Empty when not known.
	Owner string
	// Kind tells what an entry of this stream is: the field number of its kind (0
	// when it is here but that cannot be told), and whether it is here at all. It
	// answers also for events ahead of this one in the same batch and, where they
	// can be told, for entries of earlier cases that the opening copied.
	Kind func(id string) (kind uint32, found bool)
	// Called is what people call an entry that is here: '#9'. Nil: by its id.
	Called func(id string) string
}

// Event checks what an event says, field by field.
func Event(e *eventv1.Event, ctx Context) Report {
	if ctx.Skew == 0 {
		ctx.Skew = DefaultSkew
	}
	r := &Report{}
	c := checker{ctx: ctx, report: r}
	kind := envelope.KindOf(e)
	c.happened("happened", e.GetHappened())
	c.who("by", e.GetBy())
	c.text("typed", e.GetTyped(), maxTyped)
	for i, id := range e.GetBecause() {
		switch path := item("because", i); {
		case id == e.GetId() && id != "":
			c.refuse(path, "is the event itself", "name the entries it rests on")
		default:
			c.refers(path, id, Remark, "an entry of this case")
		}
	}
	if len(e.GetBecause()) > maxList {
		c.refuse("because", fmt.Sprintf("has %d entries", len(e.GetBecause())), fmt.Sprintf("at most %d are kept", maxList))
	}
	c.placed(e, kind)
	if Transition(kind) && e.Expect == nil {
		c.refuse("expect", "is not set", "'"+envelope.KindName(kind)+"' says which place in the case it wants")
	}
	kindAt := len(r.Findings)
	c.kind(e)
	if envelope.Strange(e) {
		// A newer build may say in fields not known here what seems to be missing.
		// The event is kept and proves nothing, so nothing is refused for it.
		for i := range r.Findings[kindAt:] {
			r.Findings[kindAt+i].Severity = Remark
		}
	}
	return *r
}

func (c checker) placed(e *eventv1.Event, kind uint32) {
	if e.GetPlaced() == nil {
		return
	}
	if kind != 0 && envelope.KindName(kind) != "" && !movable(kind) {
		c.refuse("placed", "cannot be given for '"+envelope.KindName(kind)+"'", "it stands where the log takes it")
	}
	if after := e.GetPlaced().GetAfter(); after != "" {
		c.refers("placed.after", after, Remark, "an entry of this case")
	}
}

// checker walks one message. Paths given to its methods are relative to prefix.
type checker struct {
	ctx    Context
	prefix string
	report *Report
}

func (c checker) sub(name string) checker {
	c.prefix = c.path(name)
	return c
}

func (c checker) path(field string) string {
	switch {
	case c.prefix == "":
		return field
	case field == "":
		return c.prefix
	}
	return c.prefix + "." + field
}

func item(field string, i int) string { return fmt.Sprintf("%s[%d]", field, i) }

func (c checker) find(s Severity, field, wrong, right string) {
	c.report.Findings = append(c.report.Findings, Finding{Severity: s, Field: c.path(field), Wrong: wrong, Right: right})
}

func (c checker) refuse(field, wrong, right string) { c.find(Refuse, field, wrong, right) }
func (c checker) ask(field, wrong, right string)    { c.find(AskAgain, field, wrong, right) }
func (c checker) remark(field, wrong, right string) { c.find(Remark, field, wrong, right) }

// needs refuses an empty text.
func (c checker) needs(field, text, right string) {
	if blank(text) {
		c.refuse(field, "is empty", right)
	}
}

func blank(s string) bool {
	for _, r := range s {
		if !unicode.IsSpace(r) {
			return false
		}
	}
	return true
}

// name checks the name of a component or point: one line, at most maxName bytes,
// with something in it that can be compared. Empty is for needs to refuse.
func (c checker) name(field, name string) {
	switch {
	case name == "":
	case notation.Key(name) == "":
		c.refuse(field, fmt.Sprintf("%q has no letter or digit", name), "use the name that people say, as 'fan motor'")
	case len(name) > maxName:
		c.refuse(field, fmt.Sprintf("has %d bytes", len(name)), fmt.Sprintf("a name has at most %d", maxName))
	default:
		for _, r := range name {
			if unicode.IsControl(r) {
				c.refuse(field, fmt.Sprintf("holds the control character %U", r), "a name stands on one line")
				return
			}
		}
	}
}

// mustName is name for a field that may not be empty.
func (c checker) mustName(field, name, right string) {
	if blank(name) {
		c.refuse(field, "is empty", right)
		return
	}
	c.name(field, name)
}

func (c checker) names(field string, names []string) {
	for i, n := range names {
		c.name(item(field, i), n)
	}
}

// mustID refuses what is not a UUIDv7.
func (c checker) mustID(field, id, what string) {
	if id == "" {
		c.refuse(field, "is empty", "it is the id of "+what)
		return
	}
	if err := notation.CheckID(id); err != nil {
		c.refuse(field, err.Error(), "it is the id of "+what)
	}
}

// refers checks the id of an entry: missing says what it is worth when the entry
// is not here; kinds, when given, are what it may be.
func (c checker) refers(field, id string, missing Severity, what string, kinds ...uint32) {
	if err := notation.CheckID(id); err != nil {
		c.refuse(field, err.Error(), "it is the id of "+what)
		return
	}
	if c.ctx.Kind == nil {
		return
	}
	kind, found := c.ctx.Kind(id)
	if !found {
		c.find(missing, field, fmt.Sprintf("%s is not here", id), "it should be "+what)
		return
	}
	name := envelope.KindName(kind)
	if len(kinds) == 0 || name == "" {
		return
	}
	for _, k := range kinds {
		if k == kind {
			return
		}
	}
	called := id
	if c.ctx.Called != nil {
		called = c.ctx.Called(id)
	}
	c.refuse(field, fmt.Sprintf("%s is '%s'", called, name), "it should be "+what)
}

// who checks who did or said something: a person's id, or a plain role. Names of
// people do not belong into signed events; they lie in a table that can be
// erased.
func (c checker) who(field, who string) {
	if who == "" {
		return
	}
	if notation.CheckID(who) == nil {
		return
	}
	if err := Role(who); err != nil {
		c.refuse(field, err.Error(), "write a person's id, or a plain role as 'customer' or 'previous shop'; names of people are kept elsewhere")
	}
}

// Role refuses what is not a short plain role such as 'customer' or 'previous
// shop': letters in lower case, single spaces and hyphens, at most 40 characters.
func Role(s string) error {
	n := 0
	gap := true
	for _, r := range s {
		n++
		switch {
		case r == ' ' || r == '-':
			if gap {
				return fmt.Errorf("%q has a space or hyphen too many", clip(s))
			}
			gap = true
			continue
		case unicode.IsUpper(r) || unicode.IsTitle(r):
			return fmt.Errorf("%q is not a role: it has capital letters", clip(s))
		case !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) || r == unicode.ReplacementChar:
			return fmt.Errorf("%q is not a role: it has %q", clip(s), r)
		}
		gap = false
	}
	switch {
	case n > maxRole:
		return fmt.Errorf("%q is not a role: it has %d characters, at most %d are taken", clip(s), n, maxRole)
	case gap:
		return fmt.Errorf("%q has a space or hyphen too many", clip(s))
	}
	return nil
}

// happened checks when something was done; it cannot be yet to come.
func (c checker) happened(field string, m *eventv1.Moment) {
	if m == nil {
		return
	}
	c.sub(field).walk(m.ProtoReflect())
	c.moment(field, m)
	c.past(field, m)
}

// past asks about a moment that is yet to come, or long ago.
func (c checker) past(field string, m *eventv1.Moment) {
	t, known := notation.TimeOf(m)
	if !known || c.ctx.Now.IsZero() {
		return
	}
	switch {
	case t.After(c.ctx.Now.Add(c.ctx.Skew)):
		c.ask(field, notation.FormatMoment(m, nil)+" lies in the future", "is the clock right? it is "+c.ctx.Now.UTC().Format(time.RFC3339)+" here")
	case t.Before(c.ctx.Now.AddDate(-longAgo, 0, 0)):
		c.ask(field, notation.FormatMoment(m, nil)+" is long ago", "is the clock right?")
	}
}

// clip shortens a text for a message.
func clip(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:57]) + "..."
	}
	return s
}
