package picture

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/path"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// fewReadings are as many as are shown of one place, the last ones; of more it is said how
// many there are.
const fewReadings = 4

// Case is the circuits of a case as they are drawn, with what was read on them, what it
// should have been, what is proven, and where the trouble is.
func Case(j *cases.Judged) []Circuit {
	var out []Circuit
	stretch, together := j.Stretch()
	tellings := map[*cases.Step]cases.Telling{}
	for _, t := range j.Tellings() {
		tellings[t.Step] = t
	}
	for i, d := range j.Circuits() {
		c := drawn(j.Case, d)
		c.ID = fmt.Sprintf("circuit-%d", i+1)
		if p := j.Judgement().Probability(suspect.NotAsDrawn); p > 0.2 {
			c.Notes = append(c.Notes, Note{Kind: Off, Text: fmt.Sprintf("The drawing itself may be wrong, %s: trace it at the car before anything is condemned by it.", cases.Percent(p))})
		}
		var here []string
		for k, e := range d.Elements {
			c.Elements[k].Notes = append(c.Elements[k].Notes, verdicts(j, e.Component)...)
			if slices.Contains(stretch, e.Component) {
				c.Elements[k].Suspect = cases.Percent(j.Judgement().Probability(j.Part(e.Component)))
				if !slices.Contains(here, e.Component.Name) {
					here = append(here, e.Component.Name)
				}
			}
		}
		if len(here) > 0 {
			where := "here"
			if len(here) > 1 {
				where += ", one or another of them"
			}
			c.Notes = append(c.Notes, Note{Kind: Trouble, Text: fmt.Sprintf("The trouble is %s (%s): %s.", where, cases.Percent(together), strings.Join(here, ", "))})
		}
		c.readings(j, d, tellings)
		c.Description = c.describe()
		out = append(out, c)
	}
	return out
}

// Sketch is the circuits that a text draws, as package path reads it, with what it lacks.
// The error is a *path.Error and says where the text is no drawing.
func Sketch(text string) ([]Circuit, []path.Problem, error) {
	read, err := path.Read(text)
	if err != nil {
		return nil, nil, err
	}
	// A case of this one entry joins points and names as any other does.
	c, err := cases.Fold("", []cases.Record{{
		Entry: &eventv1.Entry{Seq: 1}, Event: &eventv1.Event{Kind: &eventv1.Event_CircuitDrawn{CircuitDrawn: read.Event}}, Known: true,
	}})
	if err != nil {
		return nil, nil, fmt.Errorf("cannot make a circuit of the drawing: %w", err)
	}
	var out []Circuit
	for i, d := range c.Circuits() {
		s := drawn(c, d)
		s.ID = fmt.Sprintf("sketch-%d", i+1)
		s.Description = s.describe()
		out = append(out, s)
	}
	return out, read.Warnings, nil
}

// drawn is a circuit as it was drawn, with nothing read on it.
func drawn(c *cases.Case, d *cases.Drawn) Circuit {
	out := Circuit{Title: "Circuit as drawn"}
	for _, e := range d.Elements {
		if name := e.By.Says.GetCircuitDrawn().GetName(); name != "" && !strings.Contains(out.Title, name) {
			out.Title += ": " + name
		}
	}
	for _, name := range d.Points {
		out.Points = append(out.Points, Point{Name: name, Says: noted(c, name)})
	}
	for k, e := range d.Elements {
		x := d.Circuit.Elements[k]
		el := Element{Name: e.GetComponent(), Kind: x.Kind, From: x.From, To: x.To, Colour: e.GetColour(), Says: path.Attributes(e.Element)}
		if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_SUPPLY {
			el.Kind = Supply
			out.Points[Plus].Name, out.Points[Minus].Name = "plus of "+e.GetComponent(), "minus of "+e.GetComponent()
		}
		el.Says = slices.DeleteFunc(el.Says, func(s string) bool { return s == el.Colour })
		if !slices.Contains(d.Points, e.GetComponent()) {
			el.Says = append(el.Says, noted(c, e.GetComponent())...) // of a pin, as a point
		}
		if x.Follows >= 0 {
			el.Says = append(el.Says, "closes with "+d.Elements[x.Follows].GetComponent())
		}
		out.Elements = append(out.Elements, el)
	}
	return out
}

// noted is what a drawing notes of a point.
func noted(c *cases.Case, name string) []string {
	at := c.Point(name)
	if at == nil || at.Seen == nil {
		return nil
	}
	pin := ""
	if at.Seen.GetPin() != "" {
		pin = "pin " + at.Seen.GetPin()
	}
	out := []string{at.Seen.GetColour(), pin, at.Seen.GetWhere(), notation.Word(at.Seen.GetNet())}
	return slices.DeleteFunc(out, func(s string) bool { return s == "" })
}

