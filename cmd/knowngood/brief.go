package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/client"
	"knowngood.example/client/paper"
)

func newBrief(a *app) *cobra.Command {
	o := new(askFlags)
	cmd := &cobra.Command{
		Use: "brief", Short: "The page to read before touching anything",
		Long: `  knowngood brief
  knowngood brief --as-of 12                       as it would have read then
  knowngood brief --from case.jsonl
  knowngood brief -o pdf > brief.pdf               to print or to send; needs no browser

The concern, what was done by whom, what is proven and what is only believed, what is
temporary, what was spent.` + askHelp,
		Args: cobra.NoArgs, Annotations: map[string]string{formatPDF: ""},
		RunE: func(cmd *cobra.Command, _ []string) error { return runDocument(cmd.Context(), a, o, brief.Brief) },
	}
	o.add(cmd.Flags())
	return cmd
}

// document is the stable shape of a brief or hand-back.
type document struct {
	Title    string    `json:"title"`
	Sections []section `json:"sections"`
	Cautions []string  `json:"cautions"`
}

type section struct {
	Title string `json:"title"`
	Lines []line `json:"lines"`
	// None is said when there are no lines.
	None string `json:"none"`
}

type line struct {
	Mark    string   `json:"mark"`
	Text    string   `json:"text"`
	Entries []uint64 `json:"entries"`
}

// documentRow is a line of a document in ndjson and csv.
type documentRow struct {
	Section string   `json:"section"`
	Mark    string   `json:"mark"`
	Text    string   `json:"text"`
	Entries []uint64 `json:"entries"`
}

// runDocument shows the page that write writes.
func runDocument(ctx context.Context, a *app, o *askFlags, write func(*cases.Judged, cases.Names) *brief.Document) error {
	if a.show.Format == formatPDF && a.show.Terminal {
		return usagef("a PDF is nothing to read on a terminal: send it to a file, as in 'knowngood brief -o pdf > brief.pdf'")
	}
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	doc := write(c.judged(), c.names)
	switch a.show.Format {
	case formatPDF:
		pdf, err := paper.PDF(doc, a.now())
		if err == nil {
			_, err = a.out.Write(pdf)
		}
		return err
	case "json":
		return a.show.One(shape(doc))
	case "ndjson", "csv":
		rows := []documentRow{}
		for _, s := range doc.Sections {
			for _, l := range s.Lines {
				rows = append(rows, documentRow{s.Title, l.Mark, l.Text, append([]uint64{}, l.Entries...)})
			}
		}
		for _, text := range doc.Cautions {
			rows = append(rows, documentRow{"cautions", "", text, []uint64{}})
		}
		return a.show.Write(rows, nil)
	}
	return a.writeDocument(doc)
}

func shape(doc *brief.Document) document {
	out := document{Title: doc.Title, Sections: []section{}, Cautions: append([]string{}, doc.Cautions...)}
	for _, s := range doc.Sections {
		to := section{Title: s.Title, Lines: []line{}, None: s.None}
		for _, l := range s.Lines {
			to.Lines = append(to.Lines, line{l.Mark, l.Text, append([]uint64{}, l.Entries...)})
		}
		out.Sections = append(out.Sections, to)
	}
	return out
}

func (a *app) writeDocument(doc *brief.Document) error {
	p := client.Page{Style: a.show.Style, W: a.out}
	p.Title(doc.Title)
	for _, s := range doc.Sections {
		p.Head(s.Title)
		if len(s.Lines) == 0 {
			p.Text(s.None)
		}
		for _, l := range s.Lines {
			p.Item("-", l.String())
		}
	}
	if len(doc.Cautions) > 0 {
		p.Head("Take care")
		for _, text := range doc.Cautions {
			p.Item("!", text)
		}
	}
	if err := p.Err(); err != nil {
		return fmt.Errorf("cannot write the page: %w", err)
	}
	return nil
}
