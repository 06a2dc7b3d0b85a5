package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/cases/scenario"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// judged is an invented case, and the places from which it is looked at.
type judged struct {
	*scenario.Scenario
	places []uint64
}

// judgedCases by name. People write 'good' too; here it reads 'fine', so that every
// 'good' in an answer is ours.
func judgedCases(t *testing.T) map[string]judged {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(top, "testdata", "judged", "*.txtar"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 15)
	out := map[string]judged{}
	for _, path := range files {
		a, err := txtar.ParseFile(path)
		require.NoError(t, err)
		text := regexp.MustCompile(`(?i)\bgood\b`).ReplaceAllString(string(a.Files[0].Data), "fine")
		s, err := scenario.Read(text)
		require.NoError(t, err)
		one := judged{s, []uint64{uint64(len(s.Records))}}
		for _, f := range a.Files {
			var at uint64
			if n, _ := fmt.Sscanf(f.Name, "expect at #%d", &at); n == 1 {
				one.places = append(one.places, at)
			}
		}
		out[strings.TrimSuffix(filepath.Base(path), ".txtar")] = one
	}
	return out
}

// claim is one thing that is proven good, with what must stand beside it.
type claim struct {
	words   []string // component, mode and conditions
	entries []*regexp.Regexp
}

func claimsOf(t *testing.T, c *cases.Case) []claim {
	t.Helper()
	var out []claim
	j := c.Judge(nil)
	for _, comp := range c.Components {
		for _, v := range j.Verdicts(comp) {
			if v.Standing != cases.ProvenGood {
				continue
			}
			require.GreaterOrEqual(t, len(v.Entries), 2)
			require.Len(t, v.Conditions, len(v.Entries))
			require.NotContains(t, v.Conditions, "")
			one := claim{words: append([]string{comp.Name, v.Mode.String()}, v.Conditions...)}
			for _, s := range v.Entries {
				one.entries = append(one.entries, regexp.MustCompile(fmt.Sprintf(`#%d\b`, s.Seq)))
			}
			out = append(out, one)
		}
	}
	return out
}

var (
	// statesGood is how an answer may state that something is good.
	statesGood = regexp.MustCompile(`(?i)\bproven not\b|\bnot bad\b|\bgood\b`)
	// notOurs says nothing of a component by our word: what somebody's belief claims,
	// and a part to be borrowed for a test.
	notOurs = regexp.MustCompile(`claims: [^;\n]* not bad|a known good (one|part)`)
)

// holder counts the statements that something is good, and requires of each the
// mode, the conditions and the entries beside it: in the same line, row or text.
type holder struct {
	*testing.T
	where  string
	claims []claim
	n      int
}

func (h *holder) text(item string) {
	h.Helper()
	stated := len(statesGood.FindAllString(notOurs.ReplaceAllString(item, ""), -1))
	if stated == 0 {
		return
	}
	borne := 0
	for _, c := range h.claims {
		lacks := func(word string) bool { return !strings.Contains(item, word) }
		if !slices.ContainsFunc(c.words, lacks) && !slices.ContainsFunc(c.entries, func(e *regexp.Regexp) bool { return !e.MatchString(item) }) {
			borne++
		}
	}
	require.GreaterOrEqual(h, borne, stated, "%s: something is called good without its mode, conditions and entries:\n%s", h.where, item)
	h.n += stated
}

// value walks what was read from JSON.
func (h *holder) value(v any) {
	h.Helper()
	switch v := v.(type) {
	case string:
		h.text(v)
	case []any:
		for _, x := range v {
			h.value(x)
		}
	case map[string]any:
		if v["standing"] == cases.ProvenGood.String() {
			h.verdict(v)
			return
		}
		for _, x := range v {
			h.value(x)
		}
	}
}

func (h *holder) verdict(v map[string]any) {
	h.Helper()
	require.NotEmpty(h, v["mode"], h.where)
	require.NotEmpty(h, v["assumes"], h.where)
	entries, _ := v["entries"].([]any)
	conditions, _ := v["conditions"].([]any)
	require.GreaterOrEqual(h, len(entries), 2, h.where)
	require.Len(h, conditions, len(entries), h.where)
	require.NotContains(h, conditions, "", h.where)
	h.n++
}

// answer holds one answer of a command in one format.
func (h *holder) answer(format, out string) {
	h.Helper()
	switch format {
	case "json", "ndjson":
		for d := json.NewDecoder(strings.NewReader(out)); d.More(); {
			var v any
			require.NoError(h, d.Decode(&v), h.where)
			h.value(v)
		}
	case "csv":
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		require.NoError(h, err, h.where)
		for _, row := range rows {
			h.text(strings.Join(row, " "))
		}
	default:
		for line := range strings.Lines(out) {
			h.text(line)
		}
	}
}

// exported writes the case as a file that commands take with --from.
func exported(t *testing.T, s *scenario.Scenario) string {
	t.Helper()
	x := &export.Export{Head: export.Head{Case: scenario.Stream}}
	chain := map[string][][]byte{} // the hashes of each device's events
	for _, r := range s.Records {
		before := chain[r.Event.GetDevice()]
		if r.Event.DeviceSeq = uint64(len(before) + 1); len(before) > 0 {
			r.Event.Prev = before[len(before)-1]
		}
		event, err := proto.Marshal(r.Event)
		require.NoError(t, err)
		o, err := envelope.Open(event)
		require.NoError(t, err)
		chain[r.Event.GetDevice()] = append(before, o.Hash[:])
		e := r.Entry
		entry, err := proto.Marshal(envelope.NewEntry(o, nil, e.GetLog(), e.GetIndex(), e.GetSeq(), e.GetRecorded(), e.GetPerson(), e.GetShop()))
		require.NoError(t, err)
		x.Lines = append(x.Lines, export.Line{Entry: entry, Event: event})
	}
	var b bytes.Buffer
	require.NoError(t, export.Write(&b, x))
	path := filepath.Join(t.TempDir(), "case.jsonl")
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o600))
	return path
}

