package web

import (
	"context"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/client"
)

// TestStood: what a case comes to is worked out once for as long as it stands so, and anew
// with its next entry; documents differ by who knows which names; no more is kept than said.
func TestStood(t *testing.T) {
	b := newBay(t)
	b.says("12.31 V at fan.C1-2 to batt-, key on")
	look := func() (s *stood) {
		t.Helper()
		b.get("/case/" + b.stream)
		require.Len(t, b.stood.recent, 1)
		return b.stood.recent[0]
	}
	first := look()
	doc := first.document("brief", first.names)
	require.Same(t, first, look(), "nothing came")
	require.Same(t, doc, first.docs["brief"])
	b.get("/case/" + b.stream + "/brief")
	require.Same(t, doc, first.docs["brief"], "the brief is the one of the page")

	_, got := b.says("assume the fan is good")
	require.EqualValues(t, 3, got["seq"], got)
	second := look()
	require.NotSame(t, first, second)
	require.Contains(t, fmt.Sprint(second.docs["brief"].Text()), "the fan is good")
	require.Same(t, second, look())

	other := second.document("brief", cases.Names{b.who.Shop: "a name that only others know"})
	require.NotSame(t, doc, other)
	require.Contains(t, b.get("/case/"+b.stream), "the fan is good")
	require.NotContains(t, b.get("/case/"+b.stream), "only others know")
	require.Contains(t, other.Text(), "only others know")

	// The same case folded anew is another, of another lock.
	c, err := b.home.Kept(b.who, b.stream)
	require.NoError(t, err)
	again := b.stood.of(&Case{Case: c.Case, Table: second.judged.Table})
	require.NotSame(t, second, again)
	require.Len(t, b.stood.recent, 1, "what was is not kept beside it")
	for i := range 3 * mostStood {
		k, err := cases.Fold(fmt.Sprint(i), nil)
		require.NoError(t, err)
		b.stood.of(&Case{Case: k, Table: second.judged.Table})
	}
	require.Len(t, b.stood.recent, mostStood)
}

// shut is a door of a home whose desk can be told to show nothing any more.
type shut struct {
	Door
	now bool
}

func (s *shut) Enter(ctx context.Context, session, from string) (*Who, Desk, error) {
	who, desk, err := s.Door.Enter(ctx, session, from)
	return who, shutDesk{desk, s}, err
}

type shutDesk struct {
	Desk
	*shut
}

func (d shutDesk) Case(ctx context.Context, stream string, look func(*Case) error) error {
	if d.now {
		return fmt.Errorf("%w: no such case is kept here", client.ErrNotFound)
	}
	return d.Desk.Case(ctx, stream, look)
}

// TestStoodIsAskedFor: who may not see a case any more sees nothing of what is kept of it.
func TestStoodIsAskedFor(t *testing.T) {
	b := newBay(t)
	s := &shut{Door: b.door}
	b.door = s
	paths := []string{"", "/stands", "/rows", "/brief", "/handback", "/customer", "/brief/pdf", "/replay", "/pins"}
	for _, path := range paths {
		b.get("/case/" + b.stream + path)
	}
	s.now = true
	for _, path := range paths {
		r, text := b.answer(b.request("GET", "/case/"+b.stream+path, nil))
		require.Equal(t, http.StatusNotFound, r.StatusCode, path)
		require.NotContains(t, text, "Quillon", path)
	}
}
