package client

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/rogpeppe/go-internal/lockedfile"

	"knowngood.example/cases/log/badger"
	"knowngood.example/client/replica"
)

// Home is one person's folder.
type Home struct {
	dir, settings string
	replica       *replica.Replica
	// fileReserve is the free space in bytes below which no file is kept.
	fileReserve uint64

	now    func() time.Time
	newID  func() string
	random io.Reader
	// Warn takes what a person should know and no command failed over.
	Warn func(text string)
	// Progress hears how many of the events that waited are answered.
	Progress func(done, of int)
	// Came hears how many entries a pull has brought so far.
	Came func(n int)
}

// Folders names the data folder and the settings file. chosen comes from a flag;
// it and KNOWNGOOD_HOME hold both, otherwise the XDG base directories do.
func Folders(chosen string, getenv func(string) string) (data, settings string, err error) {
	if chosen == "" {
		chosen = getenv("KNOWNGOOD_HOME")
	}
	if chosen != "" {
		return chosen, filepath.Join(chosen, "settings"), nil
	}
	user := getenv("HOME")
	base := func(variable, below string) (string, error) {
		// The base directory specification ignores paths that are not absolute.
		if p := getenv(variable); filepath.IsAbs(p) {
			return filepath.Join(p, "knowngood"), nil
		}
		if user == "" {
			return "", fmt.Errorf("no folder to keep things in: set KNOWNGOOD_HOME, %s or HOME", variable)
		}
		return filepath.Join(user, below, "knowngood"), nil
	}
	if data, err = base("XDG_DATA_HOME", ".local/share"); err != nil {
		return "", "", err
	}
	config, err := base("XDG_CONFIG_HOME", ".config")
	return data, filepath.Join(config, "settings"), err
}

// Open returns the home in the folder, which need not be there yet.
func Open(data, settings string) *Home {
	h := &Home{
		dir: data, settings: settings,
		now:      time.Now,
		newID:    func() string { return uuid.Must(uuid.NewV7()).String() },
		random:   rand.Reader,
		Warn:     func(string) {},
		Progress: func(int, int) {},
		Came:     func(int) {},
		// What the replica's engine keeps free itself.
		fileReserve: badger.DefaultReserve(4 << 20),
	}
	h.replica = h.newReplica(0)
	return h
}

// newReplica is the home's log, not opened before it is used. Reserve is the free
// space below which nothing is taken; 0: as the engine has it.
func (h *Home) newReplica(reserve uint64) *replica.Replica {
	return replica.New(h.path("replica"), replica.Options{
		Salvage: h.salvage, Opened: h.takeOver, Warn: func(text string) { h.Warn(text) }, Reserve: reserve,
	})
}

// Close lets go of what the home has open, so that others may open it.
func (h *Home) Close() error { return h.replica.Close() }

// Dir is the data folder.
func (h *Home) Dir() string { return h.dir }

// Now is the time by the home's clock.
func (h *Home) Now() time.Time { return h.now() }

// NewID mints a UUIDv7.
func (h *Home) NewID() string { return h.newID() }

func (h *Home) path(name string) string { return filepath.Join(h.dir, name) }

// make makes the folder when it is not there.
func (h *Home) make() error {
	if err := os.MkdirAll(h.dir, 0o700); err != nil {
		return fmt.Errorf("cannot make the folder for what you record: %w", err)
	}
	return nil
}

// locked runs f while this home's lock of that name is held, across processes.
func (h *Home) locked(name string, f func() error) error {
	if err := h.make(); err != nil {
		return err
	}
	unlock, err := lockedfile.MutexAt(h.path(name)).Lock()
	if err != nil {
		return fmt.Errorf("cannot lock %s: %w", h.path(name), err)
	}
	defer unlock()
	return f()
}

// TableFile is where a shop keeps what it puts in the place of the table of
// priors, shares and costs.
func (h *Home) TableFile() string { return filepath.Join(filepath.Dir(h.settings), "judgement.json") }

// Settings reads the settings file: 'name = value' lines, # begins a comment.
// A file that is not there holds none.
func (h *Home) Settings() (map[string]string, error) {
	b, err := os.ReadFile(h.settings)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read your settings: %w", err)
	}
	out := make(map[string]string)
	for i, line := range strings.Split(string(b), "\n") {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		name, value, ok := strings.Cut(line, "=")
		if !ok {
			return nil, fmt.Errorf("%s, line %d: %q has no '='; settings read 'tz = Europe/Dublin'", h.settings, i+1, line)
		}
		out[strings.TrimSpace(name)] = strings.TrimSpace(value)
	}
	return out, nil
}

// load reads a JSON file of the home; one that is not there leaves v as it is.
func (h *Home) load(name string, v any) error {
	b, err := os.ReadFile(h.path(name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("cannot read what this home keeps: %w", err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		return fmt.Errorf("%s is damaged: %w; put it back from a copy, or move it away", h.path(name), err)
	}
	return nil
}

// store writes a JSON file of the home whole or not at all.
func (h *Home) store(name string, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fmt.Errorf("cannot keep %s: %w", name, err)
	}
	return h.replace(name, append(b, '\n'))
}

// replace puts new bytes in a file's place: a reader, and a crash, meets the old
// bytes or the new, and once it returns the new ones survive a power cut.
func (h *Home) replace(name string, b []byte) error {
	path := h.path(name)
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("cannot make %s: %w", dir, err)
	}
	f, err := os.CreateTemp(dir, filepath.Base(name)+".new-*")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("cannot write %s: %w", path, err), os.Remove(f.Name()))
	}
	return syncDir(dir)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("cannot sync %s: %w", dir, err)
	}
	return errors.Join(d.Sync(), d.Close())
}

// add appends bytes to a file of the home and syncs it.
func (h *Home) add(name string, b []byte) error {
	if err := h.make(); err != nil {
		return err
	}
	f, err := os.OpenFile(h.path(name), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", h.path(name), err)
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("cannot write %s: %w", h.path(name), err)
	}
	return nil
}

// KeepTyped keeps a line that could not be understood and names the file.
func (h *Home) KeepTyped(line, why string) (string, error) {
	err := h.add("typed.txt", fmt.Appendf(nil, "%s\t%q\t%q\n", h.now().Format(time.RFC3339), line, why))
	return h.path("typed.txt"), err
}
