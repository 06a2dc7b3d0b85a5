package check_test

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var addMissing = flag.Bool("add-missing", false, "write frozen encodings of examples that have none; files that exist are never touched")

var frozenDir = filepath.Join("..", "..", "testdata", "events", "v1")

// Encodings that were ever released open, pass the checks and say the same, for
// ever. KIND.hex holds an event's bytes, KIND.json the same for reading; later
// ones of a kind are called KIND-2 and so on. Files are added, never edited.
func TestFrozenEncodings(t *testing.T) {
	t.Parallel()
	frozen := readFrozen(t)
	for name, x := range examples() {
		if slices.ContainsFunc(frozen[name], func(e *eventv1.Event) bool { return proto.Equal(e, x.good) }) {
			continue
		}
		if !*addMissing {
			t.Errorf("the example of %s has no frozen encoding: go test ./cases/check -run TestFrozenEncodings -add-missing", name)
			continue
		}
		addFrozen(t, name, len(frozen[name]), x.good)
	}
}

func readFrozen(t *testing.T) map[string][]*eventv1.Event {
	files, err := filepath.Glob(filepath.Join(frozenDir, "*.hex"))
	require.NoError(t, err)
	frozen := make(map[string][]*eventv1.Event)
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".hex")
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		b, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
		require.NoError(t, err, name)
		o, err := envelope.Open(b)
		require.NoError(t, err, name)
		require.True(t, o.Known, name)
		require.False(t, o.Strange, name)
		kind, _, _ := strings.Cut(name, "-")
		require.Equal(t, strings.ReplaceAll(kind, "_", " "), envelope.KindName(o.Kind))
		require.NoError(t, check.Event(o.Event, check.Context{}).Err(), name)

		readable, err := os.ReadFile(strings.TrimSuffix(file, ".hex") + ".json")
		require.NoError(t, err)
		want := new(eventv1.Event)
		require.NoError(t, protojson.Unmarshal(readable, want), name)
		require.True(t, proto.Equal(want, o.Event), "%s: bytes and readable view differ", name)
		frozen[kind] = append(frozen[kind], o.Event)
	}
	return frozen
}

func addFrozen(t *testing.T, name string, have int, e *eventv1.Event) {
	require.NoError(t, os.MkdirAll(frozenDir, 0o777))
	if have > 0 {
		name = fmt.Sprintf("%s-%d", name, have+1)
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(e)
	require.NoError(t, err)
	var text strings.Builder
	for line := range slices.Chunk(b, 32) {
		fmt.Fprintf(&text, "%x\n", line)
	}
	readable, err := protojson.Marshal(e)
	require.NoError(t, err)
	var indented bytes.Buffer
	require.NoError(t, json.Indent(&indented, readable, "", "  "))
	indented.WriteByte('\n')
	for ending, content := range map[string][]byte{".hex": []byte(text.String()), ".json": indented.Bytes()} {
		f, err := os.OpenFile(filepath.Join(frozenDir, name+ending), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		require.NoError(t, err)
		_, err = f.Write(content)
		require.NoError(t, err)
		require.NoError(t, f.Close())
	}
}