// command runs a command line in process and returns what it answered.
func command(t *testing.T, args ...string) string {
	t.Helper()
	var out, said bytes.Buffer
	w := world{in: strings.NewReader(""), out: &out, err: &said, getenv: func(string) string { return "" }, now: time.Now}
	require.Equal(t, exitOK, run(t.Context(), append(args, "--no-input", "--tz", "UTC"), w), "%v: %s", args, &said)
	return out.String()
}

// TestNeverGoodWithoutModeAndConditions: no command says of a component that it is
// good without the way in which it is not bad, the conditions that was tested
// under and the entries it rests on.
func TestNeverGoodWithoutModeAndConditions(t *testing.T) {
	t.Parallel()
	for name, s := range judgedCases(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c, err := s.Case()
			require.NoError(t, err)
			path, home := exported(t, s.Scenario), t.TempDir()
			for _, at := range s.places {
				claims := claimsOf(t, c.AsOf(at))
				asks := []string{"suspects", "suspects --explanations", "next --all", "board", "brief", "handback", "review"}
				if at == c.Head() {
					asks = append(asks, "replay", "timeline") // they go through all places
				}
				for _, ask := range asks {
					for _, format := range client.Formats {
						h := &holder{T: t, where: fmt.Sprintf("%s -o %s --as-of %d", ask, format, at), claims: claims}
						args := append(strings.Fields(ask), "--from", path, "--as-of", fmt.Sprint(at), "-o", format, "--home", home)
						h.answer(format, command(t, args...))
						if ask == "suspects" || ask == "brief" {
							require.GreaterOrEqual(t, h.n, len(claims), "%s: what is proven is told", h.where)
						}
					}
				}
			}
		})
	}
}

// TestReportsNeverGoodWithoutModeAndConditions: nor does a report of the server.
func TestReportsNeverGoodWithoutModeAndConditions(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	home, readyFile := filepath.Join(dir, "mara"), filepath.Join(dir, "ready.json")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	var said safeBuffer
	go func() {
		w := world{in: strings.NewReader(""), out: &said, err: &said, getenv: func(string) string { return "" }, now: time.Now}
		ended <- run(ctx, []string{"serve", "--home", filepath.Join(dir, "server"), "--data", filepath.Join(dir, "log"), "--listen", "127.0.0.1:0", "--ready-file", readyFile, "--shop", "Tin Kettle Garage"}, w)
	}()
	t.Cleanup(func() {
		stop()
		<-ended
	})
	var r ready
	require.Eventually(t, func() bool {
		b, err := os.ReadFile(readyFile)
		return err == nil && json.Unmarshal(b, &r) == nil
	}, patience, 20*time.Millisecond, "%s", &said)
	mara := func(args ...string) string { return command(t, append(args, "--home", home)...) }
	mara("join", r.Shops[0].Code, "--server", r.Address, "--name", "Mara")
	mara("open", "right", "stop", "lamp", "stays", "dark", "--make", "Oleander", "--model", "Pike", "--invented")

	var lines bytes.Buffer
	for _, rec := range judgedCases(t)["06-lead-round-a-stretch"].Records {
		e := rec.Event
		if e.GetTest() == nil && e.GetReading() == nil {
			continue
		}
		e.Id, e.Stream, e.Device, e.RecordedBy, e.Salt, e.Happened, e.DeviceSeq, e.ObservedThrough = "", "", "", "", nil, nil, 0, 0
		b, err := protojson.Marshal(e)
		require.NoError(t, err)
		lines.Write(append(b, '\n'))
	}
	path := filepath.Join(dir, "lines.jsonl")
	require.NoError(t, os.WriteFile(path, lines.Bytes(), 0o600))
	mara("import", path, "-y")

	data, settings, err := client.Folders(home, func(string) string { return "" })
	require.NoError(t, err)
	who, conn, err := client.Open(data, settings).Connect()
	require.NoError(t, err)
	defer conn.Close()
	board, err := conn.Board(ctx, &boardv1.BoardRequest{})
	require.NoError(t, err)
	require.Len(t, board.GetCases(), 1)
	stream := board.GetCases()[0].GetStream()
	kept, err := client.Open(data, settings).Fetch(ctx, who, conn, stream)
	require.NoError(t, err)
	claims := claimsOf(t, kept.Case)
	require.NotEmpty(t, claims)

	brief, err := conn.Brief(ctx, &boardv1.BriefRequest{Stream: stream})
	require.NoError(t, err)
	handback, err := conn.Brief(ctx, &boardv1.BriefRequest{Stream: stream, HandBack: true})
	require.NoError(t, err)
	timeline, err := conn.Timeline(ctx, &boardv1.TimelineRequest{Stream: stream})
	require.NoError(t, err)
	found, err := conn.Review(ctx, &boardv1.ReviewRequest{Stream: stream})
	require.NoError(t, err)
	for _, m := range []proto.Message{board, brief, handback, timeline, found} {
		b, err := protojson.Marshal(m)
		require.NoError(t, err)
		h := &holder{T: t, where: string(m.ProtoReflect().Descriptor().Name()), claims: claims}
		h.answer("json", string(b))
		if m == brief {
			require.GreaterOrEqual(t, h.n, len(claims), "what is proven is told")
		}
	}
}
