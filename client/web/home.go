package web

import (
	"cmp"
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
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
	who := &Who{Person: id.Person, Device: id.Device, Shop: id.Shop, Name: id.Name, ShopName: id.ShopName, Currency: id.Currency, Names: names.Of()}
	who.Names[id.Shop] = cmp.Or(who.Names[id.Shop], id.ShopName)
	return who, &homeDesk{h, id, names}, nil
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
	who   *client.Identity
	names *client.Names
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
			if l := brief.Board(c.Case.Judge(d.table)); closed || !l.Closed {
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
	if err != nil || held {
		return err
	}
	if e.By != "" {
		id, known, err := d.names.Person(e.By)
		if err != nil {
			return err
		}
		if known {
			e.By = id
		}
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
		n := News{Cursor: strconv.FormatUint(place, 10), Entries: came, Waiting: state.Waiting, Off: offWords(state.Off)}
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
