package main

import (
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases/notation"
	"knowngood.example/client"
)

func newCompletion() *cobra.Command {
	return &cobra.Command{
		Use: "completion SHELL", Short: "Completion for bash, zsh, fish or powershell",
		Long: `  source <(knowngood completion bash)
  knowngood completion zsh > "${fpath[1]}/_knowngood"

Completes commands and flags, and the names of cases, shops, components and points
that this home knows.`,
		Args: cobra.ExactArgs(1), ValidArgs: []string{"bash", "zsh", "fish", "powershell"},
		RunE: func(cmd *cobra.Command, args []string) error {
			root, out := cmd.Root(), cmd.OutOrStdout()
			switch args[0] {
			case "bash":
				return root.GenBashCompletionV2(out, true)
			case "zsh":
				return root.GenZshCompletion(out)
			case "fish":
				return root.GenFishCompletion(out, true)
			case "powershell":
				return root.GenPowerShellCompletionWithDesc(out)
			}
			return usagef("no completion for %q: there are bash, zsh, fish, powershell", args[0])
		},
	}
}

// Completing runs beside somebody typing: it asks no server, and says nothing
// when something is amiss.

// completeFlags completes the values of flags that many commands have.
func (a *app) completeFlags(c *cobra.Command) {
	values := map[string]cobra.CompletionFunc{
		"case": a.completeCase, "output": cobra.FixedCompletions(client.Formats, cobra.ShellCompDirectiveNoFileComp),
	}
	for name, complete := range values {
		if c.LocalFlags().Lookup(name) == nil || name == "output" && c.HasParent() {
			continue
		}
		if err := c.RegisterFlagCompletionFunc(name, complete); err != nil {
			a.warn(err.Error())
		}
	}
	for _, sub := range c.Commands() {
		a.completeFlags(sub)
	}
}

func (a *app) completeCase(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	if a.prepare(cmd) != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	who, err := a.home.Writer(false)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	streams, err := a.home.KeptCases()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var out []string
	for _, stream := range streams {
		if c, err := a.home.Kept(who, stream); err == nil {
			out = append(out, cobra.CompletionWithDesc(notation.ShortID(stream), c.Case.VehicleWords()+", "+c.Case.ConcernWords()))
		}
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}

func (a *app) completeShop(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	if a.prepare(cmd) != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	names, err := a.home.Names()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var out []string
	for _, s := range names.Shops {
		out = append(out, s.Name)
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}

// completeNames completes the components and points of the case, word by word:
// of a name of two words, the second once the first is typed.
func (a *app) completeNames(cmd *cobra.Command, args []string, typing string) ([]string, cobra.ShellCompDirective) {
	if a.prepare(cmd) != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	ref := ""
	if f := cmd.Flags().Lookup("case"); f != nil {
		ref = f.Value.String()
	}
	d, err := a.sitDown(ref)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	seen := make(map[string]bool)
	var out []string
	for _, n := range client.KnownNames(d.copy.Case) {
		words := strings.Fields(n.Text)
		for i, w := range words {
			before := strings.Join(words[:i], " ")
			if strings.HasSuffix(strings.ToLower(typed(args)), strings.ToLower(before)) && strings.HasPrefix(strings.ToLower(w), strings.ToLower(typing)) && !seen[w] {
				seen[w] = true
				out = append(out, cobra.CompletionWithDesc(w, n.Text))
			}
		}
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}
