package client

import (
	"crypto/ed25519"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases/export"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func testHome(t *testing.T) *Home {
	t.Helper()
	dir := t.TempDir()
	h := Open(dir, filepath.Join(dir, "settings"))
	h.Warn = func(s string) { t.Log(s) }
	t.Cleanup(func() { require.NoError(t, h.Close()) })
	return h
}

// reopened is the home in the same folder after the one before has ended.
func (h *Home) reopened(t *testing.T) *Home {
	t.Helper()
	require.NoError(t, h.Close())
	again := Open(h.dir, h.settings)
	again.Warn = h.Warn
	t.Cleanup(func() { require.NoError(t, again.Close()) })
	return again
}

// pending lists what waits.
func pending(t *testing.T, h *Home) []*eventv1.Signed {
	t.Helper()
	var list []*eventv1.Signed
	for s, err := range h.Waiting(t.Context()) {
		require.NoError(t, err)
		list = append(list, s)
	}
	return list
}

func newUUID() string { return uuid.Must(uuid.NewV7()).String() }

// testIdentity is somebody who can sign and has no server.
func testIdentity(t *testing.T) *Identity {
	t.Helper()
	_, key, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	return &Identity{Device: newUUID(), Key: key, Person: newUUID(), Shop: newUUID(), Token: "t"}
}

func aNote(stream, text string) *eventv1.Event {
	return &eventv1.Event{Stream: stream, Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: text}}}
}

func TestFolders(t *testing.T) {
	t.Parallel()
	env := func(m map[string]string) func(string) string { return func(k string) string { return m[k] } }
	for _, c := range []struct {
		name, chosen   string
		env            map[string]string
		data, settings string
	}{
		{"flag above all", "h", map[string]string{"KNOWNGOOD_HOME": "/k", "HOME": "/u"}, "h", "h/settings"},
		{"variable", "", map[string]string{"KNOWNGOOD_HOME": "/k", "XDG_DATA_HOME": "/d"}, "/k", "/k/settings"},
		{"base directories", "", map[string]string{"XDG_DATA_HOME": "/d", "XDG_CONFIG_HOME": "/c"}, "/d/knowngood", "/c/knowngood/settings"},
		{"their defaults", "", map[string]string{"HOME": "/u"}, "/u/.local/share/knowngood", "/u/.config/knowngood/settings"},
		{"relative ones count for nothing", "", map[string]string{"HOME": "/u", "XDG_DATA_HOME": "d"}, "/u/.local/share/knowngood", "/u/.config/knowngood/settings"},
	} {
		data, settings, err := Folders(c.chosen, env(c.env))
		require.NoError(t, err, c.name)
		require.Equal(t, []string{c.data, c.settings}, []string{data, settings}, c.name)
	}
	_, _, err := Folders("", env(nil))
	require.ErrorContains(t, err, "KNOWNGOOD_HOME")
}

func TestSettings(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	got, err := h.Settings()
	require.NoError(t, err)
	require.Empty(t, got)
	require.NoError(t, os.WriteFile(h.settings, []byte("# mine\n tz = Europe/Dublin \n\noutput=json\n"), 0o600))
	got, err = h.Settings()
	require.NoError(t, err)
	require.Equal(t, map[string]string{"tz": "Europe/Dublin", "output": "json"}, got)
	require.NoError(t, os.WriteFile(h.settings, []byte("tz = UTC\nnonsense\n"), 0o600))
	_, err = h.Settings()
	require.ErrorContains(t, err, "line 2")
}

func TestNobodyYet(t *testing.T) {
	t.Parallel()
	_, err := testHome(t).Identity()
	require.ErrorIs(t, err, ErrNobody)
}

func TestKeyIsPrivate(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	_, err := h.newDevice()
	require.NoError(t, err)
	info, err := os.Stat(h.path("identity.json"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

func TestReplaceKeepsTheOldWhenItFails(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	require.NoError(t, h.replace("x", []byte("old")))
	require.NoError(t, os.Mkdir(h.path("dir"), 0o700))
	require.NoError(t, os.WriteFile(h.path("dir/full"), nil, 0o600))
	require.Error(t, h.replace("dir", []byte("new"))) // a folder that is not empty stands there
	names, err := os.ReadDir(h.dir)
	require.NoError(t, err)
	require.Len(t, names, 2, "nothing half-written is left behind")
}

func TestMemoryIsMergedNotOverwritten(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	require.NoError(t, h.Remember(func(m *Memory) { m.Case = "a"; m.Last["a"] = "1" }))
	require.NoError(t, h.Remember(func(m *Memory) { m.Last["b"] = "2" }))
	m, err := h.Memory()
	require.NoError(t, err)
	require.Equal(t, "a", m.Case)
	require.Equal(t, map[string]string{"a": "1", "b": "2"}, m.Last)
}

func TestTypedLinesAreKept(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	h.now = func() time.Time { return time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC) }
	where, err := h.KeepTyped("read 12 furlongs", "no such unit")
	require.NoError(t, err)
	b, err := os.ReadFile(where)
	require.NoError(t, err)
	require.Equal(t, "2026-11-02T09:00:00Z\t\"read 12 furlongs\"\t\"no such unit\"\n", string(b))
}

// TestPersonByName: of two of one name the one who works there is meant.
func TestPersonByName(t *testing.T) {
	t.Parallel()
	person := func(id string, left bool) export.Person { return export.Person{Person: id, Name: "Timo", Left: left} }
	for _, c := range []struct {
		people []export.Person
		id     string
		says   string
	}{
		{nil, "", ""},
		{[]export.Person{person("a", false)}, "a", ""},
		{[]export.Person{person("a", true)}, "a", ""},
		{[]export.Person{person("a", true), person("b", false)}, "b", ""},
		{[]export.Person{person("a", false), person("b", true)}, "a", ""},
		{[]export.Person{person("a", true), person("b", false), person("c", true)}, "b", ""},
		{[]export.Person{person("a", false), person("b", false)}, "", "two people"},
		{[]export.Person{person("a", true), person("b", false), person("c", false)}, "", "two people"},
		{[]export.Person{person("a", true), person("b", true)}, "", "two people"},
	} {
		id, ok, err := (&Names{People: c.people}).Person("timo")
		if c.says != "" {
			require.ErrorContains(t, err, c.says)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, c.id, id)
		require.Equal(t, c.id != "", ok)
	}
}