// verdicts are what is proven of a component as it is there now, with the entries it rests
// on and their conditions; ways of being bad that the same entries rule out are said together.
func verdicts(j *cases.Judged, comp *cases.Component) []Note {
	var out []Note
	for _, v := range j.Verdicts(comp) {
		way, by := v.Way, v.Grounds()
		switch v.Standing {
		case cases.ProvenBad:
			text := "proven bad"
			if v.Mode != suspect.AnyWay {
				text += ", " + way
			}
			out = append(out, Note{Bad, text, by})
		case cases.ContradictedStanding:
			out = append(out, Note{Off, "what speaks of it cannot all be true", by})
		case cases.ProvenGood:
			if v.Mode == suspect.AnyWay {
				way = "bad in any way these tests would show"
			}
			if n := len(out) - 1; n >= 0 && out[n].Kind == Proven && out[n].More == by {
				out[n].Text += ", nor " + way
				continue
			}
			out = append(out, Note{Proven, "proven not " + way, by})
		}
	}
	return out
}

// readings notes what was read where its red lead was, or at the element that lay between
// the leads.
func (c *Circuit) readings(j *cases.Judged, d *cases.Drawn, tellings map[*cases.Step]cases.Telling) {
	elements, points := map[int][]Note{}, map[int][]Note{}
	for _, s := range j.Readings {
		r := s.Says.GetReading()
		name := r.GetRed()
		if name == "" {
			name = r.GetAt()
		}
		red, black := j.Place(d, name), j.Place(d, r.GetBlack())
		if len(red) == 0 {
			continue
		}
		note := reading(s, tellings)
		k := slices.IndexFunc(c.Elements, func(e Element) bool {
			return slices.Equal(red, []int{e.From}) && slices.Equal(black, []int{e.To}) || slices.Equal(red, []int{e.To}) && slices.Equal(black, []int{e.From})
		})
		if k >= 0 {
			if comp := d.Elements[k].Component; comp.Present() > 0 && s.Job < comp.Lives[comp.Present()].From.Job {
				now := comp.Lives[comp.Present()]
				note.More = fmt.Sprintf("before it was %s, #%d; ", now.Why, now.From.Seq) + note.More
			}
			elements[k] = append(elements[k], note)
		} else {
			points[red[0]] = append(points[red[0]], note)
		}
	}
	for k, notes := range elements {
		c.Elements[k].Notes = append(c.Elements[k].Notes, last(notes)...)
	}
	for k, notes := range points {
		c.Points[k].Notes = append(c.Points[k].Notes, last(notes)...)
	}
}

func last(notes []Note) []Note {
	more := len(notes) - fewReadings
	if more <= 1 { // to say that one is left out takes the room of one
		return notes
	}
	return append([]Note{{Text: fmt.Sprintf("%d earlier readings here: they are in the timeline", more)}}, notes[more:]...)
}

// reading is a reading as taken, under which conditions, and beside it what it should have
// been.
func reading(s *cases.Step, tellings map[*cases.Step]cases.Telling) Note {
	r := s.Says.GetReading()
	n := Note{Text: fmt.Sprintf("#%d %s", s.Seq, cases.ReadingWords(r))}
	var more []string
	if at := cases.ConditionWords(r.GetConditions()); at != "" {
		more = append(more, at)
	}
	if words := notation.Word(r.GetConcern()); words != "" {
		more = append(more, "concern "+words)
	}
	if t, weighed := tellings[s]; weighed {
		unit := cases.ReadingUnit(r)
		should := ": as it should be"
		if n.Kind = Fits; !t.Fits {
			n.Kind, should = Off, ": not as it should be"
		}
		n.Text += should
		well, best := cases.SpanWords(t.Well, unit), cases.SpanWords(t.Best, unit)
		more = append(more, "with nothing wrong "+well)
		if best != well {
			more = append(more, "by the likeliest explanation "+best)
		}
		if t.Doubt != "" {
			more = append(more, t.Doubt)
		}
	} else {
		more = append(more, "not weighed on this drawing")
	}
	n.More = strings.Join(more, "; ")
	return n
}

// describe says in a sentence or two what the picture shows.
func (c *Circuit) describe() string {
	many := fmt.Sprintf("%d elements", len(c.Elements))
	if len(c.Elements) == 1 {
		many = "1 element"
	}
	text := many + ", from plus at the top to minus at the bottom, branch by branch, with what was read at each place."
	for _, n := range c.Notes {
		text += " " + n.Text
	}
	return text
}
