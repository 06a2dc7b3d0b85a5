package cases

import (
	"fmt"
	"slices"
)

// Unseen is the component that was changed last, and the step, when nobody has seen
// the concern since, nor tried in vain to; nil otherwise. Nothing is known then of
// what is there now.
func (c *Case) Unseen() (*Component, *Step) {
	var last *Component
	var at *Step
	for _, comp := range c.Components {
		from := comp.Lives[comp.Present()].From
		if from != nil && (at == nil || from.Job > at.Job || from == at && comp.Key < last.Key) {
			last, at = comp, from
		}
	}
	if at == nil || c.Opening == nil || at.Job < c.Opening.Job || slices.ContainsFunc(c.sighted, func(s *Step) bool { return s.Job >= at.Job }) {
		return nil, nil
	}
	return last, at
}

// UnseenWords says what Unseen found, and what to do about it; empty when it found
// nothing.
func (c *Case) UnseenWords() string {
	comp, at := c.Unseen()
	if comp == nil {
		return ""
	}
	return fmt.Sprintf("The concern has not been seen since the %s was %s (#%d): try it.", comp.Name, comp.Lives[comp.Present()].Why, at.Seq)
}
