package client

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"charm.land/lipgloss/v2"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestClean(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"plain 0.29 Ω, 200 µA, 接地": "plain 0.29 Ω, 200 µA, 接地",
		"two\nlines\tand":          "two lines and",
		"\x1b[31mred\x07\x7f":      "␛[31mred␇␡",
		"c1 \u009b31m":             "c1 �31m",
		"turned \u202eevil\u2066":  "turned �evil�",
		"bad \xff utf-8":           "bad � utf-8",
	} {
		require.Equal(t, want, Clean(in))
	}
	rapid.Check(t, func(t *rapid.T) {
		out := Clean(rapid.String().Draw(t, "text"))
		for _, r := range out {
			require.True(t, r == '�' || !hidden(r), "%U", r)
		}
		require.Equal(t, out, Clean(out))
	})
}

func at(t time.Time, p eventv1.Precision) *eventv1.Moment {
	m := Moment(t)
	m.Precision = p
	return m
}

func TestTimes(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	off := Style{Zone: time.UTC, Now: now}
	on := Style{Zone: time.UTC, Now: now, Terminal: true}
	for _, c := range []struct {
		m       *eventv1.Moment
		off, on string
	}{
		{at(now.Add(-5*time.Minute), eventv1.Precision_PRECISION_SECOND), "2026-11-25T11:55:00Z", "5 min ago"},
		{at(now.Add(-26*time.Hour), eventv1.Precision_PRECISION_MINUTE), "2026-11-24T10:00:00Z", "1 d ago"},
		{at(now.Add(-30*24*time.Hour), eventv1.Precision_PRECISION_SECOND), "2026-10-26T12:00:00Z", "2026-10-26 12:00"},
		{at(now.Add(time.Hour), eventv1.Precision_PRECISION_SECOND), "2026-11-25T13:00:00Z", "2026-11-25 13:00"},
		{at(now, eventv1.Precision_PRECISION_DAY), "2026-11-25", "2026-11-25"},
		{&eventv1.Moment{Precision: eventv1.Precision_PRECISION_UNKNOWN, Said: "last\x1bweek"}, "last␛week", "last␛week"},
		{nil, "", ""},
	} {
		require.Equal(t, c.off, off.Time(c.m))
		require.Equal(t, c.on, on.Time(c.m))
	}
	// A day is the writer's: 23:30 on the 24th in New York is the 25th in UTC.
	night := time.Date(2026, 11, 24, 23, 30, 0, 0, time.FixedZone("", -5*3600))
	require.Equal(t, "2026-11-24", off.Time(at(night, eventv1.Precision_PRECISION_DAY)))
}

// TestTablesAlignByWidth: on a terminal the second column begins at one place,
// however wide the characters before it are.
func TestTablesAlignByWidth(t *testing.T) {
	t.Parallel()
	tab := Table{Head: []string{"What", "Value"}, Rows: [][]string{{"接地点", "|0.29 Ω"}, {"fan µA", "|200"}, {"\x1b[2Jx", "|1"}}}
	var b bytes.Buffer
	require.NoError(t, tab.Write(&b, Style{Terminal: true, Width: 80, Zone: time.UTC}))
	var starts []int
	for _, l := range strings.Split(b.String(), "\n") {
		if i := strings.Index(l, "|"); i >= 0 {
			starts = append(starts, lipgloss.Width(l[:i]))
		}
	}
	require.Len(t, starts, 3)
	require.Equal(t, []int{starts[0], starts[0], starts[0]}, starts, b.String())
	require.NotContains(t, b.String(), "\x1b")
}

// TestColour: the head is bold where colour is wanted, and nothing is where not.
func TestColour(t *testing.T) {
	t.Parallel()
	for _, colour := range []bool{true, false} {
		var b bytes.Buffer
		s := Style{Terminal: true, Color: colour, Width: 80, Zone: time.UTC}
		require.NoError(t, Table{Head: []string{"What"}, Rows: [][]string{{"x"}}}.Write(&b, s))
		p := Page{Style: s, W: &b}
		p.Title("Brief")
		require.NoError(t, p.Err())
		want := 0
		if colour {
			want = 2
		}
		require.Equal(t, want, strings.Count(b.String(), "\x1b[1m"), "%q", b.String())
	}
}

func TestTablesFitTheTerminal(t *testing.T) {
	t.Parallel()
	tab := Table{Head: []string{"#", "Says"}, Rows: [][]string{{"#1", strings.Repeat("some words ", 40)}}}
	var b bytes.Buffer
	require.NoError(t, tab.Write(&b, Style{Terminal: true, Width: 60, Zone: time.UTC}))
	for _, l := range strings.Split(b.String(), "\n") {
		require.LessOrEqual(t, lipgloss.Width(l), 60)
	}
	require.Equal(t, 40, strings.Count(b.String(), "words"))
	b.Reset()
	require.NoError(t, tab.Write(&b, Style{Zone: time.UTC}))
	require.Equal(t, 2, strings.Count(b.String(), "\n"), "off a terminal a row is a line")
	b.Reset()
	require.NoError(t, Table{None: "Nothing."}.Write(&b, Style{}))
	require.Equal(t, "Nothing.\n", b.String())
}

type inner struct {
	A string `json:"a"`
}

type row struct {
	inner
	B []string `json:"b"`
	C []Amount `json:"c"`
}

func TestFormats(t *testing.T) {
	t.Parallel()
	rows := []row{{inner{"x\u009b,"}, []string{"p", "q"}, []Amount{{1250, "EUR"}}}, {inner{"y"}, []string{}, []Amount{}}}
	write := func(format string, v any) string {
		var b bytes.Buffer
		o := Output{W: &b, Format: format}
		require.NoError(t, o.Write(v, func() Table { return Table{None: "none"} }))
		return b.String()
	}
	require.Equal(t, "a,b,c\n\"x\u009b,\",p; q,1250 EUR\ny,,\n", write("csv", rows))
	require.Equal(t, `{"a":"x\u009b,","b":["p","q"],"c":[{"minor":1250,"currency":"EUR"}]}`+"\n"+`{"a":"y","b":[],"c":[]}`+"\n", write("ndjson", rows))
	var back []row
	require.NoError(t, json.Unmarshal([]byte(write("json", rows)), &back))
	require.Equal(t, rows, back)
	require.Equal(t, "[]\n", write("json", []row{}))
	require.Empty(t, write("ndjson", []row{}))
	require.Equal(t, "a,b,c\n", write("csv", []row{}))
	require.Equal(t, "none\n", write("table", rows))
}

func TestPageWraps(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	p := Page{Style: Style{Terminal: true, Width: 40}, W: &b}
	p.Title("Brief: 接地")
	p.Head("What\x1bever")
	p.Item("-", strings.Repeat("word ", 20))
	p.Text("")
	require.NoError(t, p.Err())
	require.Contains(t, b.String(), "Brief: 接地\n===========\n")
	require.Contains(t, b.String(), "What␛ever")
	for _, l := range strings.Split(b.String(), "\n") {
		require.LessOrEqual(t, lipgloss.Width(l), 40)
	}
}
