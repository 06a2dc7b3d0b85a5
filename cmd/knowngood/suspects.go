package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
)

// suspectRow is the stable shape of a suspect.
type suspectRow struct {
	Component   string  `json:"component"`
	Probability float64 `json:"probability"`
	// IfLessLikely and IfMoreLikely are what the probability would be if the prior
	// were three times smaller or larger.
	IfLessLikely float64      `json:"if_less_likely"`
	IfMoreLikely float64      `json:"if_more_likely"`
	Verdicts     []verdictRow `json:"verdicts"`
}

type verdictRow struct {
	Standing   string   `json:"standing"`
	Mode       string   `json:"mode"`
	Conditions []string `json:"conditions"`
	Entries    []uint64 `json:"entries"`
	// Since is the entry that the life it speaks of began with, 0: from the beginning;
	// Until the one that ended it, 0: it is the present one.
	Since   uint64 `json:"since"`
	Until   uint64 `json:"until"`
	Assumes string `json:"assumes"`
}

// String is how it stands in a cell of csv.
func (v verdictRow) String() string {
	words := append([]string{v.Standing, v.Mode, refs(v.Entries)}, v.Conditions...)
	return strings.Join(slices.DeleteFunc(words, func(w string) bool { return w == "" }), ", ")
}

type explanationRow struct {
	Parts       []string `json:"parts"`
	Probability float64  `json:"probability"`
}

// notNamed is what something that nobody has named is called.
const notNamed = brief.NotNamed

// notAsDrawn is what a wrong drawing is called.
const notAsDrawn = "not as drawn"

// noneNamed is said where there is nothing to judge.
const noneNamed = "No component is named yet. What is fitted is one, and what a test covers: 'covers fan motor, ground splice'."

// threefold is how much a prior is changed to see how an answer depends on it.
const threefold = 3

func newSuspects(a *app) *cobra.Command {
	o := new(askFlags)
	var explanations, circuit, table bool
	cmd := &cobra.Command{
		Use: "suspects", Short: "Which components may be bad, how likely, and what is proven of each",
		Long: `  knowngood suspects
  knowngood suspects --as-of 12
  knowngood suspects --explanations                which parts, bad together, account for every test
  knowngood suspects --circuit                     each reading on what is drawn: what it rules out, what it leaves
  knowngood suspects --table > judgement.json      the priors, shares and costs it rests on

A probability ranks; it proves nothing. Two may be bad together, so the probabilities
need not come to 100 %. Proven good is one way of being bad that two tests of different
set-ups, each of that one component, exclude under their conditions; proven bad takes
a drop across it under load, a bypass, a bench test, or an exchange that was undone.
Beside each stands what it would be if that kind of component failed three times less
or more often than the table assumes. A file judgement.json beside the settings
changes the table.` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if table {
				return runTable(a)
			}
			return runSuspects(cmd.Context(), a, o, explanations, circuit)
		},
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&explanations, "explanations", false, "list the explanations instead")
	cmd.Flags().BoolVar(&circuit, "circuit", false, "list the readings on what is drawn instead")
	cmd.Flags().BoolVar(&table, "table", false, "print the table that judgements rest on, as JSON")
	return cmd
}

func runTable(a *app) error {
	t, err := a.table()
	if err != nil {
		return err
	}
	e := json.NewEncoder(a.out)
	e.SetIndent("", "  ")
	return e.Encode(t)
}

