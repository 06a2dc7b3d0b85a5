package main

import (
	"bytes"
	"crypto/ed25519"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// testDesk is somebody at a case that has an opening, with no server.
func testDesk(t testing.TB) *desk {
	t.Helper()
	return testApp(t).testDesk(t)
}

func testApp(t testing.TB) *app {
	t.Helper()
	dir := t.TempDir()
	a := &app{world: world{in: strings.NewReader(""), out: io.Discard, err: io.Discard, getenv: func(string) string { return "" }, now: time.Now}, noInput: true}
	a.home = client.Open(dir, dir+"/settings")
	a.show = &client.Output{W: io.Discard, Format: "table", Style: client.Style{Zone: time.UTC, Now: time.Now()}}
	t.Cleanup(func() { require.NoError(t, a.home.Close()) })
	return a
}

// testDesk is at a case of its own.
func (a *app) testDesk(t testing.TB) *desk {
	t.Helper()
	newID := func() string { return uuid.Must(uuid.NewV7()).String() }
	_, key, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	who := &client.Identity{Device: newID(), Key: key, Person: newID(), Shop: newID(), Currency: "EUR", Token: "t"}
	d, err := a.deskFor(who, newID())
	require.NoError(t, err)
	require.NoError(t, d.foldIn(&eventv1.Event{Id: newID(), Stream: d.stream, Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{
		Shop: who.Shop, Vehicle: &eventv1.Vehicle{Make: "Quillon", SystemVolts: 12}, Concern: &eventv1.Concern{Statement: "x"},
	}}}))
	return d
}

func TestHandWrittenLinesKnowTheOnesBefore(t *testing.T) {
	t.Parallel()
	d := testDesk(t)
	events, rows, err := d.handWritten(strings.NewReader(`
{"line": "read 12.1 V at fan.C1-2 to batt-, key on"}

{"line": "read 11.9 V, same leads, same state"}
{"line": "believe measured feed is good, because last"}
{"line": "jumper on 30-87"}
{"line": "jumper off"}
{"note": {"text": "as an event"}, "because": []}
{"line": "note two", "because": ["2", "last"], "after": "2"}
`), false)
	require.NoError(t, err)
	require.Len(t, events, 7)
	require.Equal(t, []int{2, 4, 5, 6, 7, 8, 9}, []int{rows[0].Line, rows[1].Line, rows[2].Line, rows[3].Line, rows[4].Line, rows[5].Line, rows[6].Line})
	second := events[1].GetReading()
	require.Equal(t, "fan.C1-2", second.GetRed())
	require.Equal(t, "batt-", second.GetBlack())
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_ON, second.GetConditions().GetKey())
	require.Equal(t, []string{events[1].GetId()}, events[2].GetBecause())
	require.Equal(t, events[3].GetId(), events[4].GetTemporaryOff().GetTemporary())
	require.Equal(t, []string{events[0].GetId(), events[5].GetId()}, events[6].GetBecause())
	require.Equal(t, events[0].GetId(), events[6].GetPlaced().GetAfter())
}

func TestBadLinesAreNamed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ line, says string }{
		{`{"line": "read 12 furlongs at x"}`, "line 2: column 6"},
		{`{"line": 7}`, "line 2: cannot unmarshal number"},
		{`{"line": "note x", "whn": "Monday"}`, `unknown field "whn"; beside line there are when`},
		{`{"line": "note x", "when": "someday"}`, "--when"},
		{`{"line": "note x", "after": "99"}`, "the case has no entry 99; its last is 2"},
		{`{"note": {"text": ""}}`, "note.text: is empty"},
		{`{"reading": {"value": {"digits": "-4", "unit": "Ohm"}, "red": "a", "black": "b"}}`, "reading.value"},
		{`{"entry": "AAAA"}`, "without the export's first line"},
		{`{}`, "it says nothing"},
		{`[]`, "each line is one JSON object"},
		{`{"note": {"text": "a"}, "reading": {}}`, "line 2: not an event"},
		{`{"note": {"text": "a"}, "id": "01900000-0000-7000-8000-000000000001"}`, "field id: it is filled in"},
		{`{"note": {"text": "a"}, "stream": "01900000-0000-7000-8000-000000000001"}`, "field stream"},
		{strings.Repeat("x", 2<<20), "line 2: longer than"},
	} {
		events, _, err := testDesk(t).handWritten(strings.NewReader(`{"line": "note first"}`+"\n"+c.line+"\n"), false)
		require.ErrorContains(t, err, c.says, c.line[:min(len(c.line), 80)])
		require.ErrorContains(t, err, "line 2")
		require.Contains(t, []int{exitUsage, exitNotFound}, exitCode(err))
		require.Nil(t, events)
	}
}

// FuzzImport: any file is taken or refused without a panic; what is taken is ready
// to be numbered and signed.
func FuzzImport(f *testing.F) {
	f.Add([]byte(`{"line": "read 12.1 V at fan.C1-2 to batt-, key on"}` + "\n" + `{"note": {"text": "x"}}`))
	f.Add([]byte(`{"line": "new fan in, guess", "before_opening": true, "by": "previous shop"}`))
	f.Add([]byte(`{"line": "note x", "because": ["last"], "after": "1"}`))
	f.Add([]byte(`{"partFitted": {"component": "fan", "cost": {"minor": "12", "currency": "EUR"}}, "placed": {"beforeOpening": true}}`))
	f.Add([]byte("{\"line\": \"\x00\"}"))
	a := testApp(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		d := a.testDesk(t)
		events, rows, err := d.handWritten(bytes.NewReader(b), true)
		if err != nil {
			return
		}
		require.Len(t, rows, len(events))
		for _, e := range events {
			require.NotZero(t, envelope.KindOf(e))
			require.Equal(t, d.stream, e.GetStream())
			require.NotEmpty(t, e.GetId())
			_, err := proto.Marshal(e)
			require.NoError(t, err)
		}
	})
}
