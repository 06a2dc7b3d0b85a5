package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/client"
)

// nextRow is the stable shape of a test to do next.
type nextRow struct {
	Aim       string `json:"aim"`
	Manner    string `json:"manner"`
	Component string `json:"component"`
	Do        string `json:"do"`
	IfWell    string `json:"if_well"`
	IfBad     string `json:"if_bad"`
	// Fails is how likely it is to show something bad, Bits what it is expected to
	// tell, Minutes what it costs, risk included.
	Fails   float64 `json:"fails"`
	Bits    float64 `json:"bits"`
	Minutes float64 `json:"minutes"`
	// Now is the component's probability; after a good and after a bad result.
	Now       float64  `json:"now"`
	AfterWell float64  `json:"after_well"`
	AfterBad  float64  `json:"after_bad"`
	Tools     []string `json:"tools"`
	Caution   string   `json:"caution"`
}

func newNext(a *app) *cobra.Command {
	o := new(askFlags)
	var all bool
	cmd := &cobra.Command{
		Use: "next", Short: "Which test to do next, what it would settle, what to bring",
		Long: `  knowngood next
  knowngood next --all                             every test that would tell something
  knowngood next --as-of 12

The tests that the trade has for the components named, by what they tell for each
minute, two steps ahead; once one is nearly certain, what shows it by itself; once
something was mended, what checks it. Nothing is advised on high voltage or airbags
until they are recorded as made safe. The maker's service information stands above
all of it.` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runNext(cmd.Context(), a, o, all) },
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&all, "all", false, "list all of them, not the first five")
	return cmd
}

// fewTests are as many as somebody reads before doing one.
const fewTests = 5

func runNext(ctx context.Context, a *app, o *askFlags, all bool) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	next := c.judged().Next()
	rows := []nextRow{}
	for i, v := range next.Advice {
		if i == fewTests && !all {
			break
		}
		rows = append(rows, shapeAdvice(v))
	}
	for _, w := range next.Withheld {
		rows = append(rows, nextRow{Aim: "withheld", Component: w.Component.Name, Do: w.Why, Tools: []string{}})
	}
	if a.show.Format != "table" {
		return a.show.Write(rows, nil)
	}
	p := client.Page{Style: a.show.Style, W: a.out}
	if len(rows) == 0 {
		p.Text("No test of what is named would tell more.")
	}
	for i, r := range rows {
		p.Item("-", adviceWords(i+1, r))
	}
	if next.NotNamed > 0.5 {
		p.Text("Nothing that is named explains it as well as something that is not. Look at what else takes part, and name it.")
	}
	return p.Err()
}

func shapeAdvice(v cases.Advice) nextRow {
	return nextRow{
		Aim: v.Aim.String(), Manner: v.Manner.String(), Component: v.Component.Name, Do: v.Do, IfWell: v.IfWell, IfBad: v.IfBad,
		Fails: round(v.Fails), Bits: round(v.Bits), Minutes: v.Minutes, Now: round(v.NowBad), AfterWell: round(v.AfterWell), AfterBad: round(v.AfterBad),
		Tools: append([]string{}, v.Tools...), Caution: v.Caution,
	}
}

// adviceWords is a test as one would tell it to somebody.
func adviceWords(n int, r nextRow) string {
	if r.Aim == "withheld" {
		return fmt.Sprintf("%s: %s.", r.Component, r.Do)
	}
	text := fmt.Sprintf("%d: %s (%s).", n, r.Do, r.Aim)
	if r.IfWell != "" {
		text += fmt.Sprintf(" Well: %s.", r.IfWell)
		if r.AfterWell > 0 {
			text += fmt.Sprintf(" Then it is %s.", percent(r.AfterWell))
		}
		text += fmt.Sprintf(" Bad: %s.", r.IfBad)
		if r.AfterBad > 0 {
			text += fmt.Sprintf(" Then it is %s; now %s.", percent(r.AfterBad), percent(r.Now))
		}
	}
	if r.Minutes > 0 {
		text += fmt.Sprintf(" About %.0f minutes, risk counted in.", r.Minutes)
	}
	if len(r.Tools) > 0 {
		text += " Bring: " + strings.Join(r.Tools, ", ") + "."
	}
	if r.Caution != "" {
		text += " Caution: " + r.Caution
	}
	return text
}
