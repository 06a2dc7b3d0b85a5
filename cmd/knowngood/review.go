package main

import (
	"context"

	"github.com/spf13/cobra"

	"knowngood.example/cases/review"
	"knowngood.example/client"
)

// findingRow is the stable shape of a finding.
type findingRow struct {
	Rule     string   `json:"rule"`
	Severity string   `json:"severity"`
	Entries  []uint64 `json:"entries"`
	About    []string `json:"about"`
	Why      string   `json:"why"`
	Clears   string   `json:"clears"`
}

func newReview(a *app) *cobra.Command {
	o := new(askFlags)
	var rules bool
	cmd := &cobra.Command{
		Use: "review", Short: "What somebody ought to look at: parts fitted without a test, beliefs nobody tested",
		Long: `  knowngood review
  knowngood review --as-of 12                      as it would have come out then
  knowngood review --rules                         the rules, and the habit behind each` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if rules {
				return runRules(a)
			}
			return runReview(cmd.Context(), a, o)
		},
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&rules, "rules", false, "list the rules instead")
	return cmd
}

func runReview(ctx context.Context, a *app, o *askFlags) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	rows := []findingRow{}
	t := client.Table{Head: []string{"", "Rule", "Entries", "Why", "What would clear it"}, None: "Nothing to look at."}
	for _, f := range review.Run(c.judged()) {
		rows = append(rows, findingRow{f.Rule, f.Severity.String(), append([]uint64{}, f.Entries...), append([]string{}, f.About...), f.Why, f.Clears})
		t.Rows = append(t.Rows, []string{f.Severity.String(), f.Rule, refs(f.Entries), f.Why, f.Clears})
	}
	return a.show.Write(rows, func() client.Table { return t })
}

type ruleRow struct {
	Rule     string `json:"rule"`
	Severity string `json:"severity"`
	Doctrine string `json:"doctrine"`
}

func runRules(a *app) error {
	var rows []ruleRow
	t := client.Table{Head: []string{"Rule", "", "The habit behind it"}}
	for _, r := range review.Rules() {
		rows = append(rows, ruleRow{r.Slug, r.Severity.String(), r.Doctrine})
		t.Rows = append(t.Rows, []string{r.Slug, r.Severity.String(), r.Doctrine})
	}
	return a.show.Write(rows, func() client.Table { return t })
}
