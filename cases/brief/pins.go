package brief

import (
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
)

// Pin is a point as somebody looks for it at the vehicle.
type Pin struct {
	Point, Pin, Colour string
	// Gauge of the wire there, as written: '1.5 mm2'.
	Gauge      string
	Where, Net string
	// Source is where that was learned: the basis of the drawing and its source.
	Source string
	// Last is the last reading with a lead there, Seq its entry; 0: none.
	Last string
	Seq  uint64
}

// Pins lists the points of a case by name.
func Pins(c *cases.Case) []Pin {
	out := make([]Pin, 0, len(c.Points))
	for _, p := range c.Points {
		out = append(out, pin(c, p))
	}
	slices.SortFunc(out, func(a, b Pin) int { return strings.Compare(notation.Key(a.Point), notation.Key(b.Point)) })
	return out
}

func pin(c *cases.Case, p *cases.Point) Pin {
	out := Pin{Point: p.Name, Pin: p.Seen.GetPin(), Colour: p.Seen.GetColour(), Where: p.Seen.GetWhere()}
	if p.Seen.GetNet() != 0 {
		out.Net = notation.Word(p.Seen.GetNet())
	}
	colour, gauge, by := c.DrawnAt(p)
	out.Gauge = gauge
	if out.Colour == "" {
		out.Colour = colour
	}
	if p.Basis != nil {
		by = p.Basis
	}
	if by != nil {
		d := by.Says.GetCircuitDrawn()
		out.Source = notation.Word(d.GetBasis())
		if d.GetSource() != "" {
			out.Source += ": " + d.GetSource()
		}
	}
	if p.Last != nil && p.Last.Says.GetReading() != nil {
		out.Last, out.Seq = cases.ReadingWords(p.Last.Says.GetReading()), p.Last.Seq
	}
	return out
}
