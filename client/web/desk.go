package web

import (
	"context"
	"errors"
	"io"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Door lets people in.
type Door interface {
	// Enter says who holds a session, and gives them their desk; ErrStranger when
	// nobody does. From is the address of the other side.
	Enter(ctx context.Context, session, from string) (*Who, Desk, error)
	// Join turns a code, or a link, into a session.
	Join(ctx context.Context, from, code, name string) (session string, err error)
}

// Desk is what one person sees and writes. Errors are client.ErrNotFound, a
// *client.Refusal, or faults.
type Desk interface {
	Ledger
	Files
	Tray
}

// Ledger is the cases.
type Ledger interface {
	// Board lists the cases, those that wait for the person's shop first.
	Board(ctx context.Context, closed bool) ([]brief.BoardLine, error)
	// Case calls look with a case as it is now. It must not be kept or changed.
	Case(ctx context.Context, stream string, look func(*Case) error) error
	// Record keeps one event of a case, or one that opens it; what it leaves out is
	// filled in. Once it returns, Case shows the event. The same id again, of the same
	// person, is no second event.
	Record(ctx context.Context, e *eventv1.Event) error
	// Follow tells what comes behind a cursor, empty: from now on, until ctx ends. The
	// first news come at once.
	Follow(ctx context.Context, cursor string, tell func(News) error) error
}

// Files are the files that are attached to cases.
type Files interface {
	// Attach keeps a file, and Records the event that names it, with size and hash filled
	// in. It asks sure before it records; after an error nothing of the file is kept.
	Attach(ctx context.Context, e *eventv1.Event, from io.Reader, sure func(*eventv1.Event) error) error
	// File writes the bytes of an attached file. They were held against its hash.
	File(ctx context.Context, stream string, named *eventv1.Attachment, to io.Writer) error
	// Unsent reports whether the file is here and at no server yet; where that cannot be
	// told, it is taken to be so.
	Unsent(ctx context.Context, stream string, named *eventv1.Attachment) bool
}

// Tray is what was written down here and refused later, when it was sent.
type Tray interface {
	// Refused lists it, of one case, the oldest first.
	Refused(ctx context.Context, stream string) ([]client.Refused, error)
	// Settled notes that what was refused was recorded again under another id.
	Settled(ctx context.Context, id, again string) error
}

// ErrStranger: nobody is known by that session.
var ErrStranger = errors.New("nobody is known here by that: join first")

// Who is at the page.
type Who struct {
	Person, Device, Shop string
	Name, ShopName       string
	// Currency the shop counts in, ISO 4217.
	Currency string
	// Names of the shops and people they have to do with.
	Names cases.Names
	// Known are the same, to be chosen from.
	Known *client.Names
}

// Case as a desk shows it.
type Case struct {
	*cases.Case
	// Sent is the last seq that the log has; what lies beyond waits to be sent.
	Sent uint64
	// Table that judgements rest on.
	Table *suspect.Table
}

// News is what came behind a cursor, and how things stand.
type News struct {
	// Cursor behind the entries.
	Cursor  string
	Entries []client.Came
	// Waiting entries of this home, and files; why its server is not reached; empty: it is.
	Waiting, Files int
	Off            string
}
