package main

import (
	"fmt"
	"math"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
)

// tellingRow is the stable shape of a reading on a drawn circuit.
type tellingRow struct {
	Seq     uint64 `json:"seq"`
	Reading string `json:"reading"`
	// Unit of what is foretold; Low and High with nothing wrong, BestLow and BestHigh
	// by the likeliest explanation.
	Unit     string  `json:"unit"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	BestLow  float64 `json:"best_low"`
	BestHigh float64 `json:"best_high"`
	// Fits: it is as it should be.
	Fits bool `json:"fits"`
	// RulesOut and Leaves name a way of being bad and components in each item.
	RulesOut []string `json:"rules_out"`
	Leaves   []string `json:"leaves"`
	Doubt    string   `json:"doubt"`
}

func shapeTelling(t cases.Telling) tellingRow {
	r := t.Step.Says.GetReading()
	out := tellingRow{
		Seq: t.Step.Seq, Reading: cases.ReadingWords(r), Unit: cases.ReadingUnit(r), Fits: t.Fits, Doubt: t.Doubt,
		Low: round(finite(t.Well.Lo)), High: round(finite(t.Well.Hi)), BestLow: round(finite(t.Best.Lo)), BestHigh: round(finite(t.Best.Hi)),
		RulesOut: []string{}, Leaves: []string{},
	}
	if c := cases.ConditionWords(r.GetConditions()); c != "" {
		out.Reading += "; " + c
	}
	for _, x := range t.RulesOut {
		out.RulesOut = append(out.RulesOut, t.Words(x))
	}
	for _, x := range t.Leaves {
		out.Leaves = append(out.Leaves, t.Words(x))
	}
	return out
}

// finite: JSON has no infinity; what an ohmmeter cannot show is as much.
func finite(v float64) float64 { return math.Max(math.Min(v, 1e12), -1e12) }

// writeCircuit shows each reading on what is drawn: what it should have been, what
// it rules out, and what it leaves.
func (a *app) writeCircuit(j *cases.Judged) error {
	rows := []tellingRow{}
	tellings := j.Tellings()
	for _, t := range tellings {
		rows = append(rows, shapeTelling(t))
	}
	if a.show.Format != "table" {
		return a.show.Write(rows, nil)
	}
	p := client.Page{Style: a.show.Style, W: a.out}
	switch {
	case len(j.Circuits()) == 0:
		p.Text("No circuit is drawn yet: 'knowngood draw'.")
	case len(rows) == 0:
		p.Text("No reading on what is drawn. A lead at a point that is not drawn tells nothing of the circuit; 'knowngood pins' lists the points.")
	}
	if share := j.Judgement().Probability(suspect.NotAsDrawn); share > 0.2 {
		p.Text(fmt.Sprintf("The drawing itself may be wrong (%s): trace it at the car before anything is condemned by it.", cases.Percent(share)))
	}
	if stretch, together := j.Stretch(); len(stretch) > 0 {
		var names []string
		for _, c := range stretch {
			names = append(names, c.Name)
		}
		p.Text(fmt.Sprintf("The trouble is here, one or another of them (%s): %s.", cases.Percent(together), strings.Join(names, ", ")))
	}
	for i, r := range rows {
		p.Head(fmt.Sprintf("#%d %s", r.Seq, r.Reading))
		should := "As it should be"
		if !r.Fits {
			should = "Not as it should be"
		}
		well, best := cases.SpanWords(tellings[i].Well, r.Unit), cases.SpanWords(tellings[i].Best, r.Unit)
		if best != well {
			best = "; by the likeliest explanation " + best
		} else {
			best = ""
		}
		p.Item("-", fmt.Sprintf("%s: with nothing wrong %s%s.", should, well, best))
		if r.Doubt != "" {
			p.Item("-", r.Doubt+".")
		}
		for _, words := range tellingWords(r) {
			p.Item("-", words)
		}
	}
	return p.Err()
}

// tellingWords say what the reading is worth. One that is as it should be clears
// some faults and leaves others; one that is not takes one of those it leaves.
func tellingWords(r tellingRow) []string {
	rules, leaves := strings.Join(r.RulesOut, "; "), strings.Join(r.Leaves, "; ")
	switch {
	case !r.Fits && leaves == "":
		return []string{"No single fault of what is drawn shows that: two at once, or the drawing is wrong."}
	case !r.Fits:
		return []string{"As the only thing wrong it takes one of these: " + leaves + "."}
	case rules == "":
		return []string{"Rules out nothing by itself."}
	case leaves == "":
		return []string{"Rules out " + rules + "."}
	}
	return []string{"Rules out " + rules + ".", "Leaves in doubt " + leaves + "."}
}
