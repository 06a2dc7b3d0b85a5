package main

import (
	"context"
	"encoding/hex"
	"fmt"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// entryRow is the stable shape of an entry in timeline, replay and watch.
type entryRow struct {
	Seq        uint64   `json:"seq"`
	Job        int      `json:"job"`
	ID         string   `json:"id"`
	Kind       string   `json:"kind"`
	Happened   string   `json:"happened"`
	Recorded   string   `json:"recorded"`
	By         string   `json:"by"`
	RecordedBy string   `json:"recorded_by"`
	Shop       string   `json:"shop"`
	Text       string   `json:"text"`
	Now        string   `json:"now"`
	Marks      []string `json:"marks"`
	// Word says on whose word it stands, when not the doer's own.
	Word string `json:"word"`
	// Typed is the line it was made from, when it was made from one.
	Typed string `json:"typed"`
	// Hash, SHA-256, of an attached file, in hex.
	Hash string `json:"hash"`
}

func (a *app) row(q *asked, r cases.Row) entryRow {
	s := r.Step
	out := entryRow{
		Seq: s.Seq, Job: s.Job, ID: s.ID, Kind: s.KindWords(), Happened: a.stamp(s.Happened()), Recorded: a.stamp(s.Entry.GetRecorded()),
		By: q.names.Of(s.By), RecordedBy: q.names.Of(s.RecordedBy), Shop: q.names.Of(s.Shop), Text: r.Text, Now: r.Now, Marks: append([]string{}, r.Marks...),
	}
	if s.Seq > q.sent {
		out.Marks = append(out.Marks, "waiting to send")
	}
	if named := s.Says.GetAttachment(); named != nil && q.shop != "" {
		if waits, err := a.home.FileWaits(context.Background(), q.Stream, named.GetSha256()); waits || err != nil {
			out.Marks = append(out.Marks, "its file waits to be sent")
		}
	}
	out.Word, out.Typed, out.Hash = s.OnWhoseWord(q.names), s.Event.GetTyped(), hex.EncodeToString(s.Says.GetAttachment().GetSha256())
	return out
}

// stamp is a moment for machines: RFC 3339 in the chosen zone, a date when only
// the day is known, empty when nothing is.
func (a *app) stamp(m *eventv1.Moment) string {
	t, ok := notation.TimeOf(m)
	if !ok || m.GetPrecision() == eventv1.Precision_PRECISION_DAY {
		return notation.FormatRFC3339(m)
	}
	return t.In(a.show.Zone).Format("2006-01-02T15:04:05Z07:00")
}

func (a *app) entryTable(q *asked, rows []cases.Row) client.Table {
	t := client.Table{Head: []string{"#", "When", "Who", "Shop", "Kind", "Says"}, None: "No entry fits."}
	for _, r := range rows {
		e := a.row(q, r)
		when := r.Step.Happened()
		if when == nil {
			when = r.Step.Entry.GetRecorded()
		}
		says := e.Text
		if e.Now != "" {
			says += " → " + e.Now
		}
		marks := e.Marks
		if r.Step.By != r.Step.RecordedBy {
			marks = append(marks, e.Word)
		}
		if len(marks) > 0 {
			says += " [" + strings.Join(marks, "; ") + "]"
		}
		t.Rows = append(t.Rows, []string{fmt.Sprintf("#%d", e.Seq), a.show.Time(when), e.By, e.Shop, e.Kind, says})
	}
	return t
}

func newTimeline(a *app) *cobra.Command {
	o := new(askFlags)
	cmd := &cobra.Command{
		Use: "timeline [QUERY...]", Short: "What was done, in order: by kind, person, shop, component, point, text, time",
		Long: `  knowngood timeline
  knowngood timeline kind:reading point:"fan C1-2"
  knowngood timeline kind:part-fitted who:"previous shop" order:job
  knowngood timeline since:yesterday brown
  knowngood timeline --as-of 12

Words are looked for in the text. Conditions are kind, who, shop, component, point,
text, since, until (an entry's number or a moment), from, through, as-of (numbers) and
order (log: when the log took it; job: when it was done).` + askHelp,
		RunE: func(cmd *cobra.Command, args []string) error { return runTimeline(cmd.Context(), a, o, args) },
	}
	o.add(cmd.Flags())
	return cmd
}

func runTimeline(ctx context.Context, a *app, o *askFlags, args []string) error {
	a.query = query(args)
	q, err := cases.ParseQuery(a.query, a.show.Now.In(a.show.Zone))
	if err != nil {
		return err
	}
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	if q.AsOf > c.Head() {
		return fmt.Errorf("%w: as-of:%d: the case has %d entries", client.ErrNotFound, q.AsOf, c.Head())
	}
	rows := c.Timeline(q, c.names)
	return a.writeEntries(c, rows)
}

// query joins arguments to a query again: the shell took the quotes of an argument
// with spaces.
func query(args []string) string {
	// A whole query in one argument is left as it is.
	further := regexp.MustCompile(`\s[a-z-]+:`)
	words := make([]string, len(args))
	for i, w := range args {
		if key, value, ok := strings.Cut(w, ":"); ok && strings.Contains(value, " ") && !strings.Contains(w, `"`) && !further.MatchString(value) {
			w = key + `:"` + value + `"`
		}
		words[i] = w
	}
	return typed(words)
}

func (a *app) writeEntries(c *asked, rows []cases.Row) error {
	out := []entryRow{}
	for _, r := range rows {
		out = append(out, a.row(c, r))
	}
	return a.show.Write(out, func() client.Table { return a.entryTable(c, rows) })
}

func newReplay(a *app) *cobra.Command {
	o := new(askFlags)
	var from, through uint64
	var step bool
	cmd := &cobra.Command{
		Use: "replay", Short: "Go through the entries again, with what was known at each",
		Long: `  knowngood replay
  knowngood replay --start 5 --end 12
  knowngood replay --step                          wait for Enter after each entry
  knowngood replay --as-of 12

Beside each entry stands how the case stood once it was in the log: how many
components had a test since they were last fitted, how many beliefs nothing had
settled, how many things were temporary, what the tests said of the suspects, and of
a part fitted the grade of its moment. Of more than 60 components the suspects are
those among the 60 last spoken of.` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runReplay(cmd.Context(), a, o, from, through, step) },
	}
	o.add(cmd.Flags())
	cmd.Flags().Uint64Var(&from, "start", 1, "first entry")
	cmd.Flags().Uint64Var(&through, "end", 0, "last entry (default: the last there is)")
	cmd.Flags().BoolVar(&step, "step", false, "wait for Enter after each entry")
	return cmd
}

