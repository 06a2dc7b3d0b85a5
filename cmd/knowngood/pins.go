package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases/brief"
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
	for _, p := range brief.Pins(c.Case) {
		row := pinRow(p)
		text := strings.ToLower(fmt.Sprint(row))
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, strings.ToLower(w)) }) {
			rows = append(rows, row)
		}
	}
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
