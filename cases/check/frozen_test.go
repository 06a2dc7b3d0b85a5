package check_test

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var addMissing = flag.Bool("add-missing", false, "write frozen encodings of kinds that have none; files that exist are never touched")

var frozenDir = filepath.Join("..", "..", "testdata", "events", "v1")

// Encodings that were ever released open, pass the checks and say the same, for
// ever. KIND.hex holds an event's bytes, KIND.json the same for reading; later
// ones of a kind are called KIND-2 and so on. Files are added, never edited.
func TestFrozenEncodings(t *testing.T) {
	if *addMissing {
		addFrozen(t)
	}
	files, err := filepath.Glob(filepath.Join(frozenDir, "*.hex"))
	require.NoError(t, err)
	have := make(map[string]bool)
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
		have[kind] = true
	}
	for _, k := range envelope.Kinds() {
		name := strings.ReplaceAll(envelope.KindName(k), " ", "_")
		require.True(t, have[name], "no frozen encoding of %s: go test ./cases/check -run TestFrozenEncodings -add-missing", name)
	}
}

func addFrozen(t *testing.T) {
	require.NoError(t, os.MkdirAll(frozenDir, 0o777))
	for name, x := range examples() {
		file := filepath.Join(frozenDir, name)
		if _, err := os.Stat(file + ".hex"); err == nil {
			continue
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(x.good)
		require.NoError(t, err)
		var text strings.Builder
		for line := range strings.SplitSeq(hex.EncodeToString(b), "") {
			text.WriteString(line)
			if n := text.Len(); n%65 == 64 {
				text.WriteByte('\n')
			}
		}
		readable, err := protojson.Marshal(x.good)
		require.NoError(t, err)
		var indented bytes.Buffer
		require.NoError(t, json.Indent(&indented, readable, "", "  "))
		indented.WriteByte('\n')
		require.NoError(t, os.WriteFile(file+".hex", []byte(strings.TrimRight(text.String(), "\n")+"\n"), 0o666))
		require.NoError(t, os.WriteFile(file+".json", indented.Bytes(), 0o666))
	}
}