// replayRow is the stable shape of a replayed entry.
type replayRow struct {
	entryRow
	Tested       int `json:"tested"`
	OnlyBelieved int `json:"only_believed"`
	Temporary    int `json:"temporary"`
	// Suspects as they stood then, the likeliest first; Grade of the part that the
	// entry fitted.
	Suspects []suspectShare `json:"suspects"`
	Grade    string         `json:"grade"`
}

type suspectShare struct {
	Component   string  `json:"component"`
	Probability float64 `json:"probability"`
}

// String is how it stands in a cell of csv.
func (s suspectShare) String() string { return fmt.Sprintf("%s %.4f", s.Component, s.Probability) }

func runReplay(ctx context.Context, a *app, o *askFlags, from, through uint64, step bool) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	if through == 0 || through > c.Head() {
		through = c.Head()
	}
	if from == 0 || from > through {
		return fmt.Errorf("%w: --start %d: the entries go from 1 to %d", client.ErrNotFound, from, through)
	}
	if step && !a.asks() {
		return usagef("--step needs a terminal to wait at")
	}
	out := []replayRow{}
	table := client.Table{Head: []string{"#", "When", "Who", "Says", "Tested", "Only believed", "Temporary", "Suspects then"}}
	for m, err := range brief.Replay(c.Case, c.names, c.table, from, through) {
		if err = first(ctx.Err(), err); err != nil {
			return err
		}
		n := m.Row.Step.Seq
		row := replayRow{a.row(c, m.Row), m.Tested, m.OnlyBelieved, m.Temporary, []suspectShare{}, m.Grade}
		for _, s := range m.Suspects {
			row.Suspects = append(row.Suspects, suspectShare{s.Component, round(s.Probability)})
		}
		out = append(out, row)
		line := []string{
			fmt.Sprintf("#%d", n), a.show.Time(m.Row.Step.Happened()), row.By, row.Kind + ": " + row.Text,
			fmt.Sprint(row.Tested), fmt.Sprint(row.OnlyBelieved), fmt.Sprint(row.Temporary), sharesWords(row.Suspects),
		}
		if row.Grade != "" {
			line[3] += "; fitted on: " + row.Grade
		}
		if !step {
			table.Rows = append(table.Rows, line)
			continue
		}
		fmt.Fprintln(a.out, client.Clean(strings.Join(line[:4], "  ")))
		fmt.Fprintf(a.out, "    tested %d, only believed %d, temporary %d; suspects: %s\n", row.Tested, row.OnlyBelieved, row.Temporary, client.Clean(sharesWords(row.Suspects)))
		if _, err := a.readLine(); err != nil {
			return nil
		}
	}
	if step {
		return nil
	}
	return a.show.Write(out, func() client.Table { return table })
}
