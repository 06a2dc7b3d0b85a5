package web

import (
	"cmp"
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/brief"
	"knowngood.example/cases/join"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Home is the door of a home: whoever has the key that was printed is the one whose
// home it is. Everything is answered from the replica, with or without a server.
type Home struct {
	home  *client.Home
	live  *client.Live
	shelf *client.Shelf
	table *suspect.Table
	key   string
	// recording is held from the look whether an id is there until it is.
	recording sync.Mutex
	lines     lines
}

// NewHome is the door of a home that live keeps in touch with its server.
func NewHome(home *client.Home, live *client.Live, table *suspect.Table, key string) *Home {
	return &Home{home: home, live: live, shelf: home.Shelf(), table: table, key: key}
}

// Enter implements Door.
func (h *Home) Enter(_ context.Context, session, _ string) (*Who, Desk, error) {
	if subtle.ConstantTimeCompare([]byte(session), []byte(h.key)) != 1 {
		return nil, nil, fmt.Errorf("%w, by the link that 'knowngood web' printed", ErrStranger)
	}
	id, err := h.home.Writer(true)
	if err != nil {
		return nil, nil, err
	}
	names, err := h.home.Names()
	if err != nil {
		return nil, nil, err
	}
	who := &Who{Person: id.Person, Device: id.Device, Shop: id.Shop, Name: id.Name, ShopName: id.ShopName, Currency: id.Currency, Names: names.Of(), Known: names}
	who.Names[id.Shop] = cmp.Or(who.Names[id.Shop], id.ShopName)
	return who, &homeDesk{h, id}, nil
}

// Join implements Door: the home joins the shop of a link. Only whoever has the key of
// the page could be let in by it, and they have joined by opening the page.
func (h *Home) Join(ctx context.Context, _, code, name string) (string, error) {
	if !join.IsLink(code) {
		return "", errors.New("on this machine a link is needed, which says where the server is; or run 'knowngood join CODE --server HOST:PORT'")
	}
	l, err := join.ParseLink(code)
	if err != nil {
		return "", err
	}
	if _, err := h.home.Join(ctx, l, name); err != nil {
		return "", err
	}
	return h.key, nil
}

type homeDesk struct {
	*Home
	who *client.Identity
}

// Board implements Desk.
func (d *homeDesk) Board(ctx context.Context, closed bool) ([]brief.BoardLine, error) {
	streams, err := d.home.KeptCases()
	if err != nil {
		return nil, err
	}
	var lines []brief.BoardLine
	for _, stream := range streams {
		err := d.shelf.With(ctx, d.who, stream, func(c *client.Copy) error {
			if l := d.lines.of(c.Case, d.table); closed || !l.Closed {
				lines = append(lines, l)
			}
			return nil
		})
		if err != nil && !errors.Is(err, client.ErrNotFound) {
			return nil, err
		}
	}
	// As a server orders them.
	slices.SortStableFunc(lines, func(a, b brief.BoardLine) int {
		waits := func(l brief.BoardLine) int {
			if l.WaitsForShop == d.who.Shop {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(waits(a), waits(b)), cmp.Compare(b.Opened.GetUnixSeconds(), a.Opened.GetUnixSeconds()), cmp.Compare(a.Stream, b.Stream))
	})
	return lines, nil
}

// Case implements Desk.
func (d *homeDesk) Case(ctx context.Context, stream string, look func(*Case) error) error {
	return d.shelf.With(ctx, d.who, stream, func(c *client.Copy) error { return look(&Case{c.Case, c.Sent, d.table}) })
}

// Record implements Desk.
func (d *homeDesk) Record(ctx context.Context, e *eventv1.Event) error {
	d.recording.Lock()
	defer d.recording.Unlock()
	var seen uint64
	held := false
	err := d.shelf.With(ctx, d.who, e.GetStream(), func(c *client.Copy) error {
		seen = c.Sent
		if step := c.Case.ByID(e.GetId()); step != nil {
			if held = true; step.Entry.GetDevice() != d.who.Device {
				return taken(e.GetId())
			}
		}
		return nil
	})
	if e.GetCaseOpened() != nil && errors.Is(err, client.ErrNotFound) {
		err = nil
	}
	if err != nil || held {
		return err
	}
	switch k := e.GetKind().(type) { // so that two shops can find out that they were told different histories
	case *eventv1.Event_HandedOff:
		k.HandedOff.Checkpoint = d.home.Checkpoint()
	case *eventv1.Event_HandedBack:
		k.HandedBack.Checkpoint = d.home.Checkpoint()
	}
	if _, err := d.home.Save(d.who, client.Stamp{Seen: seen, At: d.home.Now()}, e); err != nil {
		return err
	}
	saved := proto.CloneOf(e)
	err = errors.Join(
		d.home.Remember(func(m *client.Memory) { m.Carry(saved) }),
		// The shelf takes it in while it waits: what is sent is told again a little later.
		d.shelf.With(ctx, d.who, e.GetStream(), func(*client.Copy) error { return nil }),
	)
	d.live.Recorded()
	if err != nil {
		d.home.Warn("saved; but not all that hangs on it could be brought up to date: " + err.Error())
	}
	return nil // it is saved: whoever heard of a failure would type it again
}

// Attach implements Desk: the copy lies in the home before the event that names it, and
// goes once a server answers.
func (d *homeDesk) Attach(ctx context.Context, e *eventv1.Event, from io.Reader, sure func(*eventv1.Event) error) error {
	kept, err := d.home.KeepFile(e.GetStream(), from)
	if err != nil {
		return impossible{err}
	}
	e.GetAttachment().Size, e.GetAttachment().Sha256 = kept.GetSize(), kept.GetSha256()
	err = sure(e)
	if err == nil {
		err = d.Record(ctx, e)
	}
	if err == nil {
		return nil
	}
	// Nothing was recorded. The same file may be another entry's.
	named := false
	looked := d.shelf.With(ctx, d.who, e.GetStream(), func(c *client.Copy) error {
		named = c.NamesFile(kept.GetSha256())
		return nil
	})
	if looked == nil && !named {
		err = errors.Join(err, d.home.DropFile(e.GetStream(), kept.GetSha256()))
	}
	return err
}

// File implements Desk. A file that is not here is fetched first, where a server answers.
func (d *homeDesk) File(ctx context.Context, stream string, named *eventv1.Attachment, to io.Writer) error {
	at, err := d.home.File(ctx, nil, stream, named)
	if errors.Is(err, client.ErrOffline) && d.who.Joined() {
		_, conn, connErr := d.home.ConnectWithin(client.Haste)
		if connErr != nil {
			return fmt.Errorf("the file is not here, and %w", connErr)
		}
		defer conn.Close() //nolint:errcheck // nothing was written
		at, err = d.home.File(ctx, conn, stream, named)
	}
	if err != nil {
		return err
	}
	f, err := os.Open(at)
	if err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	defer f.Close() //nolint:errcheck // only read
	_, err = io.Copy(to, f)
	return err
}

// Unsent implements Desk.
func (d *homeDesk) Unsent(ctx context.Context, stream string, named *eventv1.Attachment) bool {
	waits, err := d.home.FileWaits(ctx, stream, named.GetSha256())
	return waits || err != nil
}

// Refused implements Desk.
func (d *homeDesk) Refused(_ context.Context, stream string) ([]client.Refused, error) {
	all, err := d.home.Tray()
	return slices.DeleteFunc(all, func(r client.Refused) bool { return r.Case != stream }), err
}

// Settled implements Desk.
func (d *homeDesk) Settled(_ context.Context, id, again string) error {
	return d.home.Settled(id, again)
}

// Follow implements Desk. A cursor is a place in the home's log.
func (d *homeDesk) Follow(ctx context.Context, cursor string, tell func(News) error) error {
	place, err := strconv.ParseUint(cursor, 10, 64)
	if err != nil {
		if _, place, err = d.home.Since(ctx, ^uint64(0)); err != nil {
			return err
		}
	}
	for {
		state := d.live.State()
		came, next, err := d.home.Since(ctx, place)
		if err != nil {
			return err
		}
		place = next
		n := News{Cursor: strconv.FormatUint(place, 10), Entries: came, Waiting: state.Waiting, Files: state.Files, Off: offWords(state.Off)}
		if err := tell(n); err != nil {
			return err
		}
		select {
		case <-state.Changed:
		case <-ctx.Done():
			return nil
		}
	}
}

// offWords say why the server is not reached, for whoever is at the page.
func offWords(off error) string {
	var other *client.Impostor
	switch {
	case off == nil:
		return ""
	case errors.Is(off, client.ErrNobody):
		return "this home has joined no shop yet; what you write down is kept here"
	case errors.As(off, &other):
		return off.Error()
	case errors.Is(off, client.ErrOffline):
		return "no answer from the shop's server; what you write down is kept on this machine"
	}
	return "the server and this machine do not come together: " + strings.SplitN(off.Error(), "\n", 2)[0]
}