func runSuspects(ctx context.Context, a *app, o *askFlags, explanations, circuit bool) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	j := c.judged()
	switch {
	case explanations:
		return a.writeExplanations(j)
	case circuit:
		return a.writeCircuit(j)
	}
	rows := []suspectRow{}
	more := 0
	t := client.Table{Head: []string{"Component", "Probability, alone or with another", "If a third / three times as likely", "What stands"}}
	for _, s := range j.Judgement().Suspects() {
		row := suspectRow{
			Component: notNamed, Probability: round(s.Probability), Verdicts: []verdictRow{},
			IfLessLikely: round(suspect.IfPrior(s.Probability, 1.0/threefold)), IfMoreLikely: round(suspect.IfPrior(s.Probability, threefold)),
		}
		words := []string{"whatever nobody has thought of yet"}
		switch s.Part {
		case suspect.NotNamed:
		case suspect.NotAsDrawn:
			row.Component, words = notAsDrawn, []string{"two pins swapped, a stray wire, another state than was said"}
		default:
			comp := j.Components[s.Part.Key]
			if comp == nil || j.Part(comp) != s.Part {
				continue // what is no longer there
			}
			row.Component, words = comp.Name, nil
			for _, v := range slices.Concat(j.Verdicts(comp), j.WereBad(comp)) {
				row.Verdicts = append(row.Verdicts, shapeVerdict(v))
				words = append(words, v.String())
			}
		}
		rows = append(rows, row)
		if comp := j.Components[s.Part.Key]; row.Probability < 0.01 && comp != nil && comp.OnlyDrawn() && len(row.Verdicts) == 1 && row.Verdicts[0].Standing == cases.Untested.String() {
			more++
			continue
		}
		t.Rows = append(t.Rows, []string{
			row.Component, cases.Percent(row.Probability), cases.Percent(row.IfLessLikely) + " / " + cases.Percent(row.IfMoreLikely), strings.Join(words, "; "),
		})
	}
	if a.show.Format != "table" {
		return a.show.Write(rows, nil)
	}
	if err := t.Write(a.out, a.show.Style); err != nil {
		return err
	}
	if more > 0 {
		fmt.Fprintf(a.out, "\nand %d drawn that nobody spoke of, each under 1 %%\n", more)
	}
	if len(j.Components) == 0 {
		fmt.Fprintln(a.out, "\n"+noneNamed)
	}
	var again []uint64
	for _, odd := range j.Again() {
		if s := j.ByID(odd.Entry); s != nil {
			again = append(again, s.Seq)
		}
	}
	if len(again) > 0 {
		fmt.Fprintf(a.out, "\nRead again: %s. Not all of it can be true. Until it is settled nothing counts as proven.\n", refs(again))
	}
	if j.Judgement().Doubted() {
		fmt.Fprintln(a.out, "\nIt may well not be as drawn. Until that is settled nothing counts as proven.")
	}
	return nil
}

func (a *app) writeExplanations(j *cases.Judged) error {
	rows := []explanationRow{}
	t := client.Table{Head: []string{"Bad together", "Probability that it is exactly these"}, None: "Nothing asks for a fault in what is there now: no failing test of it is recorded, and nobody saw the concern since the last change."}
	if words := j.UnseenWords(); words != "" {
		t.None = "Nothing asks for a fault in what is there now: no failing test of it is recorded. " + words
	}
	if len(j.Components) == 0 {
		t.None = noneNamed
	}
	for _, e := range j.Judgement().Explanations() {
		row := explanationRow{Probability: round(e.Probability)}
		for _, p := range e.Parts {
			name := notNamed
			switch p {
			case suspect.NotNamed:
			case suspect.NotAsDrawn:
				name = notAsDrawn
			default:
				name = j.Components[p.Key].Name
			}
			row.Parts = append(row.Parts, name)
		}
		rows = append(rows, row)
		share := cases.Percent(row.Probability)
		if len(row.Parts) > 2 && e.Probability == 0 {
			share = "not weighed: fewer parts explain as much"
		}
		t.Rows = append(t.Rows, []string{strings.Join(row.Parts, " and "), share})
	}
	return a.show.Write(rows, func() client.Table { return t })
}

func shapeVerdict(v cases.Verdict) verdictRow {
	out := verdictRow{Standing: v.Standing.String(), Conditions: append([]string{}, v.Conditions...), Entries: []uint64{}, Assumes: v.Assumes}
	if v.Standing == cases.ProvenGood || v.Standing == cases.ProvenBad {
		out.Mode = v.Way
	}
	for _, s := range v.Entries {
		out.Entries = append(out.Entries, s.Seq)
	}
	if v.Since != nil {
		out.Since = v.Since.Seq
	}
	if v.Until != nil {
		out.Until = v.Until.Seq
	}
	return out
}

// round keeps four digits: more would claim what the table does not know.
func round(p float64) float64 { return math.Round(p*1e4) / 1e4 }

// sharesWords names the three likeliest.
func sharesWords(all []suspectShare) string {
	var out []string
	for _, s := range all[:min(3, len(all))] {
		out = append(out, s.Component+" "+cases.Percent(s.Probability))
	}
	return strings.Join(slices.Clip(out), ", ")
}
