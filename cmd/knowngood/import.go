package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func newImport(a *app) *cobra.Command {
	o := new(entryFlags)
	var dry bool
	cmd := &cobra.Command{
		Use: "import FILE", Short: "Take in hand-written lines, or pass on the entries of an export",
		Long: `  knowngood import lines.jsonl --dry-run
  knowngood import lines.jsonl
  knowngood import - < lines.jsonl

Each hand-written line is an object, either a line as it would be said aloud

  {"line": "fit new fan motor, guess", "when": "Monday", "by": "previous shop"}

with when, by, because, after and before_opening where wanted, or an event with its
kind, as in the view of an export:

  {"note": {"text": "customer needs it on Friday"}}

They are signed by you. Either every line is taken or none: a line that cannot be
understood is named with what would be right, and nothing is sent. The entries of an
export keep the signatures they have; a server takes those whose devices it knows.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runImport(cmd.Context(), a, o, dry, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&o.ref, "case", "", "the case hand-written lines belong to (default: the one in use)")
	f.BoolVarP(&o.yes, "yes", "y", false, "take values that would be asked about again")
	f.BoolVar(&dry, "dry-run", false, "check every line, record nothing")
	return cmd
}

// importRow is the stable shape of an imported line.
type importRow struct {
	Line  int    `json:"line"`
	State string `json:"state"`
	ID    string `json:"id"`
	Kind  string `json:"kind"`
	Text  string `json:"text"`
}

func runImport(ctx context.Context, a *app, o *entryFlags, dry bool, path string) error {
	text, err := a.slurp(path)
	if err != nil {
		return err
	}
	if bytes.Contains(firstLine(text), []byte(`"knowngood_export"`)) {
		return a.passOn(ctx, path, text, dry)
	}
	d, err := a.sitDown(o.ref)
	if err != nil {
		return err
	}
	events, rows, err := d.handWritten(bytes.NewReader(text), o.yes)
	if err != nil {
		return fmt.Errorf("%s, %w\nnothing of it was recorded", path, err)
	}
	if dry {
		for i := range rows {
			rows[i].State = "would be recorded"
		}
		return a.writeImport(rows)
	}
	if len(events) == 0 {
		return usagef("%s holds no line", path)
	}
	if _, err := d.home.Save(d.who, client.Stamp{Seen: d.copy.Sent, At: d.now().In(d.show.Zone)}, events...); err != nil {
		return err
	}
	d.remember(events)
	return a.sendImported(ctx, rows)
}

func firstLine(text []byte) []byte {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	return line
}

// maxImport is the largest file that is taken in at once.
const maxImport = 64 << 20

func (a *app) slurp(path string) ([]byte, error) {
	in := a.in
	if path != "-" {
		f, err := os.Open(path)
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("%w: there is no file %s", client.ErrNotFound, path)
		}
		if err != nil {
			return nil, fmt.Errorf("cannot read what to import: %w", err)
		}
		defer f.Close()
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, maxImport+1))
	if err != nil {
		return nil, fmt.Errorf("cannot read what to import: %w", err)
	}
	if len(b) > maxImport {
		return nil, usagef("%s has more than %d bytes: import it in parts", path, maxImport)
	}
	return b, nil
}

// handWritten reads hand-written lines into events, in order, each with what the
// ones before it said in mind. The error names the line.
func (d *desk) handWritten(in io.Reader, yes bool) (events []*eventv1.Event, rows []importRow, err error) {
	r := bufio.NewReader(in)
	for n := 1; ; n++ {
		line, err := export.ReadLine(r)
		if errors.Is(err, io.EOF) {
			return events, rows, nil
		}
		if err != nil {
			return nil, nil, usage{export.Problem{Line: n, What: err.Error()}}
		}
		if len(line) == 0 {
			continue
		}
		e, err := d.importLine(line)
		if err == nil {
			e.Id = d.home.NewID()
			err = d.mayRecord(e, yes)
		}
		if err == nil {
			err = d.foldIn(e)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("line %d: %w", n, err)
		}
		d.memory.Carry(e)
		events = append(events, e)
		step := d.copy.Case.ByID(e.GetId())
		rows = append(rows, importRow{Line: n, ID: e.GetId(), Kind: step.KindWords(), Text: d.copy.Case.Describe(step, d.names.Of())})
	}
}

// spoken is a line as it would be said aloud, in a file.
type spoken struct {
	Line          string   `json:"line"`
	When          string   `json:"when"`
	By            string   `json:"by"`
	Because       []string `json:"because"`
	After         string   `json:"after"`
	BeforeOpening bool     `json:"before_opening"`
}

// importLine reads one hand-written line.
func (d *desk) importLine(line []byte) (*eventv1.Event, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(line, &members); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			return nil, usagef("column %d: %v; each line is one JSON object", syntax.Offset, err)
		}
		return nil, usagef("each line is one JSON object, as {\"line\": \"note waiting for parts\"}: %v", err)
	}
	if members["entry"] != nil {
		return nil, usagef("this is a line of an export, without the export's first line")
	}
	if members["line"] != nil {
		dec := json.NewDecoder(bytes.NewReader(line))
		dec.DisallowUnknownFields()
		var s spoken
		if err := dec.Decode(&s); err != nil {
			return nil, usagef("%s; beside line there are when, by, because, after, before_opening", strings.TrimPrefix(err.Error(), "json: "))
		}
		e, err := d.parse("", s.Line)
		if err != nil {
			return nil, err
		}
		return e, d.laid(e, &entryFlags{when: s.When, by: s.By, because: s.Because, after: s.After, beforeOpening: s.BeforeOpening})
	}
	e := new(eventv1.Event)
	if err := protojson.Unmarshal(line, e); err != nil {
		return nil, usagef("not an event: %s", strings.TrimSpace(strings.TrimPrefix(strings.ReplaceAll(err.Error(), "\u00a0", " "), "proto:")))
	}
	if envelope.KindOf(e) == 0 {
		return nil, usagef("it says nothing: a member such as \"note\" or \"reading\" is needed, or \"line\"")
	}
	for field, set := range map[string]bool{
		"id": e.GetId() != "", "device": e.GetDevice() != "", "deviceSeq": e.GetDeviceSeq() != 0, "prev": len(e.GetPrev()) > 0,
		"salt": len(e.GetSalt()) > 0, "recordedBy": e.GetRecordedBy() != "", "observedThrough": e.GetObservedThrough() != 0,
		"stream": e.GetStream() != "" && e.GetStream() != d.stream,
	} {
		if set {
			return nil, usagef("field %s: it is filled in when the line is signed; leave it out", field)
		}
	}
	return e, d.laid(e, &entryFlags{})
}

// passOn sends the entries of an export with the signatures they have.
func (a *app) passOn(ctx context.Context, path string, text []byte, dry bool) error {
	x, err := export.Read(bytes.NewReader(text))
	if err != nil {
		return fmt.Errorf("%s, %w", path, err)
	}
	if v := export.Verify(x, ""); len(v.Problems) > 0 {
		return fmt.Errorf("%s, %w\nnothing of it was sent", path, v.Problems[0])
	}
	copied, err := client.FromExport(x)
	if err != nil {
		return err
	}
	names := (&client.Names{Shops: x.Head.Shops, People: x.Head.People, Devices: x.Head.Devices}).Of()
	var signed []*eventv1.Signed
	var rows []importRow
	for i, step := range copied.Case.Steps() {
		row := importRow{Line: i + 2, State: "would be sent", ID: step.ID, Kind: step.KindWords(), Text: copied.Case.Describe(step, names)}
		if l := x.Lines[i]; len(l.Event) == 0 {
			row.State = "erased, left out"
		} else {
			signed = append(signed, &eventv1.Signed{Event: l.Event, Signature: l.Signature})
		}
		rows = append(rows, row)
	}
	if dry {
		return a.writeImport(rows)
	}
	if err := a.home.Pass(signed); err != nil {
		return err
	}
	return a.sendImported(ctx, rows)
}

func (a *app) sendImported(ctx context.Context, rows []importRow) error {
	sent, pushErr := a.push(ctx)
	refused := 0
	for i := range rows {
		switch id := rows[i].ID; {
		case sent.Taken[id].GetHeldAlready():
			rows[i].State = "held already"
		case sent.Taken[id] != nil:
			rows[i].State = "sent"
		case sent.Refused[id] != nil:
			refused++
			rows[i].State = "refused: " + sent.Refused[id].GetText()
		case pushErr != nil && rows[i].State == "":
			rows[i].State = "waiting to send"
		}
	}
	if err := a.writeImport(rows); err != nil {
		return err
	}
	switch {
	case pushErr != nil && stays(pushErr):
		return notSent{sent.Waiting, pushErr}
	case pushErr != nil:
		return pushErr
	case refused > 0:
		return &client.Refusal{Reason: firstReason(sent), Text: fmt.Sprintf("%s of %d refused; they are kept: 'knowngood sync' lists them", plural(refused, "line", "lines"), len(rows))}
	}
	return nil
}

func (a *app) writeImport(rows []importRow) error {
	if rows == nil {
		rows = []importRow{}
	}
	return a.show.Write(rows, func() client.Table {
		t := client.Table{Head: []string{"Line", "State", "Kind", "Says"}, None: "No line."}
		for _, r := range rows {
			t.Rows = append(t.Rows, []string{fmt.Sprint(r.Line), r.State, r.Kind, r.Text})
		}
		return t
	})
}

func firstReason(sent *client.Sent) boardv1.Reason {
	for _, a := range sent.Refused {
		return a.GetReason()
	}
	return boardv1.Reason_REASON_UNSPECIFIED
}
