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
	// Red and Black are where the leads go, Expect what a reading shows under each of
	// the leading explanations; empty for other tests.
	Red    string   `json:"red"`
	Black  string   `json:"black"`
	Expect []string `json:"expect"`
	// Unplugged is what is off for it, fuses that are out among them, Loaded the test lamp
	// that is on.
	Unplugged []string `json:"unplugged"`
	Loaded    []string `json:"loaded"`
	// WriteDown is what of that belongs to the entry, as one types it.
	WriteDown string `json:"write_down"`
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
minute, two steps ahead; once one is nearly certain, what shows it by itself, and what
proves most of the rest good; once something was mended, what checks it. Where that tells
more, something is unplugged and a test lamp put on the wire; what it says to write down
with such a reading belongs to it. Nothing is advised on high voltage or airbags until they
are recorded as made safe. The maker's service information stands above all of it.` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runNext(cmd.Context(), a, o, all) },
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&all, "all", false, "list all of them, not the first three")
	return cmd
}

// fewTests are as many as somebody reads before doing one.
const fewTests = 3

func runNext(ctx context.Context, a *app, o *askFlags, all bool) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	j := c.judged()
	next := j.Next()
	rows := []nextRow{}
	more := 0
	for i, v := range next.Advice {
		if i >= fewTests && !all {
			more++
			continue
		}
		rows = append(rows, shapeAdvice(v))
	}
	for _, w := range next.Withheld {
		rows = append(rows, nextRow{Aim: "withheld", Component: w.Component.Name, Do: w.Why, Tools: []string{}, Expect: []string{}, Unplugged: []string{}, Loaded: []string{}})
	}
	if a.show.Format != "table" {
		return a.show.Write(rows, nil)
	}
	return a.writeNext(j, rows, more, next.NotNamed)
}

// writeNext lays the tests out, each with its caution right under it.
func (a *app) writeNext(j *cases.Judged, rows []nextRow, more int, notNamed float64) error {
	p := client.Page{Style: a.show.Style, W: a.out}
	if len(rows) == 0 {
		p.Text(nothingNext(j))
	}
	if j.Closed == nil {
		for _, v := range provenBad(j) {
			p.Text(fmt.Sprintf("%s: %s. Mend it before the rest; what is listed speaks of the doubts that are left.", v.Component.Name, v))
		}
	}
	aim := ""
	for i, r := range rows {
		if r.Aim != aim {
			aim = r.Aim
			p.Head(strings.ToUpper(aim[:1]) + aim[1:])
		}
		if r.Aim == "withheld" {
			p.Item("-", fmt.Sprintf("%s: %s.", r.Component, r.Do))
			continue
		}
		p.Item(fmt.Sprintf("%d.", i+1), r.Do+".")
		for _, words := range adviceWords(r) {
			p.Item("  ", words)
		}
		if r.Caution != "" {
			p.Item(" !", r.Caution)
		}
	}
	if notNamed > likelier && len(j.Components) > 0 {
		p.Head("Nothing that is named explains it as well as something that is not. Look at what else takes part, and name it.")
	}
	if more > 0 {
		p.Head(fmt.Sprintf("%d more would tell something: 'knowngood next --all'.", more))
	}
	return p.Err()
}

// provenBad is what is proven bad and still there, the likeliest first.
func provenBad(j *cases.Judged) (out []cases.Verdict) {
	for _, s := range j.Judgement().Suspects() {
		comp := j.Components[s.Part.Key]
		if comp == nil || j.Part(comp) != s.Part {
			continue
		}
		for _, v := range j.Verdicts(comp) {
			if v.Standing == cases.ProvenBad {
				out = append(out, v)
			}
		}
	}
	return out
}

// likelier than everything named together.
const likelier = 0.5

// nothingNext says why there is no test to do next.
func nothingNext(j *cases.Judged) string {
	switch {
	case j.Closed != nil:
		return fmt.Sprintf("The case is closed (#%d).", j.Closed.Seq)
	case len(j.Components) == 0:
		return noneNamed
	case j.UnseenWords() != "":
		return j.UnseenWords()
	case j.Judgement().NoFault() > likelier:
		return "What is recorded asks for no fault any more."
	}
	return "No test of what is named would tell more."
}

func shapeAdvice(v cases.Advice) nextRow {
	expect := []string{}
	for _, f := range v.Expect {
		expect = append(expect, f.String())
	}
	return nextRow{
		Red: v.Red, Black: v.Black, Expect: expect, Aim: v.Aim.String(), Manner: v.Manner.String(), Component: v.Component.Name, Do: v.Do, IfWell: v.IfWell, IfBad: v.IfBad,
		Fails: round(v.Fails), Bits: round(v.Bits), Minutes: v.Minutes, Now: round(v.NowBad), AfterWell: round(v.AfterWell), AfterBad: round(v.AfterBad),
		Tools: append([]string{}, v.Tools...), Caution: v.Caution,
		Unplugged: append([]string{}, v.Records.GetConditions().GetUnplugged()...), Loaded: append([]string{}, v.Records.GetConditions().GetLoaded()...), WriteDown: v.WriteDown(),
	}
}

// adviceWords are what follows the test itself: what either result would mean,
// how long, with what.
func adviceWords(r nextRow) []string {
	then := func(result, means string, after float64) string {
		text := fmt.Sprintf("%s: %s.", result, means)
		if after > 0 {
			text += fmt.Sprintf(" Then %s that %s is bad.", cases.Percent(after), r.Component)
		}
		return text
	}
	var out []string
	if len(r.Expect) > 0 {
		out = append(out, "To expect: "+strings.Join(r.Expect, "; ")+".")
	}
	if r.WriteDown != "" {
		out = append(out, r.WriteDown)
	}
	if r.IfWell != "" {
		out = append(out, then("Well", r.IfWell, r.AfterWell), then("Bad", r.IfBad, r.AfterBad))
	}
	var last []string
	if r.AfterWell > 0 {
		last = append(last, fmt.Sprintf("Now %s.", cases.Percent(r.Now)))
	}
	if r.Minutes > 0 {
		last = append(last, fmt.Sprintf("About %.0f minutes, risk counted in.", r.Minutes))
	}
	if len(r.Tools) > 0 {
		last = append(last, "Bring: "+strings.Join(r.Tools, ", ")+".")
	}
	if len(last) > 0 {
		out = append(out, strings.Join(last, " "))
	}
	return out
}
