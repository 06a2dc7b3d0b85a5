package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
)

// pinRow is the stable shape of a point.
type pinRow struct {
	Point  string `json:"point"`
	Pin    string `json:"pin"`
	Colour string `json:"colour"`
	// Gauge of the wire there, as written: '1.5 mm2'.
	Gauge string `json:"gauge"`
	Where string `json:"where"`
	Net   string `json:"net"`
	// Source is where that was learned: the basis of the drawing and its source.
	Source string `json:"source"`
	// Last is the last reading with a lead there, Seq its entry; 0: none.
	Last string `json:"last"`
	Seq  uint64 `json:"seq"`
}

func newPins(a *app) *cobra.Command {
	o := new(askFlags)
	cmd := &cobra.Command{
		Use: "pins [WORDS...]", Short: "Points with colour, place and last reading, so that nobody looks them up three times",
		Long: `  knowngood pins
  knowngood pins fan                               those with 'fan' in them` + askHelp,
		RunE: func(cmd *cobra.Command, args []string) error { return runPins(cmd.Context(), a, o, args) },
	}
	o.add(cmd.Flags())
	return cmd
}

func runPins(ctx context.Context, a *app, o *askFlags, words []string) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	rows := []pinRow{}
	for _, p := range c.Points {
		row := pin(c.Case, p)
		text := strings.ToLower(fmt.Sprint(row))
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, strings.ToLower(w)) }) {
			rows = append(rows, row)
		}
	}
	slices.SortFunc(rows, func(a, b pinRow) int { return strings.Compare(notation.Key(a.Point), notation.Key(b.Point)) })
	t := client.Table{Head: []string{"Point", "Colour", "Size", "Where", "From", "Last reading"}, None: "No point is known yet: readings and drawings bring them."}
	for _, r := range rows {
		last := r.Last
		if r.Seq > 0 {
			last += fmt.Sprintf(" (#%d)", r.Seq)
		}
		t.Rows = append(t.Rows, []string{r.Point, r.Colour, r.Gauge, r.Where, r.Source, last})
	}
	return a.show.Write(rows, func() client.Table { return t })
}

func pin(c *cases.Case, p *cases.Point) pinRow {
	row := pinRow{Point: p.Name, Pin: p.Seen.GetPin(), Colour: p.Seen.GetColour(), Where: p.Seen.GetWhere()}
	if p.Seen.GetNet() != 0 {
		row.Net = notation.Word(p.Seen.GetNet())
	}
	colour, gauge, by := c.DrawnAt(p)
	row.Gauge = gauge
	if row.Colour == "" {
		row.Colour = colour
	}
	if p.Basis != nil {
		by = p.Basis
	}
	if by != nil {
		d := by.Says.GetCircuitDrawn()
		row.Source = notation.Word(d.GetBasis())
		if d.GetSource() != "" {
			row.Source += ": " + d.GetSource()
		}
	}
	if p.Last != nil && p.Last.Says.GetReading() != nil {
		row.Last, row.Seq = cases.ReadingWords(p.Last.Says.GetReading()), p.Last.Seq
	}
	return row
}
