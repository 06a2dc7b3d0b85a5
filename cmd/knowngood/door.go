package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	"knowngood.example/client/web"
	"knowngood.example/server"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// serverDoor lets tablets in to the server of this process: a session is the token of a
// device whose key the server holds. Who may do what, the server decides.
type serverDoor struct {
	*server.Server
	table *suspect.Table
}

// Enter implements web.Door.
func (d serverDoor) Enter(ctx context.Context, session, from string) (*web.Who, web.Desk, error) {
	if session == "" {
		return nil, nil, web.ErrStranger
	}
	c, err := d.Known(ctx, session, from, 0)
	if err != nil {
		return nil, nil, explain(err)
	}
	me, err := d.WhoAmI(ctx, c)
	if err != nil {
		return nil, nil, explain(err)
	}
	r, err := d.People(ctx, c)
	if err != nil {
		return nil, nil, explain(err)
	}
	known := new(client.Names)
	known.Heard(r)
	names := known.Of()
	who := &web.Who{
		Person: c.Person, Device: c.Device, Shop: c.Shop, Name: names.Of(c.Person), ShopName: me.GetShopName(), Currency: me.GetCurrency(), Names: names, Known: known,
	}
	return who, serverDesk{d, c}, nil
}

// Join implements web.Door.
func (d serverDoor) Join(ctx context.Context, from, code, name string) (string, error) {
	l, err := linkOf(code, "")
	if err != nil {
		return "", err
	}
	token, err := d.JoinTablet(ctx, from, l.Code, name)
	return token, explain(err)
}

type serverDesk struct {
	serverDoor
	c server.Caller
}

// explain says a server's no as a client hears it.
func explain(err error) error {
	var no *server.Refusal
	if errors.As(err, &no) {
		return &client.Refusal{Reason: no.Reason, Text: no.Text}
	}
	return err
}

// Board implements web.Desk.
func (d serverDesk) Board(ctx context.Context, closed bool) ([]brief.BoardLine, error) {
	r, err := d.Server.Board(ctx, d.c, &boardv1.BoardRequest{Closed: closed})
	return boardLines(r), explain(err)
}

// boardLines are the lines of a board as the server sent them.
func boardLines(r *boardv1.BoardResponse) []brief.BoardLine {
	lines := make([]brief.BoardLine, len(r.GetCases()))
	for i, c := range r.GetCases() {
		lines[i] = brief.BoardLine{
			Stream: c.GetStream(), Shop: c.GetShop(), Vehicle: c.GetVehicle(), VIN: c.GetVin(), Concern: c.GetConcern(), State: c.GetState(),
			Opened: c.GetOpened(), WaitsFor: c.GetWaitsFor(), WaitsForShop: c.GetWaitsForShop(), Tested: int(c.GetTested()),
			OnlyBelieved: int(c.GetOnlyBelieved()), Findings: int(c.GetFindings()), Temporary: c.GetTemporary(), Spent: c.GetSpent(),
			SpentWithoutTest: c.GetSpentWithoutTest(), Entries: c.GetEntries(), Invented: c.GetInvented(),
		}
	}
	return lines
}

// Case implements web.Desk.
func (d serverDesk) Case(ctx context.Context, stream string, look func(*web.Case) error) error {
	if notation.CheckID(stream) != nil {
		return fmt.Errorf("%w: that is no id of a case", client.ErrNotFound)
	}
	return explain(d.With(ctx, d.c, stream, func(c *cases.Case) error { return look(&web.Case{Case: c, Sent: c.Head(), Table: d.table}) }))
}

// Record implements web.Desk.
func (d serverDesk) Record(ctx context.Context, e *eventv1.Event) error {
	r, err := d.Server.Record(ctx, d.c, e)
	e.Id = cmp.Or(e.GetId(), r.GetId())
	return explain(err)
}

// Attach implements web.Desk.
func (d serverDesk) Attach(ctx context.Context, e *eventv1.Event, from io.Reader, sure func(*eventv1.Event) error) error {
	return explain(d.Server.Attach(ctx, d.c, e, from, sure))
}

// File implements web.Desk.
func (d serverDesk) File(ctx context.Context, stream string, named *eventv1.Attachment, to io.Writer) error {
	return explain(d.GetFile(ctx, d.c, &boardv1.GetFileRequest{Stream: stream, Sha256: named.GetSha256()}, func(m *boardv1.GetFileResponse) error {
		_, err := to.Write(m.GetPart())
		return err
	}))
}

// Unsent implements web.Desk: what is attached at the server is there.
func (serverDesk) Unsent(context.Context, string, *eventv1.Attachment) bool { return false }

// Refused implements web.Desk: what a tablet writes is refused at once.
func (serverDesk) Refused(context.Context, string) ([]client.Refused, error) { return nil, nil }

// Settled implements web.Desk.
func (serverDesk) Settled(context.Context, string, string) error {
	return fmt.Errorf("%w: nothing waits to be done again", client.ErrNotFound)
}

// Follow implements web.Desk.
func (d serverDesk) Follow(ctx context.Context, cursor string, tell func(web.News) error) error {
	req := &boardv1.WatchRequest{Cursor: cursor, FromNow: cursor == ""}
	send := func(m *boardv1.WatchResponse) error {
		n := web.News{Cursor: m.GetCursor()}
		for _, h := range m.GetEntries() {
			e := new(eventv1.Entry)
			if err := proto.Unmarshal(h.GetEntry(), e); err != nil {
				return fmt.Errorf("an entry of the log: %w", err)
			}
			n.Entries = append(n.Entries, client.Came{Stream: e.GetStream(), Seq: e.GetSeq()})
		}
		return tell(n)
	}
	err := d.Follows(ctx, d.c, req, send)
	var no *server.Refusal
	if errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_MALFORMED && cursor != "" {
		// Of before a restore: the page fetches what it has not when it hears anything.
		err = d.Follows(ctx, d.c, &boardv1.WatchRequest{FromNow: true}, send)
	}
	return explain(err)
}
