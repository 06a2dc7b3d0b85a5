package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"knowngood.example/cases/join"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func newInvite(a *app) *cobra.Command {
	var role, ref string
	cmd := &cobra.Command{
		Use: "invite", Short: "Make a join code for your shop, or for one case",
		Long: `  knowngood invite                                 a technician: sees and writes the shop's cases
  knowngood invite --role owner                    also invites and withdraws
  knowngood invite --case 4f9a2c                   a guest specialist: this case and nothing else

The code works once, for a quarter of an hour. A guest specialist needs no shop of
their own; somebody who has one on this server is better given the case with
'knowngood handoff'. 'knowngood people' lists who is there and which codes are open,
'knowngood withdraw' ends any of them.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if ref != "" && !cmd.Flags().Changed("role") {
				role = "guest-specialist"
			}
			return runInvite(cmd.Context(), a, role, ref)
		},
	}
	cmd.Flags().StringVar(&role, "role", "technician", "owner, technician or guest-specialist")
	cmd.Flags().StringVar(&ref, "case", "", "for this case only: its id or the end of it")
	return cmd
}

// inviteRow is the stable shape of a join code.
type inviteRow struct {
	Code    string `json:"code"`
	Role    string `json:"role"`
	Expires string `json:"expires"`
	Server  string `json:"server"`
	Case    string `json:"case"`
	Link    string `json:"link"`
}

func runInvite(ctx context.Context, a *app, said, ref string) error {
	role, err := choose[eventv1.Role]("role", said)
	if err != nil {
		return err
	}
	req := &boardv1.InviteRequest{Role: role}
	if ref != "" {
		if req.Case, err = a.home.FindCase(ref); err != nil {
			return err
		}
		// What waits may be the opening itself.
		if _, err := a.push(ctx); err != nil {
			return err
		}
	}
	who, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	r, err := conn.Invite(ctx, req)
	if err != nil {
		return client.Explain(err)
	}
	at := r.GetAddresses()
	if len(at) == 0 {
		at = append([]string{who.Server}, who.Others...)
	}
	link := join.Link{Code: r.GetCode(), Pin: who.Pin, Addresses: at}
	if _, err := join.ParseLink(link.String()); err != nil {
		return fmt.Errorf("the server made a link that nobody can use: %w", err)
	}
	row := inviteRow{r.GetCode(), notation.Word(role), a.stamp(r.GetExpires()), at[0], req.GetCase(), link.String()}
	err = a.show.Write([]inviteRow{row}, func() client.Table {
		t := client.Table{Head: []string{"Code", "Role", "Works until"}, Rows: [][]string{{row.Code, row.Role, row.Expires}}}
		if row.Case != "" {
			t.Head, t.Rows[0] = append(t.Head, "For the case"), append(t.Rows[0], notation.ShortID(row.Case))
		}
		return t
	})
	if err == nil && a.show.Format == "table" {
		a.tellJoin("Whoever is invited", link)
	}
	return err
}
